"""Notes follow their pins when a chip file is numbered or named anew; orphans are listed."""

from __future__ import annotations

from dataclasses import replace
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
from pinfolio.loaders.shop.note_anchors import NamedPlace, anchor_note, follow_anchor, list_places
from pinfolio.loaders.shop.note_files import format_note, read_note
from pinfolio.schema import Chip
from pinfolio.schema.note import Note

CHIP_FILE = next(path for path in chip_files() if path.stem == "kye2620")
CHIP = load_chip(CHIP_FILE)
FIELDS: dict[str, Any] = {
    "id": "abcdefgh234567aa", "kind": "remark", "shop": "bench", "author": "bench",
    "date": "2026-03-02", "chip": "KYE2620", "at": "pin 2", "text": "Warm.",
}  # fmt: skip
NOTE = Note.model_validate(FIELDS)
PINS = [NamedPlace(f"pin {pin.number}", pin.symbol, pin.function) for pin in CHIP.pins]


def number_from(pins: list[NamedPlace], first: int) -> list[NamedPlace]:
    """The pins in this order, numbered anew."""
    return [replace(pin, at=f"pin {number}") for number, pin in enumerate(pins, first)]


def find_place(pins: list[NamedPlace]) -> str | None:
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
    on_part = NOTE.model_copy(update={"at": "C999"})
    assert anchor_note(on_part, CHIP).anchor is None
    assert follow_anchor(NOTE, []) == NOTE


def test_a_pin_numbered_anew_is_followed() -> None:
    assert find_place(PINS) == "pin 2"
    assert find_place(number_from(PINS, 11)) == "pin 12"


def test_a_pin_named_anew_is_followed_by_its_function() -> None:
    renamed = [NamedPlace(p.at, f"X{p.at}", p.function) for p in PINS]
    assert find_place(renamed) == "pin 2"
    assert find_place(number_from(renamed, 2)) == "pin 3"


def test_a_pin_that_is_gone_makes_an_orphan() -> None:
    assert find_place([p for p in PINS if p.at != "pin 2"]) is None
    assert find_place([NamedPlace(p.at, f"X{p.at}", f"new {p.at}") for p in PINS]) is None


@given(st.permutations(PINS), st.integers(0, 40))
def test_a_note_is_never_on_a_pin_of_another_symbol(pins: list[NamedPlace], first: int) -> None:
    anew = number_from(pins, first + 1)
    place = find_place(anew)
    if place is not None:
        (pin,) = [pin for pin in anew if pin.at == place]
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


PLACES = list_places(CHIP)
ELSEWHERE = [place for place in PLACES if not place.at.startswith("pin ")]


def follow(at: str, places: list[NamedPlace]) -> str | None:
    followed = follow_anchor(anchor_note(NOTE.model_copy(update={"at": at}), CHIP), places)
    return None if followed is None else followed.at


@pytest.mark.parametrize("place", ELSEWHERE, ids=lambda place: place.at)
def test_a_note_on_a_part_node_or_block_follows_it(place: NamedPlace) -> None:
    """The reference or id is another, and the old one is that of nothing."""
    anew = [replace(one, at=f"{one.at}9") if one == place else one for one in PLACES]
    assert (follow(place.at, PLACES), follow(place.at, anew)) == (place.at, f"{place.at}9")


def test_a_reference_given_to_another_part_does_not_take_the_note_along() -> None:
    """Two capacitors of one value swap their references; their ends tell which is which."""
    first = NamedPlace("C501", "capacitor 1n", "OSC to ground")
    second = NamedPlace("C502", "capacitor 1n", "AFC to ground")
    note = anchor_note(NOTE, CHIP).model_copy(update={"at": "C501"})
    assert note.anchor is not None
    anchor = note.anchor.model_copy(update={"symbol": first.symbol, "function": first.function})
    noted = note.model_copy(update={"anchor": anchor})
    swapped = [replace(first, at="C502"), replace(second, at="C501")]
    for places, expected in (
        ([first, second], "C501"),
        (swapped, "C502"),
        ([replace(first, symbol="capacitor 2n2"), second], "C501"),
        ([replace(first, function="OSC to VCC"), second], "C501"),
        ([replace(first, symbol="capacitor 2n2", function="OSC to VCC"), second], None),
        ([second], None),
    ):
        followed = follow_anchor(noted, places)
        assert (None if followed is None else followed.at) == expected


def test_a_build_follows_a_part_and_lists_one_that_is_gone(tmp_path: Path) -> None:
    parts = CHIP.application.parts
    notes = [
        anchor_note(NOTE.model_copy(update={"at": part.ref, "id": letter * 16}), CHIP)
        for letter, part in zip("ab", parts, strict=False)
    ]
    renamed = parts[0].model_copy(update={"ref": "C999"})
    gone = CHIP.application.model_copy(update={"parts": (renamed, *parts[2:])})
    set_aside: list[Fault] = []
    build_from_files(tmp_path, CHIP.model_copy(update={"application": gone}), notes, set_aside)
    with open_folio(tmp_path / "folio.db") as folio:
        assert [note.at for note in folio.notes("KYE2620")] == ["C999"]
    (orphan,) = map(str, set_aside)
    assert f"a note on {parts[1].ref} " in orphan
    assert f"pinfolio note edit {'b' * 16} --at PLACE" in orphan


def build_from_files(folder: Path, chip: Chip, notes: list[Note], set_aside: list[Fault]) -> None:
    (folder / "chips.jsonl").write_text(chip.document() + "\n", encoding="utf-8")
    for note in notes:
        (folder / f"{note.id}.yaml").write_text(format_note(note), encoding="utf-8")
    build_folio([folder], folder / "folio.db", set_aside=set_aside)
