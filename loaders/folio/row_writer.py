"""Rows go into a new folio: many chips at a time, equal values once."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from .chip_rows import COLUMNS, Row, Values
from .folio_file import APPLICATION_ID, SCHEMA_VERSION, FolioError
from .prepared_chip import Prepared

_PINS_AT_ONCE: Final = 2_000
_PAGE_BYTES: Final = 8192  # so that documents leave little of their pages empty
_CHIP_TABLES: Final = tuple(COLUMNS)
_BYTES: Final = {
    "chip_document": ("chip", "zlib"),
    "fault_dictionary": ("chip", "bytes"),
}
_VALUES: Final = {
    "condition": ("id", "name", "means"),
    "level": ("id", "typ_v", "min_v", "max_v", "stated"),
    "signal": ("id", "kind", "vpp_v", "frequency_hz", "mean_v"),
    "resistance": ("id", "red_on_pin_ohm", "black_on_pin_ohm"),
}
_TABLES: Final = COLUMNS | _BYTES | _VALUES


def create(path: Path) -> sqlite3.Connection:
    """An empty folio with its tables, in a transaction that the rows go into.

    No journal: a file that fails half way is thrown away, never rolled back.
    """
    address = f"{path.as_uri()}?nolock=1"
    connection = sqlite3.connect(address, uri=True, isolation_level=None)
    connection.executescript(
        f"PRAGMA page_size = {_PAGE_BYTES}; PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF;"
        f"PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {SCHEMA_VERSION};"
        f"BEGIN; {sql('folio_tables.sql')}"
    )
    return connection


def sql(name: str) -> str:
    """A script of this folder."""
    return Path(__file__).with_name(name).read_text(encoding="utf-8")


def insert(connection: sqlite3.Connection, table: str, rows: list[Row]) -> None:
    """Insert rows that say their columns, all the same."""
    if rows:
        connection.executemany(_statement(table, tuple(rows[0])), [tuple(r.values()) for r in rows])


def _statement(table: str, columns: tuple[str, ...]) -> str:
    places = ", ".join("?" * len(columns))
    return f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({places})"


class ChipWriter:
    """Puts chips into a folio; what it holds back is written by ``flush``."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._numbers = _Numbers()
        self._held: list[Prepared] = []
        self._held_pins = 0
        self.chips = self.pins = 0
        self.all_invented = True

    def add(self, prepared: Prepared) -> None:
        """Take a chip; raises FolioError where it, or one before, does not fit the tables."""
        pins = len(prepared.rows["pin"])
        self._held.append(prepared)
        self._held_pins += pins
        self.chips, self.pins = self.chips + 1, self.pins + pins
        self.all_invented = self.all_invented and prepared.invented
        if self._held_pins >= _PINS_AT_ONCE:
            self.flush()

    def flush(self) -> None:
        """Write what is held back."""
        try:
            _write(self._connection, self._held, self._numbers)
        except (sqlite3.IntegrityError, UnicodeEncodeError, OverflowError):
            self._name_the_misfit()
            raise
        self._held, self._held_pins = [], 0

    def _name_the_misfit(self) -> None:
        """Raise FolioError for the chip that does not fit even into a folio of its own."""
        for prepared in self._held:
            alone = sqlite3.connect(":memory:", isolation_level=None)
            alone.executescript(sql("folio_tables.sql"))
            try:
                _write(alone, [prepared], _Numbers())
            except (sqlite3.IntegrityError, UnicodeEncodeError, OverflowError) as fault:
                told = f"{prepared.place}: {prepared.part} does not fit the folio: {fault}"
                raise FolioError(told) from fault
            finally:
                alone.close()


class _Numbers:
    """The next free numbers of pins and stages, and those of shared values."""

    def __init__(self) -> None:
        self.pin, self.block = 1, 1
        self.known: dict[str, dict[Values, int]] = {table: {} for table in _VALUES}
        self.new: dict[str, list[Values]] = {table: [] for table in _VALUES}

    def shown(self, values: Sequence[Any]) -> Values:
        """The columns of an expectation with numbers for the values that are shared."""
        condition, level, signal, resistance, *rest = values
        return (
            self._of("condition", condition),
            self._of("level", level),
            self._of("signal", signal),
            self._of("resistance", resistance),
            *rest,
        )

    def _of(self, table: str, values: Values | None) -> int | None:
        if values is None:
            return None
        known = self.known[table]
        number = known.get(values)
        if number is None:
            number = known[values] = len(known) + 1
            self.new[table].append((number, *values))
        return number


def _write(connection: sqlite3.Connection, held: Iterable[Prepared], numbers: _Numbers) -> None:
    rows: dict[str, list[Any]] = {table: [] for table in _TABLES}
    for prepared in held:
        _gather(rows, prepared, numbers)
    for table, new in numbers.new.items():
        rows[table], numbers.new[table] = new, []
    for table, found in rows.items():
        if found:
            connection.executemany(_statement(table, _TABLES[table]), found)


def _gather(rows: dict[str, list[Any]], prepared: Prepared, numbers: _Numbers) -> None:
    """Add the rows of a chip, its pins and stages numbered on."""
    own: Mapping[str, list[Values]] = prepared.rows
    pin, block, shown = numbers.pin, numbers.block, numbers.shown
    for table in _CHIP_TABLES:
        found: Iterable[Values] = own[table]
        if table == "pin":
            found = [(pin + place, *rest) for place, *rest in found]
        elif table == "block":
            found = [(block + place, *rest) for place, *rest in found]
        elif table == "pin_expectation":
            found = [(pin + place, *shown(values)) for place, *values in found]
        elif table == "node_expectation":
            found = [(chip, node, *shown(values)) for chip, node, *values in found]
        rows[table] += found
    numbers.pin, numbers.block = pin + len(own["pin"]), block + len(own["block"])
    rows["chip_document"].append((prepared.part, prepared.document))
    if prepared.extra is not None:
        rows["fault_dictionary"].append((prepared.part, prepared.extra))
