"""Chip files as they were read before: one that has not changed is not read and checked again.

A file is known by the SHA-256 of its bytes, of the version of the package and of its own files:
whatever could make the answer another makes another key, so nothing is let in unchecked. The
cache is a small database in the user's cache folder, which several builds may use at once. What
is wrong with it is no fault of a build: then chip files are read.
"""

from __future__ import annotations

import hashlib
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from importlib.metadata import version
from pathlib import Path
from typing import Final

from ..chip_files.chip_stream import Record
from .folio_file import SCHEMA_VERSION
from .prepared_chip import Extra, Prepared, from_bytes, to_bytes

_NAME: Final = "chip-files.db"
_MOST_BYTES: Final = 500_000_000
_KEEP: Final = 0.8  # of that is left when the oldest are taken out
_AT_ONCE: Final = 100
_A_DAY_S: Final = 86_400
_TABLE: Final = """
CREATE TABLE IF NOT EXISTS chip_file (
  key BLOB PRIMARY KEY,
  prepared BLOB NOT NULL,
  used INTEGER NOT NULL
) STRICT, WITHOUT ROWID
"""


@contextmanager
def open_chip_cache(folder: Path | None, extra: Extra | None) -> Iterator[ChipCache]:
    """The cache in a folder, made where it is missing; without a folder nothing is known."""
    connection = None if folder is None else _open(folder)
    if connection is None:
        yield ChipCache(None, extra)
        return
    with closing(connection):
        known = ChipCache(connection, extra)
        try:
            yield known
        finally:
            known.settle()


class ChipCache:
    """Chip files made ready for a folio, by what is in them."""

    def __init__(self, connection: sqlite3.Connection | None, extra: Extra | None) -> None:
        self._connection = connection
        self._stamp = _stamp(extra) if connection is not None else b""
        self._new: list[tuple[bytes, bytes, int]] = []
        self._used: list[bytes] = []
        self._now = int(time.time())

    def find(self, record: Record) -> Prepared | None:
        """The chip of a file that was kept with the same content, if one was."""
        if self._connection is None:
            return None
        key = self._key(record)
        try:
            asked = "SELECT prepared, used FROM chip_file WHERE key = ?"
            found = self._connection.execute(asked, (key,)).fetchone()
        except sqlite3.Error:
            self._give_up()
            return None
        if found is None:
            return None
        if found[1] < self._now - _A_DAY_S:
            self._used.append(key)
        try:
            return from_bytes(found[0], record.file)
        except (ValueError, TypeError, KeyError):
            return None  # damaged: it is read again and kept anew

    def keep(self, record: Record, prepared: Prepared) -> None:
        """Remember what a chip file was made to."""
        if self._connection is not None and prepared.file == record.file:
            self._new.append((self._key(record), to_bytes(prepared), self._now))
            if len(self._new) >= _AT_ONCE:
                self._store()

    def settle(self) -> None:
        """Write what is to be remembered; take out what was not used for longest."""
        self._store()
        if self._connection is None:
            return
        try:
            size, most = _size(self._connection), _MOST_BYTES
            while size > most:
                most = int(_MOST_BYTES * _KEEP)
                self._connection.execute(
                    "DELETE FROM chip_file WHERE key IN"
                    " (SELECT key FROM chip_file ORDER BY used LIMIT 1000)"
                )
                size = _size(self._connection)
        except sqlite3.Error:
            self._give_up()

    def _store(self) -> None:
        if self._connection is None:
            return
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            self._connection.executemany(
                "INSERT OR REPLACE INTO chip_file VALUES (?, ?, ?)", self._new
            )
            self._connection.executemany(
                "UPDATE chip_file SET used = ? WHERE key = ?",
                [(self._now, key) for key in self._used],
            )
            self._connection.execute("COMMIT")
        except sqlite3.Error:
            self._give_up()
        self._new, self._used = [], []

    def _key(self, record: Record) -> bytes:
        return hashlib.sha256(self._stamp + record.data).digest()

    def _give_up(self) -> None:
        """Go on without the cache."""
        if self._connection is not None:
            with suppress(sqlite3.Error):
                self._connection.close()
        self._connection = None


def _open(folder: Path) -> sqlite3.Connection | None:
    """The database, made anew where it is damaged; None where it cannot be."""
    for _ in range(2):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            return _connect(folder / _NAME)
        except sqlite3.OperationalError:
            return None  # locked for long, or no room
        except sqlite3.DatabaseError:
            with suppress(OSError):
                for left in folder.glob(f"{_NAME}*"):
                    left.unlink()
        except OSError:
            return None
    return None


def _connect(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path, timeout=2, isolation_level=None)
    try:
        # With a write-ahead log readers and one writer do not wait for each other, and a process
        # that is killed leaves the database whole.
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = NORMAL")
        connection.execute(_TABLE)
        connection.execute("SELECT key, prepared, used FROM chip_file LIMIT 1").fetchall()
    except sqlite3.Error:
        connection.close()
        raise
    return connection


def _size(connection: sqlite3.Connection) -> int:
    """Bytes in use."""
    ((pages,),) = connection.execute("PRAGMA page_count").fetchall()
    ((free,),) = connection.execute("PRAGMA freelist_count").fetchall()
    ((page,),) = connection.execute("PRAGMA page_size").fetchall()
    return int((pages - free) * page)


def _stamp(extra: Extra | None) -> bytes:
    """Changes with the version, with the tables, with any file of the package, and with what is
    worked out of a chip."""
    said = [version("pinfolio"), str(SCHEMA_VERSION)]
    if extra is not None:
        said.append(f"{extra.__module__}.{getattr(extra, '__qualname__', extra)}")
    package = Path(__file__).parents[2]
    for folder in ("schema", "loaders", "plugins"):
        for file in sorted((package / folder).rglob("*.*")):
            if file.suffix in (".py", ".sql", ".yaml", ".txt"):
                state = file.stat()
                said.append(f"{file.relative_to(package)} {state.st_size} {state.st_mtime_ns}")
    return hashlib.sha256("\n".join(said).encode()).digest()
