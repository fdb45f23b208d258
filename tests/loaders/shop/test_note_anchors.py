"""Notes follow their pins when a chip file is numbered or named anew; orphans are listed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.loaders.errors import Fault
from pinfolio.loaders.folio.build import build_folio
from pinfolio.loaders.folio.folio import open_folio
from pinfolio.loaders.shop.note_anchors import NamedPin, anchor_note, follow_anchor
from pinfolio.loaders.shop.note_files import format_note, read_note
from pinfolio.schema.note import Note

CHIP_FILE = next(path for path in chip_files() if path.stem == "kye2620")
CHIP = load_chip(CHIP_FILE)
FIELDS: dict[str, Any] = {
    "id": "abcdefgh234567aa", "kind": "remark", "shop": "bench", "author": "bench",
    "date": "2026-03-02", "chip": "KYE2620", "at": "pin 2", "text": "Warm.",
}  # fmt: skip
NOTE = Note.model_validate(FIELDS)
PINS = [NamedPin(pin.number, pin.symbol, pin.function) for pin in CHIP.pins]


def find_place(pins: list[NamedPin]) -> str | None:
    followed = follow_anchor(anchor_note(NOTE, CHIP), pins)
    return None if followed is None else followed.at


def test_the_anchor_holds_symbol_function_and_the_revision_of_the_chip_file() -> None:
    anchored = anchor_note(NOTE, CHIP)
    assert anchored.anchor is not None
    assert (anchored.anchor.symbol, anchored.anchor.function) == (PINS[1].symbol, PINS[1].function)
    assert read_note(format_note(anchored).encode(), "note.yaml") == anchored
    changed = CHIP.model_copy(update={"summary": "Another sentence."})
    other = anchor_note(NOTE, changed).anchor
    assert other is not None
    assert other.chip_file != anchored.anchor.chip_file


def test_a_note_elsewhere_and_an_older_note_have_none_and_stay() -> None:
    on_part = NOTE.model_copy(update={"at": "C501"})
    assert anchor_note(on_part, CHIP).anchor is None
    assert follow_anchor(NOTE, []) == NOTE


def test_a_pin_numbered_anew_is_followed() -> None:
    assert find_place(PINS) == "pin 2"
    assert find_place([NamedPin(p.number + 10, p.symbol, p.function) for p in PINS]) == "pin 12"


def test_a_pin_named_anew_is_followed_by_its_function() -> None:
    renamed = [NamedPin(p.number, f"X{p.number}", p.function) for p in PINS]
    assert find_place(renamed) == "pin 2"
    assert find_place([NamedPin(p.number + 1, p.symbol, p.function) for p in renamed]) == "pin 3"


def test_a_pin_that_is_gone_makes_an_orphan() -> None:
    assert find_place([p for p in PINS if p.number != 2]) is None
    assert find_place([NamedPin(p.number, f"X{p.number}", f"new {p.number}") for p in PINS]) is None


@given(st.permutations(PINS), st.integers(0, 40))
def test_a_note_is_never_on_a_pin_of_another_symbol(pins: list[NamedPin], first: int) -> None:
    anew = [NamedPin(first + at, pin.symbol, pin.function) for at, pin in enumerate(pins, 1)]
    place = find_place(anew)
    if place is not None:
        (pin,) = [pin for pin in anew if f"pin {pin.number}" == place]
        assert pin.symbol == PINS[1].symbol


@pytest.mark.parametrize(("symbol", "function"), [("NEW", "Something else."), ("", "")])
def test_a_build_shows_a_note_on_its_own_pin_or_lists_it(
    tmp_path: Path, symbol: str, function: str
) -> None:
    """The chip file is built with pin 2 replaced, or as it is."""
    old = CHIP.pins[1]
    update = {"symbol": symbol, "function": function} if symbol else {}
    pins = (CHIP.pins[0], old.model_copy(update=update), *CHIP.pins[2:])
    chip = CHIP.model_copy(update={"pins": pins})
    chips, note = tmp_path / "chips.jsonl", tmp_path / "note.yaml"
    chips.write_text(chip.document() + "\n", encoding="utf-8")
    note.write_text(format_note(anchor_note(NOTE, CHIP)), encoding="utf-8")
    set_aside: list[Fault] = []
    build_folio([chips, note], tmp_path / "folio.db", set_aside=set_aside)
    with open_folio(tmp_path / "folio.db") as folio:
        shown = [(one.id, one.at) for one in folio.notes("KYE2620")]
    if symbol:
        assert shown == []
        assert f"a note on pin 2 {old.symbol}, gone since chip file " in str(set_aside[0])
        assert "pinfolio note edit abcdefgh234567aa --at PIN" in str(set_aside[0])
    else:
        assert (shown, set_aside) == ([(NOTE.id, "pin 2")], [])
