"""Make the rows of table ``note``: the newest revisions, without withdrawn notes."""

from __future__ import annotations

import json
import re
import sqlite3
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

from ...schema.note import UNCOMPARED, Note, Readings, find_newest, find_proposals
from ...schema.quantities import Quantity
from ...schema.text import part_key
from ..errors import Fault
from ..shop.note_anchors import follow_anchor
from .chip_rows import Row
from .note_places import read_places

_TEXT_FIELDS: Final = ("symptom", "part", "failure", "cure", "text")


def select_newest(revisions: Iterable[Note]) -> list[Note]:
    """Return the newest revision of each note, ordered by id and digest, without withdrawn ones.

    Of a note in conflict all newest revisions are returned: those that no other follows.
    """
    newest = (note for group in _group_by_note(revisions) for note in find_newest(group))
    heads = (note for note in newest if not note.withdrawn)
    return sorted(heads, key=lambda note: (note.id, note.digest))


def select_proposals(revisions: Iterable[Note]) -> list[Note]:
    """Return the open edits by other shops than each note's own, in the order of their notes."""
    return [note for group in _group_by_note(revisions) for note in find_proposals(group)]


def make_proposal_rows(proposals: Iterable[Note]) -> Iterator[Row]:
    """Yield a row of table ``proposal`` for each of ``proposals``."""
    for note in proposals:
        yield {
            "note": note.id,
            "digest": note.digest,
            "shop": note.shop,
            "document": note.document(),
        }


def make_uncompared_rows(revisions: Iterable[Note]) -> Iterator[Row]:
    """Yield a row of table ``uncompared_shop`` for each shop that only counts with others."""
    voices: dict[str, set[str]] = {}
    for note in revisions:
        voices.setdefault(note.shop, set()).add(note.voice)
    # A shop that is compared in one of the shops' folders is compared.
    for shop in sorted(name for name, those in voices.items() if those == {UNCOMPARED}):
        yield {"shop": shop}


def _group_by_note(revisions: Iterable[Note]) -> list[list[Note]]:
    """Return the revisions of each note, in the order of ids."""
    revisions_of: dict[str, list[Note]] = {}
    for note in revisions:
        revisions_of.setdefault(note.id, []).append(note)
    return [revisions_of[name] for name in sorted(revisions_of)]


def make_note_rows(
    heads: Sequence[Note], chips: sqlite3.Connection, orphans: list[Fault] | None = None
) -> Iterator[Row]:
    """Yield a row for each of ``heads``, the revisions from ``select_newest``.

    ``chips`` is the folio with its chips inserted, so that rows can refer to their pins. A note
    whose pin, part, node or block is named anew follows it; one whose place is gone has no row, and
    its fault is appended to ``orphans``.
    """
    if not heads:
        return  # without notes the tables of all parts and pins need not be read
    part_of = _read_parts(chips)
    pin_ids = _read_pins(chips, {_find_part(note, part_of) for note in heads})
    revision_counts = Counter(note.id for note in heads)
    # Only notes with an anchor can follow a renamed place; the others keep theirs by number.
    anchored_parts = {_find_part(note, part_of) for note in heads if note.anchor is not None}
    places_of = read_places(chips, anchored_parts)
    for head in heads:
        part = _find_part(head, part_of)
        note = follow_anchor(head, places_of[part]) if part in places_of else head
        if note is None:
            if orphans is not None:
                orphans.append(_describe_orphan(head, part))
            continue
        is_in_conflict = revision_counts[note.id] > 1
        yield {
            **_make_row(note, is_in_conflict),
            "chip": part,
            "pin": pin_ids.get((part, _parse_pin_number(note.at))),
            "digest": head.digest,  # of the note as signed, before it followed its place
        }


def _describe_orphan(note: Note, part: str) -> Fault:
    """Return the fault of a note whose place the chip file has no more."""
    assert note.anchor is not None  # a note without an anchor has its place
    revision, sort = note.anchor.chip_file[:8], "pin" if _parse_pin_number(note.at) else "place"
    anew = f"place it anew with: pinfolio note edit {note.id} --at {sort.upper()}"
    found = f"a note on {note.at} {note.anchor.symbol}, gone since chip file {revision}"
    return Fault(f"{note.shop}/{note.id}", 1, 1, found, f"a {sort} of {part}; {anew}")


def _find_part(note: Note, part_of: Mapping[str, str]) -> str:
    """Return the part number of the note's chip, spelt as in the folio if it is there."""
    return part_of.get(part_key(note.chip), note.chip)


def _read_pins(chips: sqlite3.Connection, parts: set[str]) -> dict[tuple[str, int | None], int]:
    """Return the ids of the pins of some chips by part number and pin number."""
    rows = chips.execute(
        "SELECT id, chip, number FROM pin WHERE chip IN (SELECT value FROM json_each(?))",
        (json.dumps(sorted(parts)),),
    )
    return {(chip, number): pin for pin, chip, number in rows}


def _read_parts(chips: sqlite3.Connection) -> dict[str, str]:
    """Return part numbers by the key of every part number and every unambiguous marking."""
    bearers: dict[str, set[str]] = {}
    for key, chip in chips.execute("SELECT key, chip FROM marking"):
        bearers.setdefault(key, set()).add(chip)
    unambiguous = {key: min(parts) for key, parts in bearers.items() if len(parts) == 1}
    return unambiguous | dict(chips.execute("SELECT part_key, part FROM chip"))


def _parse_pin_number(place: str) -> int | None:
    match = re.fullmatch(r"pin ([1-9][0-9]{0,8})", place)
    return int(match[1]) if match else None


def _make_row(note: Note, is_in_conflict: bool) -> Row:
    """Return the row of a note in table ``note``."""
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
        **_make_reading_columns(note.readings),
        **{field: getattr(note, field) for field in _TEXT_FIELDS},
        "in_conflict": int(is_in_conflict),
        "document": note.document(),
    }


def _make_reading_columns(readings: Readings | None) -> Row:
    def nominal(quantity: Quantity | None) -> float | None:
        return None if quantity is None else quantity.nominal

    values = readings or Readings.model_construct()
    return {
        "dc_v": nominal(values.dc),
        "vpp_v": nominal(values.vpp),
        "frequency_hz": nominal(values.frequency),
        "resistance_ohm": nominal(values.resistance),
    }
