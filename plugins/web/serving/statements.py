"""Run a visitor's SQL in a process of its own, within a budget of rows, bytes, time and memory.

SQLite can be asked for gigabytes in a line, and some of its functions cannot be interrupted. The
process that runs here is limited by the operating system and replaced when it reaches a limit.
Nothing in this module may import Datasette or our models: a new process is ready at once.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

MOST_BYTES: Final = 2_000_000
"""Bytes of an answer of several rows."""
LONGEST_VALUE_BYTES: Final = 5_000_000
"""Bytes of a value; attachments are the longest stored."""
MEMORY_BYTES: Final = 120_000_000
GRACE_S: Final = 0.5
"""Between the time limit of a statement, which SQLite keeps itself, and the end of its process."""

_CELL_BYTES: Final = 64  # what a small value takes in Python
_OPCODES_BETWEEN_LOOKS: Final = 1000  # between two looks at the clock, as in Datasette
_LIMITS: Final = {
    sqlite3.SQLITE_LIMIT_LENGTH: LONGEST_VALUE_BYTES,
    sqlite3.SQLITE_LIMIT_ATTACHED: 0,
    sqlite3.SQLITE_LIMIT_COLUMN: 200,
    sqlite3.SQLITE_LIMIT_COMPOUND_SELECT: 50,
    sqlite3.SQLITE_LIMIT_EXPR_DEPTH: 200,
    sqlite3.SQLITE_LIMIT_LIKE_PATTERN_LENGTH: 1000,
    sqlite3.SQLITE_LIMIT_SQL_LENGTH: 20_000,
}

Stamp = tuple[int, int, int, int]
Value = str | bytes | int | float | None


@dataclass(frozen=True)
class Statement:
    """A statement with its parameters, and the limits of its answer."""

    sql: str
    parameters: Mapping[str, Any] | Sequence[Any]
    most_rows: int | None
    limit_s: float


@dataclass(frozen=True)
class Rows:
    """The answer to a statement."""

    columns: tuple[str, ...]
    rows: list[tuple[Value, ...]]
    is_truncated: bool
    """Whether there are more rows than were asked for."""


@dataclass(frozen=True)
class Refusal:
    """The reason that there is no answer."""

    kind: Literal["interrupted", "too large", "faulty", "replaced"]
    message: str


def open_statements(path: Path, stamp: Stamp) -> Callable[[Statement], Rows | Refusal]:
    """Return the function that answers statements about the folio at ``path``.

    It answers nothing when another file than the one with this stamp is there meanwhile.
    """
    connection = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro&immutable=1", uri=True)
    connection.text_factory = lambda data: str(data, "utf-8", "replace")
    for category, most in _LIMITS.items():
        connection.setlimit(category, most)
    state = path.stat()
    is_same = (state.st_dev, state.st_ino, state.st_size, state.st_mtime_ns) == stamp

    def answer(statement: Statement) -> Rows | Refusal:
        if not is_same:
            return Refusal("replaced", "the folio was replaced")
        return run_statement(connection, statement)

    return answer


def run_statement(connection: sqlite3.Connection, statement: Statement) -> Rows | Refusal:
    """Return the rows of a statement, or the reason that there are none."""
    deadline = time.perf_counter() + statement.limit_s
    connection.set_progress_handler(lambda: time.perf_counter() >= deadline, _OPCODES_BETWEEN_LOOKS)
    try:
        cursor = connection.execute(statement.sql, statement.parameters)
        rows, is_truncated = _fetch(cursor, statement.most_rows)
    except _TooLargeError:
        return Refusal("too large", f"the answer is larger than {MOST_BYTES:,} bytes")
    except (sqlite3.Error, sqlite3.Warning, ValueError, OverflowError) as error:
        is_interrupted = error.args == ("interrupted",)
        return Refusal("interrupted" if is_interrupted else "faulty", str(error))
    finally:
        connection.set_progress_handler(None, 0)
    return Rows(tuple(name for name, *_ in cursor.description or ()), rows, is_truncated)


class _TooLargeError(Exception):
    """The answer has more bytes than allowed."""


def _fetch(cursor: sqlite3.Cursor, most_rows: int | None) -> tuple[list[tuple[Value, ...]], bool]:
    """Return the rows, and whether there are more than ``most_rows``."""
    rows: list[tuple[Value, ...]] = []
    for row, total_bytes in _measure(cursor):
        if most_rows is not None and len(rows) == most_rows:
            return rows, True
        rows.append(row)
        # One value alone may be longer: an attachment is.
        if total_bytes > MOST_BYTES and len(rows) > 1:
            raise _TooLargeError
    return rows, False


def _measure(cursor: sqlite3.Cursor) -> Iterator[tuple[tuple[Value, ...], int]]:
    """Yield each row, and the bytes of all rows so far."""
    total_bytes = 0
    for row in cursor:
        total_bytes += sum(
            _CELL_BYTES + (len(value) if isinstance(value, str | bytes) else 0) for value in row
        )
        yield row, total_bytes
