"""Notes as the rows of table ``note``: the newest of each, those taken back left out."""

from __future__ import annotations

import json
import re
import sqlite3
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

from ...schema.note import Note, Readings, find_newest
from ...schema.quantities import Quantity
from ...schema.text import part_key
from .chip_rows import Row

_SAID: Final = ("symptom", "part", "failure", "cure", "text")


def select_newest(revisions: Iterable[Note]) -> list[Note]:
    """The newest revision of each note, in the order of id and digest.

    A note in conflict is there in each revision that no other follows.
    """
    known: dict[str, list[Note]] = {}
    for note in revisions:
        known.setdefault(note.id, []).append(note)
    heads = (note for each in known.values() for note in find_newest(each) if not note.withdrawn)
    return sorted(heads, key=lambda note: (note.id, note.digest))


def note_rows(heads: Sequence[Note], chips: sqlite3.Connection) -> Iterator[Row]:
    """A row for each of ``heads``, as ``select_newest`` gives them.

    ``chips`` is the folio with its chips in place: the row says which of its pins is meant, if
    it holds the chip.
    """
    chip_of = _chips_by_key(chips) if heads else {}
    pins = _pins_of(chips, {_chip(note, chip_of) for note in heads}) if heads else {}
    sides = Counter(note.id for note in heads)
    for note in heads:
        chip = _chip(note, chip_of)
        pin = pins.get((chip, _number(note.at)))
        yield {**_row(note, sides[note.id] > 1), "chip": chip, "pin": pin}


def _chip(note: Note, chip_of: Mapping[str, str]) -> str:
    """Part number of the chip that a note is on, as the folio has it if it does."""
    return chip_of.get(part_key(note.chip), note.chip)


def _pins_of(chips: sqlite3.Connection, parts: set[str]) -> dict[tuple[str, int | None], int]:
    """Ids of the pins of some chips, by part number and pin number."""
    rows = chips.execute(
        "SELECT id, chip, number FROM pin WHERE chip IN (SELECT value FROM json_each(?))",
        (json.dumps(sorted(parts)),),
    )
    return {(chip, number): pin for pin, chip, number in rows}


def _chips_by_key(chips: sqlite3.Connection) -> dict[str, str]:
    """Part number by the key of every marking that only one chip bears, and of its own."""
    bearers: dict[str, set[str]] = {}
    for key, chip in chips.execute("SELECT key, chip FROM marking"):
        bearers.setdefault(key, set()).add(chip)
    found = {key: min(parts) for key, parts in bearers.items() if len(parts) == 1}
    return found | dict(chips.execute("SELECT part_key, part FROM chip"))


def _number(place: str) -> int | None:
    found = re.fullmatch(r"pin ([1-9][0-9]{0,8})", place)
    return int(found[1]) if found else None


def _row(note: Note, in_conflict: bool) -> Row:
    return {
        "note": note.id,
        "digest": note.digest,
        "place": note.at,
        "kind": note.kind,
        "shop": note.shop,
        "author": note.author,
        "date": note.date,
        "confidence": note.confidence,
        "sets": note.sets,
        "chassis": note.chassis,
        "condition": note.condition,
        **_reading_columns(note.readings),
        **{field: getattr(note, field) for field in _SAID},
        "in_conflict": int(in_conflict),
        "document": note.document(),
    }


def _reading_columns(readings: Readings | None) -> Row:
    def nominal(quantity: Quantity | None) -> float | None:
        return None if quantity is None else quantity.nominal

    found = readings or Readings.model_construct()
    return {
        "dc_v": nominal(found.dc),
        "vpp_v": nominal(found.vpp),
        "frequency_hz": nominal(found.frequency),
        "resistance_ohm": nominal(found.resistance),
    }
