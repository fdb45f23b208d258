"""Attach a folio to Datasette so that all connections read the same file.

Datasette opens a connection in each thread when the thread is first needed, by path. After a new
folio has been renamed into place, some threads would read the old file and some the new one. Here
all connections are opened at once and handed to the threads as they start.
"""

from __future__ import annotations

import asyncio
import sqlite3
import sys
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import Any, ClassVar

from datasette.app import Datasette
from datasette.database import Database, QueryInterrupted, Results, WriteTask

from ...loaders.folio.folio_file import FolioError, build_command
from ...loaders.system.limited_process import LimitReachedError
from ...loaders.system.limited_worker import LimitedWorker
from .serving.data_pages import IS_DATA_PAGE
from .serving.statements import (
    GRACE_S,
    LONGEST_VALUE_BYTES,
    MEMORY_BYTES,
    Refusal,
    Rows,
    Statement,
    open_statements,
    run_statement,
)


class FolioDatabase(Database):  # type: ignore[misc]  # Datasette comes without types
    """A folio with every connection open from the start. Raises FolioError."""

    def __init__(self, datasette: Datasette, path: Path) -> None:
        super().__init__(datasette, str(path), is_mutable=False)
        threads = datasette.setting("num_sql_threads") or 1
        try:
            self._all_file_connections += [_open(path) for _ in range(threads)]
            self._describe(self._all_file_connections[0])
        except sqlite3.Error as fault:
            self.close()
            raise FolioError(
                f"{path}: the folio is damaged ({fault}); build it again: {build_command(path)}"
            ) from None
        self._waiting: list[sqlite3.Connection] = list(self._all_file_connections)
        state = path.stat()
        stamp = (state.st_dev, state.st_ino, state.st_size, state.st_mtime_ns)
        self._worker = LimitedWorker(open_statements, path, stamp, memory_bytes=MEMORY_BYTES)
        self._asker = ThreadPoolExecutor(1)

    def connect(self, write: bool = False) -> sqlite3.Connection:
        """Return an open connection for a thread that has none yet."""
        assert not write  # an immutable file
        return self._waiting.pop()

    async def execute(
        self,
        sql: str,
        params: Mapping[str, Any] | Sequence[Any] | None = None,
        truncate: bool = False,
        custom_time_limit: int | None = None,
        page_size: int | None = None,
        log_sql_errors: bool = True,
    ) -> Results:
        """Return the rows of a statement; those of Datasette's own pages run in their own process.

        ``custom_time_limit`` is in milliseconds. Raises QueryInterrupted, and
        sqlite3.OperationalError for all that is wrong with a statement or its answer.
        """
        if not IS_DATA_PAGE.get():
            return await super().execute(
                sql, params, truncate, custom_time_limit, page_size, log_sql_errors
            )
        most_rows = self.ds.max_returned_rows + (page_size == self.ds.max_returned_rows)
        limits_ms = (self.ds.sql_time_limit_ms, custom_time_limit or self.ds.sql_time_limit_ms)
        parameters = dict(params) if isinstance(params, Mapping) else tuple(params or ())
        statement = Statement(
            sql, parameters, most_rows if truncate else None, min(limits_ms) / 1000
        )
        loop = asyncio.get_running_loop()
        answer = await loop.run_in_executor(self._asker, self._ask_worker, statement)
        # The process opens the folio by path; to one that was replaced only we are connected.
        if isinstance(answer, Refusal) and answer.kind == "replaced":
            answer = await self.execute_fn(lambda connection: run_statement(connection, statement))
        return _make_results(statement, answer)

    def _ask_worker(self, statement: Statement) -> Rows | Refusal:
        try:
            answer: Rows | Refusal = self._worker.ask(statement, statement.limit_s + GRACE_S)
        except LimitReachedError as limit:
            return Refusal("interrupted", f"the statement needs {limit}")
        return answer

    def close(self) -> None:
        """Close the connections, and end the process of the data pages."""
        if hasattr(self, "_asker"):
            self._asker.shutdown(wait=True)
            self._worker.close()
        super().close()

    def _describe(self, connection: sqlite3.Connection) -> None:
        """Give Datasette digest, size and row counts, to spare it reading the whole file."""
        (self.cached_hash,) = connection.execute("SELECT digest FROM folio").fetchone()
        (self.cached_size,) = connection.execute(
            "SELECT page_count * page_size FROM pragma_page_count, pragma_page_size"
        ).fetchone()
        self._cached_table_counts = _count_rows(connection)


def _make_results(statement: Statement, answer: Rows | Refusal) -> Results:
    """Return an answer as Datasette has it; raises QueryInterrupted, sqlite3.OperationalError."""
    if isinstance(answer, Rows):
        row = type("Row", (_Row,), {"names": answer.columns})
        description = tuple((name, *[None] * 6) for name in answer.columns)
        return Results(list(map(row, answer.rows)), answer.is_truncated, description)
    error = sqlite3.OperationalError(answer.message)
    if answer.kind == "interrupted":
        raise QueryInterrupted(error, statement.sql, statement.parameters)
    raise error


class _Row(tuple[Any, ...]):
    """A row whose values are found by place or by name of their column, as in sqlite3.Row."""

    names: ClassVar[tuple[str, ...]] = ()

    def keys(self) -> list[str]:
        """Return the names of the columns."""
        return list(self.names)

    def __getitem__(self, key: Any) -> Any:
        """Return the value at a place or of a column; raises IndexError as sqlite3.Row does."""
        if isinstance(key, str):
            if key not in self.names:
                raise IndexError("No item with that key")
            key = self.names.index(key)
        return super().__getitem__(key)


class Catalogue(Database):  # type: ignore[misc]
    """Datasette's in-memory table of tables, with a writing thread that can be ended."""

    def end(self) -> None:
        """End the writing thread, if it was started."""
        if self._write_thread is not None:
            self._write_queue.put(WriteTask(lambda _: sys.exit(), None, None))
            self._write_thread.join()

    def _execute_writes(self) -> None:
        with suppress(SystemExit):
            super()._execute_writes()


def _open(path: Path) -> sqlite3.Connection:
    address = f"{path.resolve().as_uri()}?mode=ro&immutable=1"
    connection = sqlite3.connect(address, uri=True, check_same_thread=False)
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_VALUE_BYTES)
    connection.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
    return connection


def _count_rows(connection: sqlite3.Connection) -> dict[str, int]:
    """Return the rows in each table, as the build counted them for SQLite's planner.

    ``sqlite_stat1`` holds nothing on an empty table, nor on a word index, which has as many
    entries as its ``docsize`` table. Source: https://www.sqlite.org/fileformat2.html, 2.6.3.
    """
    counted = {
        table: int(stat.split()[0])
        for table, stat in connection.execute("SELECT tbl, stat FROM sqlite_stat1")
    }
    names = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
    return {
        name: counted.get(name, counted.get(f"{name}_docsize", 0)) for (name,) in names.fetchall()
    }
