"""Cache of validated chip files, so that unchanged ones are not read and checked again.

The key is the SHA-256 of the file's bytes, the version, and the state of the package's own files:
anything that could change the result changes the key, so nothing unvalidated gets in. The cache is
a small database in the user's cache folder, which several builds may use at once. If it cannot be
used, chip files are simply read.
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
from .prepared_chip import PreparedChip, from_bytes, to_bytes

_NAME: Final = "chip-files.db"
_MOST_BYTES: Final = 500_000_000
_KEPT_SHARE: Final = 0.8  # of _MOST_BYTES remains when the least recently used are removed
_STORE_ROWS: Final = 100
_REMOVED_AT_ONCE: Final = 1_000  # entries deleted before the size is measured again
_ATTEMPTS: Final = 2  # opening the database: as it is, then once more after removing a damaged one
_DAY_S: Final = 86_400
_LOCK_TIMEOUT_S: Final = 2
_TABLE: Final = """
CREATE TABLE IF NOT EXISTS chip_file (
  key BLOB PRIMARY KEY,
  prepared BLOB NOT NULL,
  used INTEGER NOT NULL
) STRICT, WITHOUT ROWID
"""


@contextmanager
def open_chip_cache(folder: Path | None) -> Iterator[ChipCache]:
    """Yield the cache in ``folder``, created if missing; without a folder it stays empty."""
    connection = None if folder is None else _open(folder)
    if connection is None:
        yield ChipCache(None)
        return
    with closing(connection):
        cache = ChipCache(connection)
        try:
            yield cache
        finally:
            cache.finish()


class ChipCache:
    """Prepared chips by the content of their chip files."""

    def __init__(self, connection: sqlite3.Connection | None) -> None:
        self._connection = connection
        self._stamp = _take_stamp() if connection is not None else b""
        self._new_rows: list[tuple[bytes, bytes, int]] = []
        self._used_keys: list[bytes] = []
        self._now = int(time.time())

    def find(self, record: Record) -> PreparedChip | None:
        """Return the chip prepared earlier from the same content, if any."""
        if self._connection is None:
            return None
        key = self._compute_key(record)
        try:
            query = "SELECT prepared, used FROM chip_file WHERE key = ?"
            entry = self._connection.execute(query, (key,)).fetchone()
        except sqlite3.Error:
            self._disable()
            return None
        if entry is None:
            return None
        prepared_bytes, last_used_s = entry
        # The time of use only orders removals: to the day is enough, and spares most writes.
        if last_used_s < self._now - _DAY_S:
            self._used_keys.append(key)
        try:
            return from_bytes(prepared_bytes, record.file)
        except (ValueError, TypeError, KeyError):
            return None  # a damaged entry: the file is read again, and its entry replaced

    def remember(self, record: Record, prepared: PreparedChip) -> None:
        """Store the chip prepared from ``record``."""
        if self._connection is not None and prepared.file == record.file:
            self._new_rows.append((self._compute_key(record), to_bytes(prepared), self._now))
            if len(self._new_rows) >= _STORE_ROWS:
                self._store()

    def finish(self) -> None:
        """Write pending entries; remove the least recently used if the cache is too large."""
        self._store()
        if self._connection is None:
            return
        try:
            if _measure_used_bytes(self._connection) <= _MOST_BYTES:
                return
            # Some room beyond the need, so that the next builds need not remove entries again.
            kept_bytes = int(_MOST_BYTES * _KEPT_SHARE)
            while _measure_used_bytes(self._connection) > kept_bytes:
                self._connection.execute(
                    "DELETE FROM chip_file WHERE key IN"
                    " (SELECT key FROM chip_file ORDER BY used LIMIT ?)",
                    (_REMOVED_AT_ONCE,),
                )
        except sqlite3.Error:
            self._disable()

    def _store(self) -> None:
        """Write new entries and times of use in one transaction; disable the cache on error."""
        if self._connection is None:
            return
        try:
            # Locking for writing at once: a lock taken later could fail halfway.
            self._connection.execute("BEGIN IMMEDIATE")
            self._connection.executemany(
                "INSERT OR REPLACE INTO chip_file VALUES (?, ?, ?)", self._new_rows
            )
            self._connection.executemany(
                "UPDATE chip_file SET used = ? WHERE key = ?",
                [(self._now, key) for key in self._used_keys],
            )
            self._connection.execute("COMMIT")
        except sqlite3.Error:
            self._disable()
        self._new_rows, self._used_keys = [], []

    def _compute_key(self, record: Record) -> bytes:
        return hashlib.sha256(self._stamp + record.data).digest()

    def _disable(self) -> None:
        """Continue without the cache."""
        if self._connection is not None:
            with suppress(sqlite3.Error):
                self._connection.close()
        self._connection = None


def _open(folder: Path) -> sqlite3.Connection | None:
    """Return the database, recreated if damaged; None if it cannot be used."""
    for _ in range(_ATTEMPTS):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            return _connect(folder / _NAME)
        except sqlite3.OperationalError:
            return None  # locked for too long, or no room
        except sqlite3.DatabaseError:
            # Damaged: it holds nothing that chip files lack, so it goes, with its journals.
            with suppress(OSError):
                for database_file in folder.glob(f"{_NAME}*"):
                    database_file.unlink()
        except OSError:
            return None
    return None


def _connect(path: Path) -> sqlite3.Connection:
    """Return a connection to the cache, its table created if needed. Raises sqlite3.Error."""
    connection = sqlite3.connect(path, timeout=_LOCK_TIMEOUT_S, isolation_level=None)
    try:
        # With a write-ahead log, readers and a writer do not block each other, and a killed
        # process leaves the database intact.
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = NORMAL")
        connection.execute(_TABLE)
        # Reading a row shows damage that opening does not.
        connection.execute("SELECT key, prepared, used FROM chip_file LIMIT 1").fetchall()
    except sqlite3.Error:
        connection.close()
        raise
    return connection


def _measure_used_bytes(connection: sqlite3.Connection) -> int:
    ((pages,),) = connection.execute("PRAGMA page_count").fetchall()
    ((free_pages,),) = connection.execute("PRAGMA freelist_count").fetchall()
    ((page_bytes,),) = connection.execute("PRAGMA page_size").fetchall()
    return int((pages - free_pages) * page_bytes)


def _take_stamp() -> bytes:
    """Return a digest of everything besides the chip file that can change the result."""
    states = [version("pinfolio"), str(SCHEMA_VERSION)]
    package = Path(__file__).parents[2]
    for folder in ("schema", "loaders", "plugins"):
        for file in sorted((package / folder).rglob("*.*")):
            if file.suffix in (".py", ".sql", ".yaml", ".txt"):
                status = file.stat()
                path = file.relative_to(package)
                states.append(f"{path} {status.st_size} {status.st_mtime_ns}")
    return hashlib.sha256("\n".join(states).encode()).digest()
