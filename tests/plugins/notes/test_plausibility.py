"""Facts that are hardly possible: above the maximum, a day to come, a pin that nothing joins."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.notes.note_handover import hand_over
from pinfolio.plugins.notes.plausibility import list_doubts, state_reason
from pinfolio.schema.note import Note

CHIP = load_chip(next(path for path in chip_files() if path.stem == "kye2620"))
TODAY = date(2026, 3, 2)
READ: dict[str, Any] = {
    "id": "abcdefgh234567aa", "kind": "known-good reading", "shop": "bench", "author": "bench",
    "date": "2026-03-02", "chip": "KYE2620", "at": "pin 2", "condition": "colour bars",
}  # fmt: skip


def doubt(dc: str, **fields: Any) -> tuple[str, ...]:
    readings = {"dc": dc} | fields.pop("readings", {})
    return list_doubts(Note.model_validate(READ | {"readings": readings} | fields), CHIP, TODAY)


def test_pin_2_bears_13_2_volts_and_a_reading_above_is_doubted() -> None:
    assert doubt("13.2 V") == ()
    (said,) = doubt("13.3 V")
    assert said.startswith("13.3 V at pin 2 ")
    assert said.endswith(" is above its absolute maximum 13.2 V")


def test_half_the_signal_is_on_top_of_the_mean() -> None:
    assert doubt("12 V", readings={"vpp": "2 Vpp"}) == ()
    assert len(doubt("12 V", readings={"vpp": "3 Vpp"})) == 1


def test_readings_after_the_repair_are_looked_at_too() -> None:
    fault = {"kind": "fault and remedy", "symptom": "tears", "cure": "C501"}
    assert len(doubt("6 V", **fault, readings_after={"dc": "20 V"})) == 1


def test_a_day_to_come_is_doubted_and_today_is_not() -> None:
    assert doubt("6 V") == ()
    (said,) = doubt("6 V", date="2026-03-03")
    assert said == "the date 2026-03-03 is to come; today is 2026-03-02"


def test_a_reading_at_an_unused_pin_is_doubted_and_a_remark_is_not() -> None:
    pins = [pin.model_copy(update={"role": "unused"}) for pin in CHIP.pins]
    chip = CHIP.model_copy(update={"pins": tuple(pins)})
    (said,) = list_doubts(Note.model_validate(READ | {"readings": {"dc": "1 V"}}), chip, TODAY)
    assert said.endswith(" is not connected, but it was read")
    remark = Note.model_validate(READ | {"kind": "remark", "text": "Not joined."})
    assert list_doubts(remark, chip, TODAY) == ()


def test_of_another_place_and_an_unknown_chip_only_the_day_counts() -> None:
    note = Note.model_validate(READ | {"readings": {"dc": "99 V"}, "date": "2026-03-03"})
    assert len(list_doubts(note, None, TODAY)) == 1
    assert doubt("99 V", at="C501") == ()


def test_a_withdrawn_note_is_not_doubted() -> None:
    assert doubt("99 V", withdrawn=True) == ()


def test_a_reason_is_kept_and_changes_no_other_field() -> None:
    note = Note.model_validate(READ | {"readings": {"dc": "99 V"}})
    assert state_reason(note, "Tube socket lifted.").reason == "Tube socket lifted."
    assert state_reason(note, "x").model_copy(update={"reason": None}) == note


@pytest.mark.parametrize("reason", ["", "Measured twice."])
def test_a_page_asks_back_until_there_is_a_reason(reason: str) -> None:
    form = {"kind": "known-good reading", "chip": "KYE2620", "at": "2", "condition": "colour bars"}
    made = hand_over(form | {"dc": "99 V", "reason": reason}, CHIP)
    assert (made.note is not None) == bool(reason)
    assert reason or "absolute maximum" in made.refused[0]
