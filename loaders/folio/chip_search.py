"""Query a folio for chips by their markings; row types and filters of all queries."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Iterable, Sequence
from typing import Any, Final, NamedTuple

from ...schema.text import part_key
from .folio_file import FolioError, build_command

CHIP_COLUMNS: Final = (
    "chip.part, chip.maker, chip.kind, chip.summary, chip.package, chip.pin_count, chip.invented"
)
PART_NUMBER_SCORE: Final = 1.0
"""Score of a chip whose part number was given."""
MARKING_SCORE: Final = 0.95
"""Score of a chip with another marking that was given; lower scores are not exact matches."""
_MOST_NEAR: Final = 60
_LEAST_SIMILARITY: Final = 0.5  # below, the words share too little for a misspelling
_LAST_CHARACTER: Final = "\U0010ffff"

Value = str | int


class ChipRow(NamedTuple):
    """A chip in a list."""

    part: str
    maker: str
    kind: str
    summary: str
    package: str
    pins: int
    invented: bool


class MarkedChip(NamedTuple):
    """A chip found by a marking, and that marking."""

    chip: ChipRow
    marking: str


class PinRow(NamedTuple):
    """A pin in a list; ``blocks`` are the stages its signal enters or leaves."""

    part: str
    number: int
    symbol: str
    function: str
    role: str
    blocks: str


class Only(NamedTuple):
    """Filters of a query; None means any value, and case is ignored."""

    kind: str | None = None
    package: str | None = None
    """A package such as ``SDIP-52``, or a family such as ``SDIP``."""
    system: str | None = None
    role: str | None = None
    """Role of the pin."""
    pins: int | None = None
    """Number of pins of the chip."""
    supply: int | None = None
    """Number of a pin that must be a supply."""

    def __bool__(self) -> bool:
        return self != ANY

    @property
    def filters_chips(self) -> bool:
        """Whether any filter is set besides the role of the pin."""
        return self != Only(role=self.role)

    def make_condition(self) -> tuple[str, tuple[Value, ...]]:
        """Return the SQL condition on table ``chip``, with the values of its placeholders."""
        package = self.package and _normalise_package(self.package)
        # Each condition with its value and the number of placeholders that take it.
        conditions: list[tuple[str, Value | None, int]] = [
            ("chip.kind = ? COLLATE NOCASE", self.kind, 1),
            ("(chip.package = ? COLLATE NOCASE OR chip.family = ? COLLATE NOCASE)", package, 2),
            ("chip.part IN (SELECT chip FROM chip_system WHERE system = ? COLLATE NOCASE)",
             self.system, 1),
            ("chip.pin_count = ?", self.pins, 1),
            ("EXISTS (SELECT 1 FROM pin AS fed WHERE fed.chip = chip.part AND fed.number = ?"
             " AND fed.role = 'supply')", self.supply, 1),
        ]  # fmt: skip
        sql_conditions: list[str] = []
        values: list[Value] = []
        for sql, value, placeholder_count in conditions:
            if value:
                sql_conditions.append(sql)
                values += [to_storable(value)] * placeholder_count
        return " AND ".join(sql_conditions) or "1", tuple(values)


ANY: Final = Only()
_LARGEST_INTEGER: Final = 2**63 - 1  # SQLite keeps 64 bits with a sign


def to_storable(value: Value) -> Value:
    """Return a value that SQLite accepts: lone surrogates, which no stored text has, replaced.

    A number beyond its 64 bits, which no stored one is, becomes the largest.
    """
    if isinstance(value, int):
        return max(min(value, _LARGEST_INTEGER), -_LARGEST_INTEGER)
    return value.encode("utf-8", "replace").decode()


def _normalise_package(typed: str) -> str:
    """Return a package name as folios spell it: ``sdip 52`` becomes ``sdip-52``."""
    return re.sub(r"[\s-]*([0-9]+)\s*$", r"-\1", typed.strip())


class FolioQueries:
    """Queries on an open connection, which the caller closes.

    Rows are read by position, so any ``row_factory`` that returns sequences works.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def _query_rows(self, sql: str, *values: Value | None) -> list[Any]:
        try:
            return self._connection.execute(sql, values).fetchall()
        except sqlite3.Error as error:
            raise FolioError(
                f"the folio is damaged ({error}); build it again: {build_command()}"
            ) from error


class MarkingSearch(FolioQueries):
    """Queries for chips by their markings; all raise FolioError when the folio is damaged."""

    def list_marking_keys(self, only: Only = ANY) -> list[str]:
        """Return the ``part_key`` of every marking, sorted, without duplicates."""
        where, values = only.make_condition()
        source = "marking"
        if only.filters_chips:
            source = f"chip JOIN marking ON marking.chip = chip.part WHERE {where}"
        # Fetching one long text is much faster than fetching a row for each key.
        ((joined,),) = self._query_rows(
            f"SELECT group_concat(key, ' ') FROM (SELECT DISTINCT key FROM {source} ORDER BY key)",
            *values,
        )
        return sorted(joined.split(" ")) if joined else []

    def nearest_parts(self, text: str, limit: int = 5) -> tuple[str, ...]:
        """Return the part numbers whose markings are most similar to ``text``, nearest first.

        Similarity counts wrong, missing, extra and swapped characters (optimal string alignment
        distance) relative to the length; below 0.5 nothing is near.
        """
        # Imported here: most queries name a marking exactly and need no similar ones.
        from rapidfuzz import process
        from rapidfuzz.distance import OSA

        similar_keys = process.extract(
            part_key(text),
            self.list_marking_keys(),
            scorer=OSA.normalized_similarity,
            score_cutoff=_LEAST_SIMILARITY,
            limit=_MOST_NEAR,
        )
        chips_of = self.find_chips_by_keys(key for key, _, _ in similar_keys)
        # A dictionary keeps the order and counts a chip with several similar markings once.
        parts: dict[str, None] = {}
        for key, _, _ in similar_keys:
            parts |= dict.fromkeys(marked.chip.part for marked in chips_of.get(key, ()))
        return tuple(parts)[:limit]

    def find_chips_by_keys(
        self, keys: Iterable[str], only: Only = ANY
    ) -> dict[str, list[MarkedChip]]:
        """Return the chips that bear each of ``keys``, the ``part_key`` of a marking."""
        chip_condition, chip_values = only.make_condition()
        rows = self._query_rows(
            f"SELECT {CHIP_COLUMNS}, marking.text, marking.key"
            " FROM marking JOIN chip ON chip.part = marking.chip"
            f" WHERE marking.key IN (SELECT value FROM json_each(?)) AND {chip_condition}"
            " ORDER BY chip.part_key, marking.text",
            json.dumps(list(keys)),  # one value, however many keys: SQLite bounds placeholders
            *chip_values,
        )
        chips_of: dict[str, list[MarkedChip]] = {}
        for *chip_columns, marking, key in rows:
            chips_of.setdefault(key, []).append(MarkedChip(to_chip_row(chip_columns), marking))
        return chips_of

    def find_chips_by_key(self, key: str, only: Only = ANY) -> list[MarkedChip]:
        """Return the chips with a marking whose ``part_key`` is ``key``."""
        return self._find_marked("marking.key = ?", (key,), -1, only)

    def find_chips_by_prefix(self, key: str, limit: int = 20, only: Only = ANY) -> list[MarkedChip]:
        """Return the chips with a marking whose ``part_key`` begins with ``key``."""
        # A range uses the index; LIKE would scan the table.
        return self._find_marked(
            "marking.key >= ? AND marking.key < ?", (key, key + _LAST_CHARACTER), limit, only
        )

    def find_chips_by_fragment(
        self, key: str, limit: int = 20, only: Only = ANY
    ) -> list[MarkedChip]:
        """Return the chips with a marking whose ``part_key`` contains ``key``, shortest first."""
        return self._find_marked("instr(marking.key, ?) > 0", (key,), limit, only)

    def supply_pins(self, parts: Sequence[str]) -> dict[str, frozenset[int]]:
        """Return the numbers of the supply pins of these chips, by part number."""
        pins_of: dict[str, set[int]] = {}
        for part, number in self._query_rows(
            "SELECT chip, number FROM pin WHERE role = 'supply'"
            " AND chip IN (SELECT value FROM json_each(?))",
            json.dumps(list(parts)),
        ):
            pins_of.setdefault(part, set()).add(number)
        return {part: frozenset(pins) for part, pins in pins_of.items()}

    def _find_marked(
        self, condition: str, values: tuple[str, ...], limit: int, only: Only
    ) -> list[MarkedChip]:
        """Return chips with the shortest marking that meets the condition, shortest first."""
        chip_condition, chip_values = only.make_condition()
        # CROSS JOIN keeps SQLite from scanning the chips first.
        rows = self._query_rows(
            f"SELECT {CHIP_COLUMNS}, marking.text, min(length(marking.key)) AS size"
            " FROM marking CROSS JOIN chip ON chip.part = marking.chip"
            f" WHERE {condition} AND {chip_condition}"
            " GROUP BY chip.part ORDER BY size, chip.part_key LIMIT ?",
            *values,
            *chip_values,
            limit,
        )
        return [
            MarkedChip(to_chip_row(chip_columns), marking) for *chip_columns, marking, _ in rows
        ]


def explain_exact(part: str, marking: str, key: str) -> tuple[str, float]:
    """Return why a chip that bears ``key`` matches, in words, and the score of the match."""
    if part_key(part) == key:
        return "part number", PART_NUMBER_SCORE
    return f"marking {marking}", MARKING_SCORE


def to_chip_row(row: Sequence[Any]) -> ChipRow:
    """Return the chip in a row that begins with ``CHIP_COLUMNS``."""
    part, maker, kind, summary, package, pins, invented = row[:7]
    return ChipRow(part, maker, kind, summary, package, pins, bool(invented))
