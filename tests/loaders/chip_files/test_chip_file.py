"""Faults of a chip file name the place, the text found, the form expected and the text to write."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pinfolio.loaders.chip_files.chip_file import (
    chip_to_yaml,
    find_chip_files,
    load_chip,
    read_chip,
)
from pinfolio.loaders.errors import ChipFileError
from pinfolio.schema import WAVEFORM_KINDS, Chip

GOOD = """\
part: TQZ0001
maker: Tannhof Halbleiter
kind: jungle
summary: Smallest chip a file can hold. Invented.
invented: yes
package: {family: SIP, pins: 2}
supplies: [{name: VCC, pins: [2], voltage: 8 V}]
sources: [{id: sheet, kind: data sheet, title: Preliminary data}]
conditions: [{name: no signal, means: Aerial unplugged.}]
pins:
  - number: 1
    symbol: GND
    function: ground
    role: ground
  - number: 2
    symbol: VCC
    function: supply
    role: supply
    expectations:
      - condition: no signal
        dc: 8 V ± 5 %
        source: {id: sheet, page: 3}
"""


def list_faults(text: str | bytes) -> list[str]:
    data = text.encode() if isinstance(text, str) else text
    with pytest.raises(ChipFileError) as refused:
        read_chip(data, "chip.yaml")
    return str(refused.value).splitlines()


def test_a_good_file_becomes_a_chip() -> None:
    chip = read_chip(GOOD.encode(), "chip.yaml")
    assert (chip.part, chip.package.name, [pin.symbol for pin in chip.pins]) == (
        "TQZ0001",
        "SIP-2",
        ["GND", "VCC"],
    )
    assert chip.pins[1].expectations[0].dc_limits_v() == (7.6, 8.4)


@pytest.mark.parametrize(
    ("right", "wrong", "message"),
    [
        (
            "conditions: [{name: no signal, means: Aerial unplugged.}]",
            "conditions: {name: no signal, means: Aerial unplugged.}",
            "chip.yaml:9:13: a map: expected a list, its entries after dashes or in [ ]",
        ),
        (
            "maker: Tannhof Halbleiter",
            "maker: [Tannhof Halbleiter]",
            "chip.yaml:2:8: a list: expected plain text",
        ),
        ("maker: Tannhof Halbleiter", "maker:", "chip.yaml:2:7: a blank: expected some text"),
        (
            "role: ground",
            "rolle: ground",
            "chip.yaml:14:5: the key 'rolle': expected one of number, symbol, function, "
            "role, absolute_maximum, resistance, capacitance, supply, threshold, output_limits, "
            "expectations; write 'role'",
        ),
        (
            "dc: 8 V ± 5 %",
            "dc: 8",
            "chip.yaml:21:13: '8': expected a voltage in V, with its unit; write '8 V'",
        ),
        (
            "kind: data sheet",
            "kind: data shet",
            "chip.yaml:8:29: 'data shet': expected one of data sheet, measured, calculated, "
            "estimated; write 'data sheet'",
        ),
        (
            "page: 3",
            "page: three",
            "chip.yaml:22:35: 'three': expected a whole number such as 12",
        ),
        (
            "        source: {id: sheet, page: 3}\n",
            "",
            "chip.yaml:20:9: no 'source': expected the key 'source' here; write 'source: …'",
        ),
        (
            "dc: 8 V ± 5 %",
            "waveform: {kind: sinus}",
            f"chip.yaml:21:26: the kind 'sinus': expected one of {', '.join(WAVEFORM_KINDS)}"
            "; write 'sine'",
        ),
        (
            "pins: [2], voltage",
            "pins: [], volts",
            "chip.yaml:7:34: the key 'volts': expected one of name, pins, voltage, current; "
            "write 'voltage'",
        ),
    ],
)
def test_one_fault_one_line(right: str, wrong: str, message: str) -> None:
    assert right in GOOD
    assert message in list_faults(GOOD.replace(right, wrong, 1))


def test_all_faults_are_told_together_in_the_order_of_their_lines() -> None:
    text = GOOD.replace("kind: jungle", "kind: jungel").replace("8 V ± 5 %", "8,2 V")
    text = text.replace("role: ground", "role: gruond")
    assert [fault.split(": ")[0] for fault in list_faults(text)] == [
        "chip.yaml:3:7",
        "chip.yaml:14:11",
        "chip.yaml:21:13",
    ]


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "an empty file: expected a chip file"),
        (b"- part: X\n", "a list: expected a map of keys"),
        (b"only words\n", "plain text: expected a map of keys"),
        (b"part: X\npart: Y\n", "2:1: 'part' again, first in line 1: expected each key once"),
        (b"part: X\n\tmaker: Y\n", "2:1: a tab: expected spaces to indent"),
        (b"part: X\nmaker: caf\xe9\n", "2:11: the byte 0xe9, which is not UTF-8"),
        (GOOD.encode("utf-16"), "UTF-16 text: expected UTF-8"),
        (b"part: \x00\x01\n", "the control character 0x00"),
        (b"part: !!python/object:os.system x\n", "expected a plain value without a tag"),
        (b"part: &a X\nmaker: *a\n", "an alias (*name): expected the value itself"),
        (b"part: [1, 2\n", "an open [: expected a closing ]; write '[1, 2]'"),
        (b"[" * 10_000, "very deep nesting: expected at most 30 levels"),
        (b"[\n" * 10_000, "brackets that are never closed"),
        (b"x" * 50_000_000, "more than 2,000,000 bytes: expected a chip file"),
        (b"? [a, b]\n: c\n", "a list or map as a key: expected a plain word as key"),
    ],
)
def test_hostile_or_broken_yaml_gets_one_clear_message(data: bytes, message: str) -> None:
    faults = list_faults(data)
    assert len(faults) == 1
    assert message in faults[0]


def test_a_bomb_of_anchors_is_refused_before_it_grows() -> None:
    lines = ["a0: &a0 [x, x]"]
    lines += [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]" for i in range(1, 20)]
    assert "an alias" in list_faults("\n".join(lines))[0]


def test_words_yaml_would_guess_at_stay_words() -> None:
    text = GOOD.replace("symbol: GND", "symbol: NO").replace("part: TQZ0001", "part: 010")
    chip = read_chip(text.encode(), "chip.yaml")
    assert (chip.part, chip.pins[0].symbol) == ("010", "NO")


def test_a_terminal_escape_in_a_message_shows_as_text() -> None:
    faults = list_faults(GOOD.replace("kind: jungle", 'kind: "\\e[31mred"'))
    assert "\\x1b[31mred" in faults[0]
    assert "\x1b" not in faults[0]


@given(chip=st.from_type(Chip))
@example(
    chip=read_chip(GOOD.replace("function: ground", r'function: "a\N b"').encode(), "chip.yaml")
)
@settings(max_examples=60, deadline=None)
def test_written_and_read_again_it_is_the_same_chip(chip: Chip) -> None:
    again = read_chip(chip_to_yaml(chip).encode(), "chip.yaml")
    assert again == chip
    assert again.model_dump_json() == chip.model_dump_json()


@given(data=st.binary(max_size=300) | st.text(max_size=300).map(str.encode))
@settings(deadline=None)
def test_no_bytes_raise_anything_but_faults(data: bytes) -> None:
    with pytest.raises(ChipFileError):
        read_chip(data, "chip.yaml")


def test_a_decimal_comma_in_braces_is_told_as_one() -> None:
    expected = "expected a point in the number: a comma in { } divides entries; write '8.1 V'"
    faults = list_faults(GOOD.replace("voltage: 8 V", "voltage: 8,1 V"))
    assert any(f"'8,1 V': {expected}" in fault for fault in faults)


def test_folders_are_searched_and_a_missing_one_is_said(tmp_path: Path) -> None:
    (tmp_path / "deep").mkdir()
    for name in ("b.yaml", "a.yml", "deep/c.yaml", "notes.txt"):
        (tmp_path / name).write_text(GOOD)
    assert [p.name for p in find_chip_files([tmp_path])] == ["a.yml", "b.yaml", "c.yaml"]
    with pytest.raises(ChipFileError, match="nothing there"):
        find_chip_files([tmp_path / "gone"])
    with pytest.raises(ChipFileError, match=r"cannot be read \(Is a directory\)"):
        load_chip(tmp_path)
