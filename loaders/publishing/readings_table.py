"""What good sets were seen to read, of all shops in a folio, as a table that any tool can read.

Apache Parquet, written group by group, so a table of any length takes the same memory. Every column
says in the file what it means; units are in the names. Who wrote a note is not in the table, only
the shop. Source of the format: https://parquet.apache.org/docs/file-format/.
"""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from ..folio.folio_file import FolioError, check_folio_file
from ..folio.folio_placement import flush

if TYPE_CHECKING:
    import pyarrow

    from ..folio.build import Progress

FORMAT: Final = "pinfolio readings 1"
ROWS_A_GROUP: Final = 30_000


class TableError(Exception):
    """The table cannot be written; what was there before is as it was."""


class Column(NamedTuple):
    """One column: its name, its type, where it is in the folio, and what it means."""

    name: str
    type: str
    sql: str
    means: str
    may_be_missing: bool = False


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

# Tables of the folio that are written along, each ordered by a key of its own.
_TABLES: Final = {"chip": "part_key", "pin": "id", "expectation": "chip, pin, node, condition"}
_TYPES: Final = {"INTEGER": "int64", "REAL": "double", "TEXT": "string"}
# What the view of expectations declares no type for; all else there are figures.
_NO_TYPE: Final = dict.fromkeys(("pin", "number", "page"), "int64") | dict.fromkeys(
    ("chip", "symbol", "node"), "string"
)


def write_readings(folio: Path, out: Path, progress: Progress | None = None) -> int:
    """Write the readings of good sets in ``folio`` as ``out``; how many there are.

    A note in conflict is there in each of its newest revisions; one taken back is not. Raises
    FolioError, TableError.
    """
    with _opened(folio) as connection:
        return _write(connection, READING_COLUMNS, _READINGS, out, FORMAT, progress)


def write_tables(folio: Path, folder: Path, progress: Progress | None = None) -> dict[Path, int]:
    """Write the folio's chips, pins and expectations as Parquet; the rows of each file.

    Columns are those of ``folio_tables.sql``, but for the documents. Raises FolioError, TableError.
    """
    written = {}
    with _opened(folio) as connection:
        for table, key in _TABLES.items():
            out = folder / f"{table}.parquet"
            said = f"FROM {table} ORDER BY {key}"
            columns = tuple(_columns_of(connection, table))
            written[out] = _write(connection, columns, said, out, f"pinfolio {table} 1", progress)
    return written


@contextmanager
def _opened(folio: Path) -> Iterator[sqlite3.Connection]:
    if find_spec("pyarrow") is None:
        raise TableError("a table of readings needs pyarrow: pip install 'pinfolio[parquet]'")
    check_folio_file(folio)
    address = f"{folio.resolve().as_uri()}?mode=ro&immutable=1"
    try:
        with closing(sqlite3.connect(address, uri=True)) as connection:
            yield connection
    except sqlite3.Error as fault:
        raise FolioError(f"{folio}: cannot be read ({fault})") from fault


def _columns_of(connection: sqlite3.Connection, table: str) -> Iterator[Column]:
    rows = connection.execute('SELECT name, type, "notnull" FROM pragma_table_info(?)', (table,))
    for name, type_, required in rows.fetchall():
        if name != "document":
            means = f"As {table}.{name} of the folio"
            yield Column(
                name, _TYPES.get(type_) or _NO_TYPE.get(name, "double"), name, means, not required
            )


def _write(
    connection: sqlite3.Connection,
    columns: tuple[Column, ...],
    said: str,
    out: Path,
    format_: str,
    progress: Progress | None,
) -> int:
    """Write rows as Parquet beside ``out`` and put the whole file in its place."""
    from pyarrow.parquet import ParquetWriter

    (info,) = connection.execute("SELECT digest, built FROM folio")
    schema = _schema(columns, {"format": format_, "folio": info[0], "built": info[1]})
    (total,) = connection.execute(f"SELECT count(*) {said}").fetchone()
    new = out.with_name(f".{out.name}.{secrets.token_hex(4)}.new")
    done = 0
    try:
        with ParquetWriter(new, schema, compression="zstd") as writer:
            names = ", ".join(column.sql for column in columns)
            rows = connection.execute(f"SELECT {names} {said}")
            while some := rows.fetchmany(ROWS_A_GROUP):
                writer.write_table(_table(some, schema))
                done += len(some)
                if progress is not None:
                    progress(done, total, out.name)
        flush(new)
        new.replace(out)
        flush(out.parent)
    except OSError as fault:
        raise TableError(f"{out}: cannot be written ({fault.strerror or fault})") from fault
    finally:
        new.unlink(missing_ok=True)
    return done


def _schema(columns: tuple[Column, ...], about: dict[str, str]) -> pyarrow.Schema:
    import pyarrow

    types = {"bool": pyarrow.bool_(), "date32": pyarrow.date32(), "double": pyarrow.float64()}
    fields = [
        pyarrow.field(
            column.name,
            types.get(column.type) or pyarrow.type_for_alias(column.type),
            nullable=column.may_be_missing,
            metadata={"description": column.means},
        )
        for column in columns
    ]
    return pyarrow.schema(fields, metadata=about)


def _table(rows: list[tuple[Any, ...]], schema: pyarrow.Schema) -> pyarrow.Table:
    import pyarrow

    held = []
    for field, values in zip(schema, zip(*rows, strict=True), strict=True):
        plain: list[Any] = (
            [bool(value) for value in values] if field.type == "bool" else list(values)
        )
        if field.type == "date32":
            held.append(pyarrow.array(plain, pyarrow.string()).cast(field.type))
        else:
            held.append(pyarrow.array(plain, field.type))
    return pyarrow.Table.from_arrays(held, schema=schema)
