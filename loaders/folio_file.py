"""What makes a file a folio: told from its first hundred bytes and its seal, before SQLite reads.

Source: SQLite's database file format, section 1.3, "The Database Header"
(https://www.sqlite.org/fileformat2.html): page size at byte 16, change counter at 24, number of
pages at 28, user version at 60, application id at 68, the counter the number of pages is valid
for at 92; all big-endian.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, Final

from .known_whole import is_known_whole, remember_whole
from .seal import SEAL_SIZE, seal_holds

APPLICATION_ID: Final = int.from_bytes(b"PFol")
SCHEMA_VERSION: Final = 3

_MAGIC: Final = b"SQLite format 3\0"
_HEADER: Final = struct.Struct(">16s H 6x I I 28x I 4x I 20x I 4x")


class FolioError(Exception):
    """A folio that cannot be read or written: what is wrong, and the command that mends it."""


def build_command(out: Path | None = None) -> str:
    """The command line that builds a folio, for messages."""
    return f"pinfolio build SOURCE... -o {out or 'FILE'}"


def check_folio_file(path: Path, *, afresh: bool = False) -> None:
    """Raise FolioError unless ``path`` is a folio of this schema version with every byte in place.

    ``afresh`` reads all of it, even though it was found whole a short while ago.
    """
    version, missing = _read_header(path)
    if version != SCHEMA_VERSION:
        raise FolioError(
            f"{path}: found a folio of schema version {version}, expected {SCHEMA_VERSION};"
            f" build it again: {build_command(path)}"
        )
    if missing > 0:
        raise FolioError(
            f"{path}: the folio is cut short, {missing} bytes are missing;"
            f" build it again: {build_command(path)}"
        )
    if not _is_whole(path, afresh):
        raise FolioError(
            f"{path}: the folio is damaged (its bytes are not those that were built);"
            f" build it again: {build_command(path)}"
        )


def _is_whole(path: Path, afresh: bool) -> bool:
    with _reading(path) as file:
        found = os.fstat(file.fileno())
        if not afresh and is_known_whole(found):
            return True
        if whole := seal_holds(file):
            remember_whole(found)
    return whole


def is_folio_file(path: Path) -> bool:
    """True for a folio, whether or not it is whole and of this schema version."""
    try:
        _read_header(path)
    except FolioError:
        return False
    return True


def _read_header(path: Path) -> tuple[int, int]:
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
def _reading(path: Path) -> Iterator[BinaryIO]:
    try:
        with path.open("rb") as file:
            yield file
    except FileNotFoundError:
        raise FolioError(f"{path}: no such file; build it: {build_command(path)}") from None
    except OSError as fault:
        raise FolioError(
            f"{path}: cannot be read ({fault.strerror}); build a folio: {build_command()}"
        ) from None
