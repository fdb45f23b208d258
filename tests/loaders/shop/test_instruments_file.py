"""The shop's own instruments: the contents of a good file, and the message for each fault."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.shop.instruments_file import (
    EXAMPLE,
    InstrumentsFileError,
    load_known_instruments,
    locate_instruments_file,
    read_instruments,
)
from pinfolio.schema.instruments.ordinary import BUILT_IN

LEAD = """\
# what hangs on the bench
[probe."long lead"]
describes = "x1 lead with crocodile clips, 2 m"
factor = 1
resistance = "1 MΩ"
capacitance = "220 pF"
bandwidth = "3 MHz"
rating = "100 V"
derated_from = "500 kHz"
"""
OHMS = '[meter.old]\ndescribes = "Pointer meter"\ndc_percent = "2 %"\n'
METER = OHMS + 'ohms_percent = "5 %"\nac_bandwidth = "1 kHz"\nac_percent = "4 %"\n'
SCOPE = """\
[scope.new]
describes = "Digitising oscilloscope"
sort = "digitising"
bandwidth = "100 MHz"
input_resistance = "1 MΩ"
input_capacitance = "15 pF"
rating = "300 V"
fastest = "2 ns"
gain_percent = "3 %"
timebase_percent = "0.01 %"
"""


def list_faults(text: str | bytes) -> list[str]:
    """The messages about a file, a line each."""
    data = text.encode() if isinstance(text, str) else text
    with pytest.raises(InstrumentsFileError) as refused:
        read_instruments(data, "instruments.toml")
    return str(refused.value).splitlines()


def test_own_instruments_come_first_and_the_ordinary_ones_stay() -> None:
    known = read_instruments((LEAD + EXAMPLE).encode(), "instruments.toml")
    assert list(known.probes) == ["long lead", *BUILT_IN.probes]
    assert known.choose().probe.capacitance.nominal == pytest.approx(220e-12)
    assert known.choose().meter.counts == 20000
    assert known.scopes == BUILT_IN.scopes


def test_an_own_one_takes_the_place_of_an_ordinary_one() -> None:
    known = read_instruments(LEAD.replace("long lead", "X1 Probe").encode(), "instruments.toml")
    assert list(known.probes) == ["X1 Probe", "x10 probe", "x100 probe"]
    assert known.choose(probe="x1 probe").probe.capacitance.nominal == pytest.approx(220e-12)


def test_a_file_from_another_editor() -> None:
    text = LEAD.replace("MΩ", "Mohm").replace("\n", "\r\n")
    known = read_instruments(b"\xef\xbb\xbf" + text.encode(), "instruments.toml")
    assert known.probes["long lead"].resistance.nominal == 1e6


def test_an_empty_file_leaves_the_ordinary_ones() -> None:
    assert read_instruments(b"# nothing yet\n", "instruments.toml") == BUILT_IN


def test_no_file_leaves_the_ordinary_ones(tmp_path: Path) -> None:
    assert load_known_instruments(tmp_path / "instruments.toml") is BUILT_IN


def test_a_file_is_read_from_where_it_is(tmp_path: Path) -> None:
    path = tmp_path / "instruments.toml"
    path.write_text(LEAD, encoding="utf-8")
    assert "long lead" in load_known_instruments(path).probes


def test_a_folder_in_its_place_is_said(tmp_path: Path) -> None:
    with pytest.raises(InstrumentsFileError, match="expected a readable file"):
        load_known_instruments(tmp_path)


def test_own_instruments_stand_with_the_user_settings(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", "/home/bench/settings")
    assert locate_instruments_file().name == "instruments.toml"
    assert "pinfolio" in locate_instruments_file().parts


@pytest.mark.parametrize(
    ("wrong", "right", "said"),
    [
        ("[probe.", "[prob.", "2:1: 'prob': expected tables such as .*; write 'probe'$"),
        ("bandwidth", "bandwith", "7:1: the key bandwith: expected .*; write 'bandwidth'$"),
        ('"3 MHz"', '"3 MΩ"', "7:1: '3 MΩ': expected a frequency in Hz, not a resistance$"),
        ('"3 MHz"', "3", "7:1: '3': expected a frequency in Hz, .*; write '\"3 Hz\"'$"),
        ('"3 MHz"', '"0 Hz"', "7:1: '0 Hz': expected a frequency above zero; write"),
        ("factor = 1\n", "factor = 0\n", "4:1: '0': expected at least 1$"),
        ("factor = 1\n", "factor = 1.5\n", "4:1: '1.5': expected a whole number"),
        ('"x1 lead with crocodile clips, 2 m"', '""', "3:1: '': expected a text of at least"),
        (
            "factor = 1\n",
            'name = "lead"\nfactor = 1\n',
            "4:1: the key name: expected the nam",
        ),
        (
            '"long lead"',
            "long lead",
            "2:13: text that is not TOML: expected lines .* \\(",
        ),
        (
            '"100 V"',
            '"100 V',
            "8:.*: text that is not TOML: .*factor = 10",
        ),
    ],
)
def test_a_fault_has_its_line_and_the_nearest_right_thing(
    wrong: str, right: str, said: str
) -> None:
    assert LEAD.count(wrong) == 1
    with pytest.raises(InstrumentsFileError, match=f"instruments.toml:{said}"):
        read_instruments(LEAD.replace(wrong, right).encode(), "instruments.toml")


def test_a_missing_key_is_said_at_its_table() -> None:
    said = list_faults(LEAD.replace('rating = "100 V"\n', ""))
    assert said == [
        "instruments.toml:2:1: no rating: expected the key rating here; write 'rating = …'"
    ]


def test_a_fault_is_looked_for_in_its_own_table() -> None:
    second = LEAD.replace("long lead", "longer lead").replace("3 MHz", "3 MV")
    (said,) = list_faults(LEAD + second)
    line = (LEAD + second).splitlines().index('bandwidth = "3 MV"') + 1
    assert said.startswith(f"instruments.toml:{line}:1: '3 MV'")


def test_every_fault_of_the_file_is_said_in_the_order_of_the_lines() -> None:
    said = list_faults(
        LEAD.replace("factor = 1\n", 'factor = "one"\n').replace("500 kHz", "500 pF")
    )
    assert [line.split(":")[1] for line in said] == ["4", "9"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (METER, "1:1: the meter 'old': a meter loads in one way; give input_resistance"),
        (SCOPE, "1:1: the scope 'new': a digitising scope needs bits, sample_rate"),
        (
            SCOPE.replace("digitising", "digitizing"),
            "3:1: 'digitizing': expected 'analogue' or 'digitising'; write 'digitising'",
        ),
        ("meter = 5\n", "1:1: 'meter': expected tables such as [meter.NAME]"),
        (
            '[meter]\ndescribes = "x"\n',
            "2:1: the key describes: expected a table with the instrument's name",
        ),
        ("\nx = " + "[" * 5000 + "]" * 5000, "1:1: text that is not TOML"),
        ("x = " + "9" * 5000, "1:1: text that is not TOML"),
    ],
)
def test_what_does_not_make_an_instrument(text: str, said: str) -> None:
    assert list_faults(text)[0].startswith(f"instruments.toml:{said}")


def test_bytes_that_are_not_text_are_said_with_their_line() -> None:
    (said,) = list_faults(LEAD.encode("cp1252", errors="replace").replace(b"2 m", b"2 \xb5m"))
    assert said.startswith("instruments.toml:3:1: bytes that are not UTF-8")


def test_a_file_that_is_no_text_of_ours_is_not_read_to_its_end(tmp_path: Path) -> None:
    path = tmp_path / "instruments.toml"
    path.write_bytes(b"# dots\n" + b"." * 1_000_000)
    with pytest.raises(InstrumentsFileError, match="more than 1 MB: expected a short text"):
        load_known_instruments(path)


@given(st.text(max_size=200) | st.sampled_from(LEAD.splitlines()).map(lambda line: line + "\n="))
def test_any_text_gives_instruments_or_faults(text: str) -> None:
    lines = []
    try:
        read_instruments(text.encode("utf-8", "surrogatepass"), "x").choose()
    except InstrumentsFileError as refused:
        lines = [fault.line for fault in refused.faults]
    assert all(1 <= line <= text.count("\n") + 2 for line in lines)


def test_a_component_tester_of_ones_own_comes_first() -> None:
    text = (
        '[tester."home-made"]\ndescribes = "Heater winding through a resistor"\n'
        'open_voltage = "6.3 V"\nsource_resistance = "1k"\nfrequency = "50 Hz"\n'
    )
    known = read_instruments(text.encode(), "instruments.toml")
    assert list(known.testers)[:2] == ["home-made", "component tester"]
    assert known.choose_tester("Home-Made").open_voltage.nominal == 6.3
