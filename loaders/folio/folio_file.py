"""Recognise a folio by its header and seal, before SQLite reads it.

Source: SQLite's database file format, section 1.3, "The Database Header"
(https://www.sqlite.org/fileformat2.html): page size at byte 16, change counter at 24, number of
pages at 28, user version at 60, application id at 68, and at 92 the change counter for which the
number of pages is valid; all big-endian.
"""

from __future__ import annotations

import os
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, Final
from urllib.parse import quote

from ...schema.errors import PinfolioError
from ..system.shell_words import quote_word
from .download_origin import fetch_command
from .integrity_cache import is_known_intact, remember_intact
from .seal import SEAL_SIZE, verify_seal

APPLICATION_ID: Final = int.from_bytes(b"PFol")
SCHEMA_VERSION: Final = 3

_MAGIC: Final = b"SQLite format 3\0"
_HEADER: Final = struct.Struct(">16s H 6x I I 28x I 4x I 20x I 4x")
_LARGEST_PAGE: Final = 65536
_LARGEST_PAGE_CODE: Final = 1  # stored for it, since it does not fit 16 bits


class FolioError(PinfolioError):
    """A folio cannot be read or written; the message ends with the command that repairs it."""


def build_command(out: Path | str | None = None) -> str:
    """Return the command line that builds a folio, for messages."""
    return f"pinfolio build SOURCE... -o {quote_word(out or 'FILE')}"


def write_repair_hint(path: Path | str) -> str:
    """Return how to restore a damaged folio: fetch it again, or build it again."""
    if fetch := fetch_command(path):
        return f"fetch it again: {fetch}"
    return f"build it again: {build_command(path)}"


def write_obtain_hint(path: Path | str) -> str:
    """Return how to obtain a missing folio: fetch it, or build it."""
    fetch = fetch_command(path)
    return f"fetch it: {fetch}" if fetch else f"build it: {build_command(path)}"


def check_folio_file(path: Path | str, *, afresh: bool = False, to_remember: bool = True) -> None:
    """Raise FolioError unless ``path`` is an intact folio of this schema version.

    With ``afresh`` the whole file is read, even if it was verified recently. With ``to_remember``
    the user's cache folder records that it is intact.
    """
    # The header is compared first: it takes no time, and tells which repair is needed.
    version, missing_bytes = _read_header(path)
    if version != SCHEMA_VERSION:
        raise FolioError(
            f"{path}: the folio has schema version {version}, but this pinfolio reads"
            f" {SCHEMA_VERSION}; {write_repair_hint(path)}"
        )
    if missing_bytes > 0:
        raise FolioError(
            f"{path}: the folio is cut short by {missing_bytes} bytes; {write_repair_hint(path)}"
        )
    if missing_bytes < 0:
        raise FolioError(
            f"{path}: the folio has {-missing_bytes} bytes too many; {write_repair_hint(path)}"
        )
    if not _is_intact(path, afresh, to_remember):
        raise FolioError(
            f"{path}: the folio is damaged (its bytes were changed after it was built);"
            f" {write_repair_hint(path)}"
        )


def connect_folio(path: Path | str) -> sqlite3.Connection:
    """Return a read-only connection to a folio; raises FolioError.

    The file is opened as immutable: folios are replaced by renaming, never changed.
    """
    check_folio_file(path)
    try:
        connection = sqlite3.connect(f"{_format_address(path)}?mode=ro&immutable=1", uri=True)
        # Opening reads nothing; this query makes SQLite read the schema and a page.
        connection.execute("SELECT digest FROM folio").fetchone()
    except sqlite3.Error as error:
        raise FolioError(
            f"{path}: the folio is damaged ({error}); {write_repair_hint(path)}"
        ) from None
    return connection


def is_folio_file(path: Path | str) -> bool:
    """Return whether ``path`` is a folio, intact or not, of any schema version."""
    try:
        _read_header(path)
    except FolioError:
        return False
    return True


def _format_address(path: Path | str) -> str:
    """Return the path as a file address for SQLite (https://www.sqlite.org/uri.html, 3.1)."""
    real_path = os.path.realpath(path)
    if os.sep == "\\":
        real_path = "/" + real_path.replace("\\", "/")
    return "file://" + quote(os.fsencode(real_path), safe="/:")


def _is_intact(path: Path | str, afresh: bool, to_remember: bool) -> bool:
    with _open_reading(path) as file:
        status = os.fstat(file.fileno())
        if not afresh and is_known_intact(status):
            return True
        if (is_intact := verify_seal(file)) and to_remember:
            remember_intact(status)
    return is_intact


def _read_header(path: Path | str) -> tuple[int, int]:
    """Return the schema version of a folio and how many of its bytes are missing.

    Raises FolioError for anything else than a folio.
    """
    with _open_reading(path) as file:
        header = file.read(_HEADER.size)
        file_bytes = file.seek(0, os.SEEK_END)
    not_a_folio = f"{path}: not a folio; build one: {build_command()}"
    if len(header) < _HEADER.size:
        raise FolioError(not_a_folio)
    magic, stored_page_size, changes, pages, version, application, valid_for = _HEADER.unpack(
        header
    )
    if magic != _MAGIC or application != APPLICATION_ID:
        raise FolioError(not_a_folio)
    # The number of pages may be outdated if another program has written to the file.
    if changes != valid_for:
        return version, 0
    page_bytes = _LARGEST_PAGE if stored_page_size == _LARGEST_PAGE_CODE else stored_page_size
    return version, pages * page_bytes + SEAL_SIZE - file_bytes


@contextmanager
def _open_reading(path: Path | str) -> Iterator[BinaryIO]:
    try:
        with Path(path).open("rb") as file:
            yield file
    except FileNotFoundError:
        raise FolioError(f"{path}: no such file; {write_obtain_hint(path)}") from None
    except OSError as error:
        raise FolioError(
            f"{path}: cannot be read ({error.strerror}); build a folio: {build_command()}"
        ) from None
