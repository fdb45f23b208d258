"""Read the places of chips in a folio that is being built, for notes that follow theirs."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Collection, Iterator
from itertools import groupby
from typing import Final

from ..shop.note_anchors import NamedPlace, name_part

_OF_CHIPS: Final = "chip IN (SELECT value FROM json_each(?))"
_PARTS: Final = (
    "SELECT part.chip, part.ref, part.kind, part.value, part_end.endpoint"
    " FROM part JOIN part_end USING (chip, ref)"
    f" WHERE part.{_OF_CHIPS} ORDER BY part.chip, part.ref, part_end.position"
)


def read_places(chips: sqlite3.Connection, parts: Collection[str]) -> dict[str, list[NamedPlace]]:
    """Return the places of some chips, by part number."""
    places: dict[str, list[NamedPlace]] = {}
    if parts:
        for chip, place in _yield_places(chips, json.dumps(sorted(parts))):
            places.setdefault(chip, []).append(place)
    return places


def _yield_places(
    chips: sqlite3.Connection, part_numbers_json: str
) -> Iterator[tuple[str, NamedPlace]]:
    """Yield part number and place for every pin, part, node and block of the listed chips."""
    values = (part_numbers_json,)
    symbols_of: dict[str, dict[str, str]] = {}
    pin_query = f"SELECT chip, number, symbol, function FROM pin WHERE {_OF_CHIPS}"
    for chip, number, symbol, function in chips.execute(pin_query, values):
        symbols_of.setdefault(chip, {})[f"pin {number}"] = symbol
        yield chip, NamedPlace(f"pin {number}", symbol, function)
    # A part has a row for each of its ends, and is named by the pins that it connects.
    rows_by_part = groupby(chips.execute(_PARTS, values), key=lambda row: row[:4])
    for (chip, ref, kind, value), rows in rows_by_part:
        endpoints = [row[-1] for row in rows]
        yield chip, name_part(ref, kind, value, endpoints, symbols_of.get(chip, {}))
    for table in ("node", "block"):
        name_query = f"SELECT chip, id, name FROM {table} WHERE {_OF_CHIPS}"
        for chip, identifier, name in chips.execute(name_query, values):
            yield chip, NamedPlace(identifier, name, identifier)
