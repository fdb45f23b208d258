"""A chip begun at the bench: a whole file from a few pins, or a draft from a pasted table."""

from __future__ import annotations

import pytest
from pinfolio.loaders.chip_files.chip_file import read_chip
from pinfolio.plugins.cards.bench_sheet import build_bench_sheet
from pinfolio.plugins.cards.pin_card import build_pin_card
from pinfolio.plugins.contributing.begun_chip import (
    LONGEST_TABLE,
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
    assert made.commands[0] == "pinfolio build qx5710.yaml -o folio.db"
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


def test_a_pasted_table_becomes_a_draft_with_blanks() -> None:
    lines = (
        "Pin;Symbol;Function;DC",
        "1;VCC;supply;8 V",
        "2;GND;ground;0 V",
        "3;IN;video input;3 V",
    )
    made = begin_from_table("QX5710", "SDIP-42", "jungle", "\n".join(lines))
    assert made.pins == 3
    assert made.blanks > 0
    assert made.commands[0] == "pinfolio lint qx5710.yaml"
    assert "function: video input" in made.text


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
