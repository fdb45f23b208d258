"""A chip measured pin by pin at the bench: valid after each pin, and it says how far it is."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.loaders.chip_files.chip_file import load_chip, read_chip
from pinfolio.plugins.contributing.begun_chip import CannotBegin
from pinfolio.plugins.contributing.completeness import list_unmeasured
from pinfolio.plugins.contributing.measured_pins import (
    CannotTake,
    MeasuredPin,
    add_measured_pin,
    begin_measured_chip,
)
from pinfolio.plugins.terminal.cli import main

BEGUN = begin_measured_chip("ZZQ1", "DIP-8", "jungle", 1, MeasuredPin(8, "VCC", "8.1"))


def measure(file: Path, *lines: str, more: tuple[str, ...] = ()) -> Result:
    """Run the command with these lines typed; then the input ends."""
    words = ["new", "ZZQ1", "--measure", "-o", str(file), *more]
    return CliRunner().invoke(main, words, input="".join(f"{line}\n" for line in lines))


def add(text: str, *pins: MeasuredPin) -> str:
    for pin in pins:
        text, _ = add_measured_pin(text, "zz.yaml", pin)
    return text


def test_ground_and_a_supply_make_a_chip() -> None:
    chip = read_chip(BEGUN.encode(), "zz.yaml")
    assert list_unmeasured(chip) == [2, 3, 4, 5, 6, 7]
    assert chip.supplies[0].voltage.nominal == 8.1


def test_a_supply_without_a_reading_begins_no_chip() -> None:
    with pytest.raises(CannotBegin):
        begin_measured_chip("ZZQ1", "DIP-8", "jungle", 1, MeasuredPin(8, "VCC", ""))


def test_a_measured_value_says_measured_in_one_set() -> None:
    chip = read_chip(add(BEGUN, MeasuredPin(2, "CVBS IN", "3,1")).encode(), "zz.yaml")
    (expectation,) = chip.pins[1].expectations
    assert expectation.dc is not None
    assert expectation.dc.nominal == 3.1
    source = next(source for source in chip.sources if source.id == expectation.source.id)
    assert (source.kind, source.title, expectation.source.sets) == (
        "measured", "Measured, one set", 1)  # fmt: skip
    assert chip.summary == "Begun at the bench: 3 of 8 pins are known."


def test_a_pin_measured_again_is_corrected_and_another_condition_is_added() -> None:
    first = MeasuredPin(2, "CVBS IN", "3.1")
    text = add(BEGUN, first, first._replace(dc="3.2"), first._replace(dc="4", condition="bars"))
    chip = read_chip(text.encode(), "zz.yaml")
    readings = {e.condition: e.dc.nominal for e in chip.pins[1].expectations if e.dc}
    assert readings == {"as found": 3.2, "bars": 4.0}
    assert [condition.name for condition in chip.conditions] == ["as found", "bars"]


def test_a_second_supply_is_listed_with_its_voltage() -> None:
    chip = read_chip(add(BEGUN, MeasuredPin(7, "VCC2", "12.1")).encode(), "zz.yaml")
    assert [(s.name, s.pins, s.voltage.nominal) for s in chip.supplies] == [
        ("VCC", (8,), 8.1), ("VCC2", (7,), 12.1)]  # fmt: skip


def test_a_reading_beyond_the_supply_is_kept_and_doubted() -> None:
    text, doubt = add_measured_pin(BEGUN, "zz.yaml", MeasuredPin(4, "H OUT", "31"))
    assert "31 V" in doubt
    assert read_chip(text.encode(), "zz.yaml").pins[3].expectations[0].beyond_supply


@pytest.mark.parametrize(
    ("pin", "reason"),
    [
        (MeasuredPin(2, "X", "much"), "much"),
        (MeasuredPin(9, "X", "1"), "ZZQ1 has no pin 9"),
        (MeasuredPin(2, "X" * 200, "1"), "X"),
    ],
)
def test_what_no_chip_file_holds_is_refused(pin: MeasuredPin, reason: str) -> None:
    with pytest.raises(CannotTake, match=reason):
        add_measured_pin(BEGUN, "zz.yaml", pin)


@settings(max_examples=30)
@given(st.text(max_size=20), st.text(max_size=20), st.text(max_size=20))
def test_any_typing_leaves_a_valid_file_or_none(symbol: str, condition: str, function: str) -> None:
    pin = MeasuredPin(2, symbol, "3.1", condition, function)
    try:
        text, _ = add_measured_pin(BEGUN, "zz.yaml", pin)
    except CannotTake:
        return
    chip = read_chip(text.encode(), "zz.yaml")
    assert chip.pins[1].symbol == symbol.strip()
    assert chip.pins[2:] == read_chip(BEGUN.encode(), "zz.yaml").pins[2:]


def test_pins_are_asked_for_one_by_one_and_another_day(tmp_path: Path) -> None:
    file = tmp_path / "zzq1.yaml"
    begin = ("--package", "DIP-8", "--kind", "jungle")
    first = measure(
        file, "1", "8", "VCC", "8.1", "CVBS IN", "3.1", "", "", "skip", "HD", "1.7", "bars", "",
        "stop", more=begin,
    )  # fmt: skip
    assert first.exit_code == 0
    assert "4 pins of 8 known" in first.output
    assert "go on another day: pinfolio new ZZQ1 --measure" in first.output
    assert list_unmeasured(load_chip(file)) == [3, 5, 6, 7]
    second = measure(file, "", "AGC", "4", "", "AGC filter", "back", "AGC1", "4.1", "", "")
    assert second.exit_code == 0
    chip = load_chip(file)
    assert chip.pins[4].symbol == "AGC1"
    assert list_unmeasured(chip) == [3, 6, 7]


def test_comments_written_in_between_stay(tmp_path: Path) -> None:
    file = tmp_path / "zzq1.yaml"
    file.write_text(f"# from the red portable\n{BEGUN}", encoding="utf-8")
    measure(file, "CVBS IN", "3.1", "", "", "stop")
    assert file.read_text(encoding="utf-8").startswith("# from the red portable\n")
    assert load_chip(file).pins[1].symbol == "CVBS IN"


def test_a_file_with_faults_is_left_alone(tmp_path: Path) -> None:
    file = tmp_path / "zzq1.yaml"
    file.write_text("part: ZZQ1\n", encoding="utf-8")
    assert measure(file, "X").exit_code == 2
    assert file.read_text(encoding="utf-8") == "part: ZZQ1\n"


def test_lint_tells_unfinished_from_wrong(run: Callable[..., Result], tmp_path: Path) -> None:
    file = tmp_path / "zzq1.yaml"
    file.write_text(BEGUN, encoding="utf-8")
    answer = run("lint", file)
    assert answer.exit_code == 0
    assert "unfinished: 6 pins not known yet; go on with: pinfolio new ZZQ1" in answer.output
    (linted,) = json.loads(run("lint", file, "--json").output)["files"]
    assert linted["unmeasured"] == [2, 3, 4, 5, 6, 7]
    blank = tmp_path / "blank.yaml"
    run("new", "ZZQ2", "--package", "DIP-4", "-o", blank)
    assert "among the faults: unfinished, not wrong" in run("lint", blank).output


@pytest.mark.parametrize(("question", "offers"), [("ZZX9911", True), ("zebra crossing", False)])
def test_an_unknown_marking_offers_to_begin_the_chip(
    run: Callable[..., Result], question: str, offers: bool
) -> None:
    answer = run("find", question)
    assert answer.exit_code == 1
    assert ("pinfolio new ZZX9911 --measure" in answer.output) == offers
