"""Draft chip files from tables in text, workbooks and pages, and from data sheets in PDF."""

from __future__ import annotations

import stat
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Final

from ...loaders.drafting.chip_draft import Draft, Origin, draft_chip
from ...loaders.drafting.draft_identity import Identity, suggest_identity
from ...loaders.drafting.pin_table import PinTable
from ...loaders.drafting.table_reader import read_pin_table
from ...loaders.drafting.text_table import DraftError, is_encoding
from ...schema.errors import Unusable
from .file_batches import Progress, map_files

STANDARD_INPUT: Final = "-"

_MOST_BYTES: Final = 50_000_000


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


def draft_file(file: Path, wanted: Wanted) -> Drafted:
    """Return the draft of one file; raises CannotDraft."""
    data = _read_bytes(file)
    if wanted.encoding:
        data = _recode(data, wanted.encoding, str(file))
    # The name of a file often is the part number; standard input has none.
    is_input = str(file) == STANDARD_INPUT
    name, stem = ("standard input", "") if is_input else (file.name, file.stem)
    is_pdf = file.suffix.lower() == ".pdf" or data.startswith(b"%PDF")
    read = _read_sheet if is_pdf else _read_text
    try:
        table = read(data, name, wanted)
    except DraftError as refused:
        raise CannotDraft(str(refused)) from None
    origin = Origin("sheet" if is_pdf else "table", "data sheet", table.title or name)
    identity = suggest_identity(wanted.identity, table, stem)
    draft = draft_chip(table, identity, origin)
    return Drafted(file, draft, identity.part, table.explained, table, origin)


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


def _read_sheet(data: bytes, name: str, wanted: Wanted) -> PinTable:
    if wanted.tables:
        raise CannotDraft(f"--table is for workbooks and pages, but {name} is a PDF; use --pages")
    try:
        from ...loaders.drafting.limited_data_sheet import read_limited_data_sheet
    except ImportError:
        raise CannotDraft("a PDF needs pdfplumber: pip install 'pinfolio[pdf]'") from None
    return read_limited_data_sheet(data, name, wanted.columns, wanted.pages)


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
