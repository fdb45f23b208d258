"""Export the known-good readings of all shops in a folio as an Apache Parquet table.

Rows are written in groups, so memory does not grow with the table. Each column carries its
description in the file, and its unit in its name. A row names the shop but not the author of the
note. Source of the format: https://parquet.apache.org/docs/file-format/.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from ...schema.errors import PinfolioError
from ..folio.folio_file import FolioError, check_folio_file
from ..system.atomic_write import replace_atomically

if TYPE_CHECKING:
    import pyarrow

    from ..folio.build import Progress

FORMAT: Final = "pinfolio readings 1"
GROUP_ROWS: Final = 30_000
_MAGIC: Final = b"PAR1"


class TableError(PinfolioError):
    """The table cannot be written; the earlier file is untouched."""


class Column(NamedTuple):
    """A column of the table: its name, Parquet type, SQL expression in the folio, and meaning."""

    name: str
    type: str
    sql: str
    description: str
    is_nullable: bool = False


READING_COLUMNS: Final = (
    Column("note_digest", "string", "digest", "SHA-256 of the revision of the note: names the row"),
    Column("note_id", "string", "note", "Names the note through its revisions"),
    Column("part", "string", "chip", "Part number of the chip"),
    Column("place", "string", "place", "Where it was read: 'pin 17', or the id of a node or block"),
    Column(
        "pin",
        "int32",
        "CASE WHEN place GLOB 'pin [1-9]*' THEN CAST(substr(place, 5) AS INTEGER) END",
        "Number of the pin; empty at other places",
        True,
    ),
    Column("condition", "string", "condition", "State of the set, as the chip file names it"),
    Column("dc_v", "double", "dc_v", "DC voltage to ground, in volts", True),
    Column("vpp_v", "double", "vpp_v", "Peak-to-peak voltage, in volts", True),
    Column("frequency_hz", "double", "frequency_hz", "Frequency, in hertz", True),
    Column("resistance_ohm", "double", "resistance_ohm", "To ground, set off, in ohms", True),
    Column("shop", "string", "shop", "Handle of the shop that took it"),
    Column("date", "date32", "date", "Day the note was written"),
    Column("confidence", "string", "confidence", "How often: once, several times, always"),
    Column("sets", "int32", "sets", "Number of sets it was seen in"),
    Column("chassis", "string", "chassis", "Type of the set's chassis", True),
    Column("meter", "string", "document ->> 'meter'", "Meter used", True),
    Column("probe", "string", "document ->> 'probe'", "Probe used", True),
    Column("scope", "string", "document ->> 'scope'", "Oscilloscope used", True),
    Column("in_conflict", "bool", "in_conflict", "Whether other newest revisions disagree"),
)

_READINGS: Final = "FROM note WHERE kind = 'known-good reading' ORDER BY chip, place, note, digest"

# The tables exported besides the readings, and the order of their rows.
_TABLES: Final = {"chip": "part_key", "pin": "id", "expectation": "chip, pin, node, condition"}
_TYPES: Final = {"INTEGER": "int64", "REAL": "double", "TEXT": "string"}
# Columns of the view ``expectation`` have no declared type; those not listed here are numbers.
_VIEW_TYPES: Final = dict.fromkeys(("pin", "number", "page"), "int64") | dict.fromkeys(
    ("chip", "symbol", "node"), "string"
)


def write_readings(folio: Path, out: Path, progress: Progress | None = None) -> int:
    """Write the known-good readings of ``folio`` to ``out``; return the number of rows.

    A note in conflict gives one row for each of its newest revisions; withdrawn notes give none.

    Raises FolioError, TableError.
    """
    with _connect(folio) as connection:
        return _write(connection, READING_COLUMNS, _READINGS, out, FORMAT, progress)


def write_tables(folio: Path, folder: Path, progress: Progress | None = None) -> dict[Path, int]:
    """Write the folio's chips, pins and expectations; return the number of rows of each file.

    The columns are those of ``folio_tables.sql``, without the documents.

    Raises FolioError, TableError.
    """
    row_counts = {}
    with _connect(folio) as connection:
        for table, key in _TABLES.items():
            out = folder / f"{table}.parquet"
            columns = tuple(_read_columns(connection, table))
            # Ordered, so that the same folio always gives the same files.
            source = f"FROM {table} ORDER BY {key}"
            file_format = f"pinfolio {table} 1"
            row_counts[out] = _write(connection, columns, source, out, file_format, progress)
    return row_counts


@contextmanager
def _connect(folio: Path) -> Iterator[sqlite3.Connection]:
    """Yield a read-only connection to a folio. Raises TableError without pyarrow."""
    if find_spec("pyarrow") is None:
        raise TableError(
            "writing Parquet needs pyarrow; install it: pip install 'pinfolio[parquet]'"
        )
    check_folio_file(folio)
    address = f"{folio.resolve().as_uri()}?mode=ro&immutable=1"
    try:
        with closing(sqlite3.connect(address, uri=True)) as connection:
            yield connection
    except sqlite3.Error as error:
        raise FolioError(f"{folio}: cannot be read ({error})") from error


def _read_columns(connection: sqlite3.Connection, table: str) -> Iterator[Column]:
    rows = connection.execute('SELECT name, type, "notnull" FROM pragma_table_info(?)', (table,))
    for name, sql_type, required in rows.fetchall():
        if name != "document":
            description = f"As {table}.{name} of the folio"
            parquet_type = _TYPES.get(sql_type) or _VIEW_TYPES.get(name, "double")
            yield Column(name, parquet_type, name, description, not required)


def _write(
    connection: sqlite3.Connection,
    columns: tuple[Column, ...],
    source: str,
    out: Path,
    format_: str,
    progress: Progress | None,
) -> int:
    """Write the rows of ``source``, a FROM clause, to ``out`` atomically; return their number."""
    from pyarrow.parquet import ParquetWriter

    ((digest, built),) = connection.execute("SELECT digest, built FROM folio")
    schema = _make_schema(columns, {"format": format_, "folio": digest, "built": built})
    (row_count,) = connection.execute(f"SELECT count(*) {source}").fetchone()
    written_rows = 0
    try:
        with (
            replace_atomically(out, _is_parquet) as temporary,
            ParquetWriter(temporary, schema, compression="zstd") as writer,
        ):
            names = ", ".join(column.sql for column in columns)
            rows = connection.execute(f"SELECT {names} {source}")
            # Group by group: a large folio has more rows than fit in memory.
            while row_group := rows.fetchmany(GROUP_ROWS):
                writer.write_table(_to_table(row_group, schema))
                written_rows += len(row_group)
                if progress is not None:
                    progress(written_rows, row_count, out.name)
    except OSError as error:
        raise TableError(f"{out}: cannot be written ({error.strerror or error})") from error
    return written_rows


def _is_parquet(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(len(_MAGIC)) == _MAGIC


def _make_schema(columns: tuple[Column, ...], metadata: dict[str, str]) -> pyarrow.Schema:
    """Return the Parquet schema, each column with its description."""
    import pyarrow

    type_of = {"bool": pyarrow.bool_(), "date32": pyarrow.date32(), "double": pyarrow.float64()}
    fields = [
        pyarrow.field(
            column.name,
            type_of.get(column.type) or pyarrow.type_for_alias(column.type),
            nullable=column.is_nullable,
            metadata={"description": column.description},
        )
        for column in columns
    ]
    return pyarrow.schema(fields, metadata=metadata)


def _to_table(rows: list[tuple[Any, ...]], schema: pyarrow.Schema) -> pyarrow.Table:
    """Return rows as a table with the types of the schema."""
    import pyarrow

    arrays = []
    columns = zip(*rows, strict=True)
    for field, values in zip(schema, columns, strict=True):
        # SQLite has neither Booleans nor dates: they are stored as integers and ISO 8601 text.
        if field.type == "bool":
            arrays.append(pyarrow.array([bool(value) for value in values], field.type))
        elif field.type == "date32":
            arrays.append(pyarrow.array(list(values), pyarrow.string()).cast(field.type))
        else:
            arrays.append(pyarrow.array(list(values), field.type))
    return pyarrow.Table.from_arrays(arrays, schema=schema)
