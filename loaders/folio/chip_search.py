"""What a folio is asked for: the rows of its answers, and chips by what is printed on them."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from ...schema.text import part_key
from .exact_marking import CHIP_COLUMNS as CHIP_COLUMNS
from .exact_marking import ask, marked_rows

_MOST_NEAR: Final = 60

Value = str | int


@dataclass(frozen=True)
class ChipRow:
    """One line about a chip, for lists."""

    part: str
    maker: str
    kind: str
    summary: str
    package: str
    pins: int
    invented: bool


@dataclass(frozen=True)
class MarkedChip:
    """A chip found by what is printed on it, and the marking that fits."""

    chip: ChipRow
    marking: str


@dataclass(frozen=True)
class PinRow:
    """One line about a pin; ``blocks`` are the stages its signal enters or leaves."""

    part: str
    number: int
    symbol: str
    function: str
    role: str
    blocks: str


@dataclass(frozen=True)
class Only:
    """What an answer is kept to; what is None does not count, and case does not matter."""

    kind: str | None = None
    package: str | None = None
    """``SDIP-52``, or the family ``SDIP``."""
    system: str | None = None
    role: str | None = None
    """Role of the pin."""
    pins: int | None = None
    """How many pins the chip has."""
    supply: int | None = None
    """A pin that a supply enters at."""

    def __bool__(self) -> bool:
        return self != ANY

    @property
    def says_of_chips(self) -> bool:
        """Whether anything but the role of the pin is asked for."""
        return self != Only(role=self.role)

    def of_chips(self) -> tuple[str, tuple[Value, ...]]:
        """What is asked of table ``chip``, as SQL with its values."""
        named = self.package and _package_name(self.package)
        wanted: list[tuple[str, Value | None, int]] = [
            ("chip.kind = ? COLLATE NOCASE", self.kind, 1),
            ("(chip.package = ? COLLATE NOCASE OR chip.family = ? COLLATE NOCASE)", named, 2),
            ("chip.part IN (SELECT chip FROM chip_system WHERE system = ? COLLATE NOCASE)",
             self.system, 1),
            ("chip.pin_count = ?", self.pins, 1),
            ("EXISTS (SELECT 1 FROM pin AS fed WHERE fed.chip = chip.part AND fed.number = ?"
             " AND fed.role = 'supply')", self.supply, 1),
        ]  # fmt: skip
        given = [(sql, value, times) for sql, value, times in wanted if value]
        values = tuple(storable(value) for _, value, times in given for _ in range(times))
        return " AND ".join(sql for sql, _, _ in given) or "1", values


ANY: Final = Only()


def storable(value: Value) -> Value:
    """A value as SQLite takes it: lone surrogates, which no text that is kept has, replaced."""
    return value if isinstance(value, int) else value.encode("utf-8", "replace").decode()


def _package_name(typed: str) -> str:
    """A package as folios name it: ``sdip 52`` is ``sdip-52``."""
    return re.sub(r"[\s-]*([0-9]+)\s*$", r"-\1", typed.strip())


class Asked:
    """An open connection that is asked; whoever opened it closes it.

    Rows are read by position, so that any ``row_factory`` that makes sequences will do.
    """

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def _rows(self, sql: str, *values: Value | None) -> list[Any]:
        return ask(self._connection, sql, *values)


class MarkingSearch(Asked):
    """Chips by what is printed on them."""

    def marking_keys(self, only: Only = ANY) -> list[str]:
        """The ``part_key`` of every marking, each once and in order."""
        where, values = only.of_chips()
        source = "marking"
        if only.says_of_chips:
            source = f"chip JOIN marking ON marking.chip = chip.part WHERE {where}"
        # One text is handed over much faster than a row for each.
        ((joined,),) = self._rows(
            f"SELECT group_concat(key, ' ') FROM (SELECT DISTINCT key FROM {source} ORDER BY key)",
            *values,
        )
        return sorted(joined.split(" ")) if joined else []

    def nearest_parts(self, text: str, limit: int = 5) -> tuple[str, ...]:
        """Part numbers whose markings are fewest slips away from ``text``, nearest first.

        A slip is a character wrong, missing, too many, or two swapped (optimal string
        alignment); beyond half the length nothing is called near.
        """
        from rapidfuzz import process
        from rapidfuzz.distance import OSA

        found = process.extract(
            part_key(text),
            self.marking_keys(),
            scorer=OSA.normalized_similarity,
            score_cutoff=0.5,
            limit=_MOST_NEAR,
        )
        marked = self.chips_by_keys(key for key, _, _ in found)
        parts = (hit.chip.part for key, _, _ in found for hit in marked.get(key, ()))
        return tuple(dict.fromkeys(parts))[:limit]

    def chips_by_keys(self, keys: Iterable[str], only: Only = ANY) -> dict[str, list[MarkedChip]]:
        """Chips by the ``part_key`` of their markings, for those of ``keys`` that any bears."""
        where, values = only.of_chips()
        rows = self._rows(
            f"SELECT {CHIP_COLUMNS}, marking.text, marking.key"
            " FROM marking JOIN chip ON chip.part = marking.chip"
            f" WHERE marking.key IN (SELECT value FROM json_each(?)) AND {where}"
            " ORDER BY chip.part_key, marking.text",
            json.dumps(list(keys)),
            *values,
        )
        found: dict[str, list[MarkedChip]] = {}
        for row in rows:
            found.setdefault(row[8], []).append(MarkedChip(chip_row(row), row[7]))
        return found

    def chips_by_key(self, key: str, only: Only = ANY) -> list[MarkedChip]:
        """Chips with a marking whose ``part_key`` is ``key``."""
        return self._marked("marking.key = ?", (key,), -1, only)

    def chips_by_prefix(self, key: str, limit: int = 20, only: Only = ANY) -> list[MarkedChip]:
        """Chips with a marking whose ``part_key`` begins with ``key``."""
        # As a range the prefix can use the index; with LIKE it would be a scan.
        return self._marked(
            "marking.key >= ? AND marking.key < ?", (key, key + "\U0010ffff"), limit, only
        )

    def chips_by_fragment(self, key: str, limit: int = 20, only: Only = ANY) -> list[MarkedChip]:
        """Chips with a marking whose ``part_key`` holds ``key`` anywhere, shortest first."""
        return self._marked("instr(marking.key, ?) > 0", (key,), limit, only)

    def supply_pins(self, parts: Sequence[str]) -> dict[str, frozenset[int]]:
        """The pins that a supply enters at, of each of these chips that has any."""
        found: dict[str, set[int]] = {}
        for part, number in self._rows(
            "SELECT chip, number FROM pin WHERE role = 'supply'"
            " AND chip IN (SELECT value FROM json_each(?))",
            json.dumps(list(parts)),
        ):
            found.setdefault(part, set()).add(number)
        return {part: frozenset(pins) for part, pins in found.items()}

    def _marked(
        self, where: str, values: tuple[str, ...], limit: int, only: Only
    ) -> list[MarkedChip]:
        """One line a chip, with the shortest marking that fits."""
        among, more = only.of_chips()
        rows = marked_rows(self._connection, f"{where} AND {among}", (*values, *more), limit)
        return [MarkedChip(chip_row(row), row[7]) for row in rows]


def chip_row(row: Sequence[Any]) -> ChipRow:
    """The line about a chip from columns that begin with ``CHIP_COLUMNS``."""
    part, maker, kind, summary, package, pins, invented = row[:7]
    return ChipRow(part, maker, kind, summary, package, pins, bool(invented))
