"""The chip sheet: which conditions get a column, which signal a pin is listed with."""

from __future__ import annotations

import inspect
import re
from typing import Any

from pinfolio.plugins.cards.chip_sheet import PinLine, build_chip_sheet, choose_conditions
from pinfolio.schema import Chip
from pinfolio.schema.note import Note


def note(number: int, at: str, kind: str, **others: Any) -> Note:
    fields: dict[str, Any] = (
        {"condition": "no signal", "readings": {"dc": "3 V"}}
        if kind == "known-good reading"
        else {"text": "Remark."}
    )
    return Note.model_validate(
        {
            "id": "abcdefghijklmnop"[number:] + "abcdefghijklmnop"[:number], "kind": kind,
            "shop": "test-shop", "author": "tester", "date": "2026-01-01", "chip": "QZ1",
            "at": at,
        }
        | fields
        | others
    )  # fmt: skip


def test_a_condition_with_two_dc_voltages_has_a_column(chip: Chip) -> None:
    """Four pins have DC without a signal, two with colour bars, none with the set off."""
    assert build_chip_sheet(chip).conditions == ("no signal", "colour bars")


def test_each_line_has_the_dc_of_each_column(chip: Chip) -> None:
    lines = build_chip_sheet(chip).lines
    assert [line.dc for line in lines[:4]] == [
        ("3 V", "3.4 V"),
        ("5 V", "6 V"),
        ("", ""),
        ("60 V", ""),
    ]


def test_every_value_of_a_line_is_described_and_in_the_document(chip: Chip) -> None:
    """A column of the terminal and of the page is also a key of the JSON document."""
    (described, *_) = build_chip_sheet(chip).document()["pins"]
    source = inspect.getsource(PinLine)
    for name in PinLine._fields[1:]:
        assert name in described, (
            f"PinLine.{name} is not in the document; add it to _describe_line in "
            "plugins/cards/chip_sheet.py"
        )
        assert re.search(rf'    {name}: .*\n    """', source), (
            f"PinLine.{name} has no docstring; write its meaning under it in "
            "plugins/cards/chip_sheet.py"
        )


def test_one_condition_alone(chip: Chip) -> None:
    sheet = build_chip_sheet(chip, "off")
    assert sheet.conditions == ("off",)
    assert {line.dc for line in sheet.lines} == {("",)}


def test_the_signal_is_that_of_the_liveliest_condition(chip: Chip) -> None:
    """Colour bars show more than no signal, wherever the chip file lists them."""
    signals = [line.signal for line in build_chip_sheet(chip).lines]
    assert signals[:3] == ["sine, 2 Vpp, 1 kHz", "sine, 2 Vpp, 1 kHz", ""]


def test_readings_of_good_sets_are_counted_and_other_notes_listed(chip: Chip) -> None:
    notes = [
        note(0, "pin 1", "known-good reading"),
        note(1, "pin 2", "known-good reading"),
        note(2, "pin 2", "known-good reading"),
        note(3, "pin 1", "remark"),
    ]
    sheet = build_chip_sheet(chip, notes=notes)
    assert list(sheet.good_readings.items()) == [("pin 2", 2), ("pin 1", 1)]
    assert [view.note.at for view in sheet.remarks] == ["pin 1"]


def test_cautions_begin_with_the_whole_set_and_end_with_the_law(chip: Chip) -> None:
    assert build_chip_sheet(chip).cautions == (
        "Live chassis: Use an isolation transformer.",
        "Tuner output: High voltage: Not for fingers.",
        "Work on live sets is for people trained for it; local codes and licensed practice go"
        " first.",
    )


def test_the_document_writes_only_what_is_known(chip: Chip) -> None:
    document = build_chip_sheet(chip).document()
    oscillator = document["pins"][2]
    assert (oscillator["pin"], oscillator["symbol"]) == (3, "XTAL")
    assert (oscillator["function"], oscillator["role"]) == ("XTAL of the test", "oscillator")
    assert (oscillator["dc"], oscillator["signal"]) == ({}, None)
    assert document["parts"][0] == {
        "ref": "C1", "kind": "capacitor", "value": "100 nF",
        "joins": ["pin 1 IN", "tuner output"], "purpose": "coupling",
    }  # fmt: skip


def test_a_condition_with_a_voltage_at_one_pin_only_has_no_column(jungle: Chip) -> None:
    """Standby has six voltages and Y/C two; without one of these, one is left."""
    assert choose_conditions(jungle) == ("no signal", "colour bars", "standby", "Y/C bars")
    place, pin = next(
        (place, pin)
        for place, pin in enumerate(jungle.pins)
        if (separate := pin.expectation("Y/C bars")) is not None and separate.dc is not None
    )
    others = tuple(e for e in pin.expectations if e.condition != "Y/C bars")
    fewer = pin.model_copy(update={"expectations": others})
    pins = (*jungle.pins[:place], fewer, *jungle.pins[place + 1 :])
    remaining = jungle.model_copy(update={"pins": pins})
    assert choose_conditions(remaining) == ("no signal", "colour bars", "standby")
