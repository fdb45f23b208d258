"""Draft chip files from tables in text, workbooks and pages, and from data sheets in PDF."""

from __future__ import annotations

import stat
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Final

from ...loaders.drafting.chip_draft import Draft, Origin, draft_chip
from ...loaders.drafting.draft_identity import Identity, suggest_identity
from ...loaders.drafting.pin_table import PinTable
from ...loaders.drafting.table_reader import read_pin_table
from ...loaders.drafting.text_table import DraftError, is_encoding
from ...loaders.scans.scanned_page import Box, ScannedPage
from ...schema.errors import Unusable
from .file_batches import Progress, map_files

STANDARD_INPUT: Final = "-"

_MOST_BYTES: Final = 50_000_000
_PICTURES: Final = (b"\x89PNG", b"\xff\xd8\xff", b"II*\x00", b"MM\x00*")
"""First bytes of PNG, JPEG and TIFF."""


class CannotDraft(Unusable):
    """A file from which no draft can be made."""


@dataclass(frozen=True)
class Wanted:
    """The user's statements about the files: the chip, the columns, the pages to read."""

    identity: Identity
    columns: Mapping[str, int]
    pages: tuple[int, int] | None = None
    tables: tuple[int, ...] = ()
    """Numbers of the tables to read in a workbook or page; empty for the only one."""
    encoding: str = ""
    """Encoding of a table in text; empty to detect it."""


@dataclass(frozen=True)
class Drafted:
    """The draft of one file, its part number if known, and the reading of its columns."""

    file: Path
    draft: Draft
    part: str | None
    explained: tuple[str, ...]
    table: PinTable
    origin: Origin
    scanned: Mapping[int, ScannedPage] = field(default_factory=dict)
    """Pages that were recognised, by number; empty without any."""


def draft_file(
    file: Path,
    wanted: Wanted,
    progress: Progress | None = None,
    scanned: Mapping[int, ScannedPage] | None = None,
) -> Drafted:
    """Return the draft of one file; raises CannotDraft.

    Pages without text are recognised, with ``progress`` page by page, unless ``scanned`` has them.
    """
    data = _read_bytes(file)
    is_picture = data.startswith(_PICTURES)
    if wanted.encoding and not is_picture:
        data = _recode(data, wanted.encoding, str(file))
    # The name of a file often is the part number; standard input has none.
    is_input = str(file) == STANDARD_INPUT
    name, stem = ("standard input", "") if is_input else (file.name, file.stem)
    is_sheet = is_picture or file.suffix.lower() == ".pdf" or data.startswith(b"%PDF")
    pages = scanned or {}
    try:
        if is_picture:
            pages = scanned or _recognise(data, name, wanted, progress)
            table = _read_pages(pages, name, wanted)
        elif is_sheet:
            table, pages = _read_sheet(data, name, wanted, progress, pages)
        else:
            table = _read_text(data, name, wanted)
    except DraftError as refused:
        raise CannotDraft(str(refused)) from None
    origin = Origin("sheet" if is_sheet else "table", "data sheet", table.title or name)
    identity = suggest_identity(wanted.identity, table, stem)
    draft = draft_chip(table, identity, origin)
    return Drafted(file, draft, identity.part, table.explained, table, origin, pages)


def _recode(data: bytes, encoding: str, name: str) -> bytes:
    """Return a text of the stated encoding in UTF-8; raises CannotDraft."""
    if not is_encoding(encoding):
        raise CannotDraft(f"encoding {encoding!r} is not known; name one such as Shift-JIS or GBK")
    try:
        return data.decode(encoding).encode()
    except UnicodeError:
        raise CannotDraft(f"{name}: is not text in {encoding}; name another encoding") from None


def draft_files(
    files: Sequence[Path],
    wanted: Wanted,
    progress: Progress | None = None,
    processes: int | None = None,
) -> Iterator[Drafted | CannotDraft]:
    """Yield each file's draft, or the error that prevents it, in the order of the files."""
    return map_files(partial(_draft_or_fault, wanted=wanted), files, progress, processes)


def _draft_or_fault(file: Path, wanted: Wanted) -> Drafted | CannotDraft:
    try:
        return draft_file(file, wanted)
    except CannotDraft as fault:
        return fault


def redraft(
    drafted: Drafted, wanted: Wanted, corrections: Mapping[tuple[int, Box], str]
) -> Drafted:
    """Return the draft with the texts of doubtful cells that a person compared with the page.

    ``corrections`` are the texts by page and box of the cell. Raises CannotDraft.
    """
    from ...loaders.scans.limited_scans import correct_pages

    return draft_file(drafted.file, wanted, scanned=correct_pages(drafted.scanned, corrections))


def _read_sheet(
    data: bytes,
    name: str,
    wanted: Wanted,
    progress: Progress | None,
    scanned: Mapping[int, ScannedPage],
) -> tuple[PinTable, Mapping[int, ScannedPage]]:
    """Return the pins of a PDF, and its pages that were recognised."""
    if wanted.tables:
        raise CannotDraft(f"--table is for workbooks and pages, but {name} is a PDF; use --pages")
    try:
        from ...loaders.drafting.data_sheet_pdf import ScanError
        from ...loaders.drafting.limited_data_sheet import read_limited_data_sheet
    except ImportError:
        raise CannotDraft("a PDF needs pdfplumber: pip install 'pinfolio[pdf]'") from None
    from ...loaders.scans.limited_scans import is_recognition_installed

    columns, pages = wanted.columns, wanted.pages
    try:
        table = read_limited_data_sheet(data, name, columns, pages, scanned)
        if scanned or not table.has_scans or not is_recognition_installed():
            return table, scanned
    except ScanError:
        if not is_recognition_installed():
            raise
    scanned = _recognise(data, name, wanted, progress)
    return read_limited_data_sheet(data, name, columns, pages, scanned), scanned


def _recognise(
    data: bytes, name: str, wanted: Wanted, progress: Progress | None
) -> Mapping[int, ScannedPage]:
    """Return the pages without text of a file, recognised; raises CannotDraft."""
    from ...loaders.scans.limited_scans import (
        RecognitionError,
        is_recognition_installed,
        recognise_pages,
    )

    if not is_recognition_installed():
        raise CannotDraft(
            f"{name} is a picture, which needs text recognition: pip install 'pinfolio[ocr]'"
        )
    try:
        return recognise_pages(data, wanted.pages, progress)
    except RecognitionError as fault:
        raise CannotDraft(f"{name}: {fault}; save the pages with the tables as a new PDF") from None


def _read_pages(scanned: Mapping[int, ScannedPage], name: str, wanted: Wanted) -> PinTable:
    """Return the pins of a recognised picture file."""
    from ...loaders.drafting.data_sheet_pdf import read_scanned_pages

    return read_scanned_pages(scanned, name, wanted.columns)


def _read_text(data: bytes, name: str, wanted: Wanted) -> PinTable:
    from ...loaders.drafting.limited_tables import has_several_tables, read_limited_tables

    if wanted.pages is not None:
        raise CannotDraft(f"--pages is for a PDF, but {name} is none; leave it out")
    if has_several_tables(data, name):
        return read_limited_tables(data, name, wanted.columns, wanted.tables)
    if wanted.tables:
        raise CannotDraft(f"--table is for a file with several, but {name} is one; leave it out")
    return read_pin_table(data, name, wanted.columns)


def _read_bytes(file: Path) -> bytes:
    """Return the bytes of a file, or of standard input for ``-``; raises CannotDraft."""
    try:
        if str(file) == STANDARD_INPUT:
            data = sys.stdin.buffer.read(_MOST_BYTES + 1)
            _check_size(file, len(data))
            return data
        status = file.stat()
        # A pipe or a device may never end.
        if not (stat.S_ISREG(status.st_mode) or stat.S_ISDIR(status.st_mode)):
            raise CannotDraft(f"{file} is a pipe or a device; save its content as a file first")
        _check_size(file, status.st_size)
        return file.read_bytes()
    except OSError as refused:
        raise CannotDraft(f"{file}: cannot be read ({refused.strerror})") from None


def _check_size(file: Path, size: int) -> None:
    if size > _MOST_BYTES:
        raise CannotDraft(
            f"{file} has {size / 1e6:.0f} MB, more than {_MOST_BYTES / 1e6:.0f}"
            " MB; extract the pages with the tables first"
        )
