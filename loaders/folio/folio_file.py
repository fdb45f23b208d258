"""What makes a file a folio: told from its first hundred bytes and its seal, before SQLite reads.

Source: SQLite's database file format, section 1.3, "The Database Header"
(https://www.sqlite.org/fileformat2.html): page size at byte 16, change counter at 24, number of
pages at 28, user version at 60, application id at 68, the counter the number of pages is valid
for at 92; all big-endian.
"""

from __future__ import annotations

import os
import sqlite3
import struct
from contextlib import contextmanager

from ...schema.errors import PinfolioError
from .download_origin import fetch_command
from .integrity_cache import is_known_intact, remember_intact
from .seal import SEAL_SIZE, verify_seal

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from typing import BinaryIO, Final

APPLICATION_ID: Final = int.from_bytes(b"PFol")
SCHEMA_VERSION: Final = 3

_MAGIC: Final = b"SQLite format 3\0"
_HEADER: Final = struct.Struct(">16s H 6x I I 28x I 4x I 20x I 4x")


class FolioError(PinfolioError):
    """A folio that cannot be read or written: what is wrong, and the command that mends it."""


def build_command(out: Path | str | None = None) -> str:
    """The command line that builds a folio, for messages."""
    return f"pinfolio build SOURCE... -o {out or 'FILE'}"


def repair_hint(path: Path | str) -> str:
    """How to get a folio whole again, for messages: as it came here, fetched or built."""
    if fetch := fetch_command(path):
        return f"fetch it again: {fetch}"
    return f"build it again: {build_command(path)}"


def obtain_hint(path: Path | str) -> str:
    """How to get a folio that is not there, for messages."""
    fetch = fetch_command(path)
    return f"fetch it: {fetch}" if fetch else f"build it: {build_command(path)}"


def check_folio_file(path: Path | str, *, afresh: bool = False) -> None:
    """Raise FolioError unless ``path`` is a folio of this schema version with every byte in place.

    ``afresh`` reads all of it, even though it was found whole a short while ago.
    """
    version, missing = _read_header(path)
    if version != SCHEMA_VERSION:
        raise FolioError(
            f"{path}: found a folio of schema version {version}, expected {SCHEMA_VERSION};"
            f" {repair_hint(path)}"
        )
    if missing:
        wrong = f"cut short, {missing} bytes are missing" if missing > 0 else "longer than it was"
        raise FolioError(f"{path}: the folio is {wrong}; {repair_hint(path)}")
    if not _is_whole(path, afresh):
        raise FolioError(
            f"{path}: the folio is damaged (its bytes are not those that were built);"
            f" {repair_hint(path)}"
        )


def connect_folio(path: Path | str) -> sqlite3.Connection:
    """A connection that reads a folio; raise FolioError, with the command that mends it.

    The file is opened as immutable: it is built whole and renamed into place, never changed.
    """
    check_folio_file(path)
    try:
        connection = sqlite3.connect(f"{_address(path)}?mode=ro&immutable=1", uri=True)
        connection.execute("SELECT digest FROM folio").fetchone()
    except sqlite3.Error as fault:
        raise FolioError(f"{path}: the folio is damaged ({fault}); {repair_hint(path)}") from None
    return connection


def _address(path: Path | str) -> str:
    """The path as SQLite reads addresses (https://www.sqlite.org/uri.html, section 3.1)."""
    whole = os.path.realpath(path)
    if os.sep == "\\":
        whole = "/" + whole.replace("\\", "/")
    plain = (chr(byte) if 0x20 < byte < 0x7F and byte not in b"%?#" else f"%{byte:02X}"
             for byte in os.fsencode(whole))  # fmt: skip
    return "file://" + "".join(plain)


def _is_whole(path: Path | str, afresh: bool) -> bool:
    with _reading(path) as file:
        found = os.fstat(file.fileno())
        if not afresh and is_known_intact(found):
            return True
        if whole := verify_seal(file):
            remember_intact(found)
    return whole


def is_folio_file(path: Path | str) -> bool:
    """True for a folio, whether or not it is whole and of this schema version."""
    try:
        _read_header(path)
    except FolioError:
        return False
    return True


def _read_header(path: Path | str) -> tuple[int, int]:
    """Schema version of a folio and how many of its bytes are missing, or FolioError."""
    with _reading(path) as file:
        start = file.read(_HEADER.size)
        size = file.seek(0, os.SEEK_END)
    if len(start) == _HEADER.size:
        magic, page, changes, pages, version, application, valid_for = _HEADER.unpack(start)
        if magic == _MAGIC and application == APPLICATION_ID:
            whole = pages * (65536 if page == 1 else page) + SEAL_SIZE
            return version, whole - size if changes == valid_for else 0
    raise FolioError(f"{path}: is not a folio; build one: {build_command()}")


@contextmanager
def _reading(path: Path | str) -> Iterator[BinaryIO]:
    try:
        with open(path, "rb") as file:
            yield file
    except FileNotFoundError:
        raise FolioError(f"{path}: no such file; {obtain_hint(path)}") from None
    except OSError as fault:
        raise FolioError(
            f"{path}: cannot be read ({fault.strerror}); build a folio: {build_command()}"
        ) from None
