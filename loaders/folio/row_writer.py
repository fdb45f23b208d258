"""Insert rows into a new folio, many chips at a time, storing equal values once."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from .chip_rows import COLUMNS, Row, Values
from .folio_file import APPLICATION_ID, SCHEMA_VERSION, FolioError
from .prepared_chip import PreparedChip

_PINS_AT_ONCE: Final = 2_000
_PAGE_BYTES: Final = 8192  # large pages waste less space after each document
_CHIP_TABLES: Final = tuple(COLUMNS)
_DOCUMENTS: Final = {"chip_document": ("chip", "zlib")}
_VALUES: Final = {
    "condition": ("id", "name", "means"),
    "level": ("id", "typ_v", "min_v", "max_v", "stated"),
    "signal": ("id", "kind", "vpp_v", "frequency_hz", "mean_v"),
    "resistance": ("id", "red_on_pin_ohm", "black_on_pin_ohm"),
}
_TABLES: Final = COLUMNS | _DOCUMENTS | _VALUES


def create_folio(path: Path) -> sqlite3.Connection:
    """Return a connection to a new folio with empty tables, inside a transaction.

    There is no journal: if a build fails, its file is deleted, never rolled back.
    """
    address = f"{path.as_uri()}?nolock=1"
    connection = sqlite3.connect(address, uri=True, isolation_level=None)
    connection.executescript(
        f"PRAGMA page_size = {_PAGE_BYTES}; PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF;"
        f"PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {SCHEMA_VERSION};"
        f"BEGIN; {read_script('folio_tables.sql')}"
    )
    return connection


def read_script(name: str) -> str:
    """Return an SQL script of this folder."""
    return Path(__file__).with_name(name).read_text(encoding="utf-8")


def insert_rows(connection: sqlite3.Connection, table: str, rows: list[Row]) -> None:
    """Insert rows given as dicts with the same columns."""
    if rows:
        connection.executemany(
            _format_statement(table, tuple(rows[0])), [tuple(r.values()) for r in rows]
        )


def _format_statement(table: str, columns: tuple[str, ...]) -> str:
    places = ", ".join("?" * len(columns))
    return f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({places})"


class ChipWriter:
    """Inserts chips into a folio in batches; call ``flush`` after the last one."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._numbers = _Numbers()
        self._held: list[PreparedChip] = []
        self._held_pins = 0
        self.chips = self.pins = 0
        self.all_invented = True

    def add(self, prepared: PreparedChip) -> None:
        """Add a chip; raises FolioError if it, or an earlier one, violates a constraint."""
        pins = len(prepared.rows["pin"])
        self._held.append(prepared)
        self._held_pins += pins
        self.chips, self.pins = self.chips + 1, self.pins + pins
        self.all_invented = self.all_invented and prepared.invented
        if self._held_pins >= _PINS_AT_ONCE:
            self.flush()

    def flush(self) -> None:
        """Write the pending chips. Raises FolioError."""
        try:
            _write(self._connection, self._held, self._numbers)
        except (sqlite3.IntegrityError, UnicodeEncodeError, OverflowError):
            self._raise_for_misfit()
            raise
        self._held, self._held_pins = [], 0

    def _raise_for_misfit(self) -> None:
        """Raise FolioError for the chip that cannot even be inserted alone."""
        for prepared in self._held:
            alone = sqlite3.connect(":memory:", isolation_level=None)
            alone.executescript(read_script("folio_tables.sql"))
            try:
                _write(alone, [prepared], _Numbers())
            except (sqlite3.IntegrityError, UnicodeEncodeError, OverflowError) as error:
                raise FolioError(
                    f"{prepared.place}: {prepared.part} does not fit the folio: {error}"
                ) from error
            finally:
                alone.close()


class _Numbers:
    """The next free ids of pins and stages, and the ids of shared values."""

    def __init__(self) -> None:
        self.pin, self.block = 1, 1
        self.known: dict[str, dict[Values, int]] = {table: {} for table in _VALUES}
        self.new: dict[str, list[Values]] = {table: [] for table in _VALUES}

    def replace_shared(self, values: Sequence[Any]) -> Values:
        """Return the columns of an expectation with ids in place of the shared values."""
        condition, level, signal, resistance, *rest = values
        return (
            self._find_id("condition", condition),
            self._find_id("level", level),
            self._find_id("signal", signal),
            self._find_id("resistance", resistance),
            *rest,
        )

    def _find_id(self, table: str, values: Values | None) -> int | None:
        if values is None:
            return None
        known = self.known[table]
        number = known.get(values)
        if number is None:
            number = known[values] = len(known) + 1
            self.new[table].append((number, *values))
        return number


def _write(connection: sqlite3.Connection, held: Iterable[PreparedChip], numbers: _Numbers) -> None:
    rows: dict[str, list[Any]] = {table: [] for table in _TABLES}
    for prepared in held:
        _gather(rows, prepared, numbers)
    for table, new in numbers.new.items():
        rows[table], numbers.new[table] = new, []
    for table, table_rows in rows.items():
        if table_rows:
            connection.executemany(_format_statement(table, _TABLES[table]), table_rows)


def _gather(rows: dict[str, list[Any]], prepared: PreparedChip, numbers: _Numbers) -> None:
    """Append the rows of a chip to ``rows``, with the next free ids for pins and stages.

    A prepared chip counts its pins and stages from 0, as it does not know its place in a folio.
    """
    rows_of: Mapping[str, list[Values]] = prepared.rows
    first_pin, first_block = numbers.pin, numbers.block
    replace_shared = numbers.replace_shared
    for table in _CHIP_TABLES:
        chip_rows: Iterable[Values] = rows_of[table]
        if table == "pin":
            chip_rows = [(first_pin + index, *rest) for index, *rest in chip_rows]
        elif table == "block":
            chip_rows = [(first_block + index, *rest) for index, *rest in chip_rows]
        elif table == "pin_expectation":
            chip_rows = [
                (first_pin + index, *replace_shared(values)) for index, *values in chip_rows
            ]
        elif table == "node_expectation":
            chip_rows = [(chip, node, *replace_shared(values)) for chip, node, *values in chip_rows]
        rows[table] += chip_rows
    numbers.pin += len(rows_of["pin"])
    numbers.block += len(rows_of["block"])
    rows["chip_document"].append((prepared.part, prepared.document))
