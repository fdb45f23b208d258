"""A chip begun at the bench: a whole file from a few pins, or a draft from a pasted table."""

from __future__ import annotations

import pytest
from pinfolio.loaders.chip_files.chip_file import read_chip
from pinfolio.plugins.cards.bench_sheet import build_bench_sheet
from pinfolio.plugins.cards.pin_card import build_pin_card
from pinfolio.plugins.contributing.begun_chip import (
    LONGEST_TABLE,
    BegunFile,
    CannotBegin,
    TypedPin,
    begin_from_pins,
    begin_from_table,
    count_pins,
)

KNOWN = [
    TypedPin(3, "GND", "0"),
    TypedPin(9, "VCC", "8,1"),
    TypedPin(13, "SYNC IN", "3.1 V", "sync input"),
    TypedPin(17, "", "470m"),
    TypedPin(20, "XTAL"),
]


def test_five_pins_make_a_file_that_is_read_without_a_fault() -> None:
    made = begin_from_pins("QX 5710", "SDIP-42", "jungle", KNOWN)
    chip = read_chip(made.text.encode(), made.name)
    assert (made.name, made.pins, made.blanks) == ("qx5710.yaml", 5, 0)
    assert made.commands[0] == "pinfolio build qx5710.yaml -o qx5710.db"
    assert chip.summary == "Begun at the bench: 5 of 42 pins are known."
    volts = {pin.number: pin.expectations[0].dc for pin in chip.pins if pin.expectations}
    assert {number: str(dc) for number, dc in volts.items()} == {
        3: "0 V",
        9: "8.1 V",
        13: "3.1 V",
        17: "470 mV",
    }


def test_card_and_sheet_work_at_once_with_the_unknown_pins_named() -> None:
    chip = read_chip(begin_from_pins("QX5710", "SDIP-42", "jungle", KNOWN).text.encode(), "x")
    assert build_pin_card(chip, chip.pins[12]).conditions[0].dc_value == "3.1 V"
    lines = build_bench_sheet(chip).pages[0][0].lines
    assert len(lines) == 21
    assert lines[0].row is not None
    assert lines[0].row.pin.function == "not known yet"


TABLE = """\
Pin;Symbol;Function;DC
1;VCC;supply;8 V
2;GND;ground;0 V
3;IN;video input;3 V
4;X;hangs on something;4.4 V
"""


def test_a_pasted_table_is_useful_at_once() -> None:
    """Maker, roles and pins that it does not say are marked as not known, and nothing is asked."""
    made = begin_from_table("QX5710", "SDIP-42", "jungle", TABLE)
    assert (made.pins, made.blanks, made.doubts) == (4, 0, ())
    assert made.commands[0] == "pinfolio build qx5710.yaml -o qx5710.db"
    chip = read_chip(made.text.encode(), made.name)
    assert chip.maker == "not known yet"
    assert [pin.role for pin in chip.pins[:5]] == ["supply", "ground", "input", "input", "unused"]
    assert build_pin_card(chip, chip.pins[2]).conditions[0].dc_value == "3 V"
    assert "review: suggested by the words" in made.text


def test_a_maker_is_asked_in_the_form_alone() -> None:
    for made in (
        begin_from_table("QX5710", "SDIP-42", "jungle", TABLE, "Tannhof"),
        begin_from_pins("QX5710", "SDIP-42", "jungle", KNOWN, "Tannhof"),
    ):
        assert read_chip(made.text.encode(), made.name).maker == "Tannhof"


@pytest.mark.parametrize(
    "made",
    [
        begin_from_table("QX5710", "SDIP-42", "jungle", f"{TABLE}7;FOO;drive;11.5 V\n"),
        begin_from_pins("QX5710", "SDIP-42", "jungle", [*KNOWN, TypedPin(7, "FOO", "11.5")]),
    ],
    ids=["table", "pins"],
)
def test_a_reading_beyond_the_supply_names_its_pin_and_is_kept(made: BegunFile) -> None:
    (doubt,) = made.doubts
    assert doubt.startswith("Pin 7")
    assert "DC of 11.5 V is outside 0 V to the supply's 8" in doubt
    pin = read_chip(made.text.encode(), made.name).pins[6]
    assert str(pin.expectations[0].dc) == "11.5 V"
    assert pin.expectations[0].beyond_supply == "Read beyond the supply; not explained yet."


def test_another_fault_of_a_table_names_its_pin() -> None:
    lines = ["Pin;Symbol;Function;DC;Absolute maximum", "1;VCC;supply;8 V;", "2;GND;ground;0 V;"]
    table = "\n".join([*lines, "3;IN;video input;3 V;2 V"])
    with pytest.raises(CannotBegin, match=r"^pin 3: DC of 3 V is beyond the absolute maximum"):
        begin_from_table("QX5710", "SDIP-42", "jungle", table)


@pytest.mark.parametrize(
    ("part", "package", "pins", "message"),
    [
        ("", "SDIP-42", KNOWN, "part number"),
        ("QX1", "SDIP-43", KNOWN, "multiple of 2"),
        ("QX1", "BGA-42", KNOWN, "package family 'BGA' is not known"),
        ("QX1", "SDIP-42", [], "no pin has a symbol or a reading yet"),
        ("QX1", "SDIP-42", KNOWN[1:], "no pin is a ground yet; name one GND"),
        ("QX1", "SDIP-42", KNOWN[:1], "no pin is a supply yet; name one VCC"),
        ("QX1", "SDIP-42", [TypedPin(2, "IN", "high")], "pin 2: "),
    ],
)
def test_what_cannot_be_begun_says_why(
    part: str, package: str, pins: list[TypedPin], message: str
) -> None:
    with pytest.raises(CannotBegin, match=message):
        begin_from_pins(part, package, "jungle", pins)


def test_what_the_form_cannot_take_is_named_before_pins_are_typed() -> None:
    assert count_pins("QX1", "QFP-64", "jungle") == 64
    with pytest.raises(CannotBegin, match="kind 'jumble' is not known"):
        count_pins("QX1", "QFP-64", "jumble")
    with pytest.raises(CannotBegin, match="pinfolio draft FILE"):
        begin_from_table("QX1", "QFP-64", "jungle", "x" * (LONGEST_TABLE + 1))
    with pytest.raises(CannotBegin):
        begin_from_table("QX1", "QFP-64", "jungle", "no table of pins")
