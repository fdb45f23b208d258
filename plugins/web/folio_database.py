"""Attach a folio to Datasette so that all connections read the same file.

Datasette opens a connection in each thread when the thread is first needed, by path. After a new
folio has been renamed into place, some threads would read the old file and some the new one. Here
all connections are opened at once and handed to the threads as they start.
"""

from __future__ import annotations

import sqlite3
import sys
from contextlib import suppress
from pathlib import Path
from typing import Final

from datasette.app import Datasette
from datasette.database import Database, WriteTask

from ...loaders.folio.folio_file import FolioError, build_command

_LONGEST_VALUE_BYTES: Final = 5_000_000
"""Longest value that a statement in an address may make; attachments are the longest stored."""


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

    def connect(self, write: bool = False) -> sqlite3.Connection:
        """Return an open connection for a thread that has none yet."""
        assert not write  # an immutable file
        return self._waiting.pop()

    def _describe(self, connection: sqlite3.Connection) -> None:
        """Give Datasette digest, size and row counts, to spare it reading the whole file."""
        (self.cached_hash,) = connection.execute("SELECT digest FROM folio").fetchone()
        (self.cached_size,) = connection.execute(
            "SELECT page_count * page_size FROM pragma_page_count, pragma_page_size"
        ).fetchone()
        self._cached_table_counts = _row_counts(connection)


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
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LONGEST_VALUE_BYTES)
    connection.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
    return connection


def _row_counts(connection: sqlite3.Connection) -> dict[str, int]:
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
