"""Chip files drafted from files: tables of pins as text, and data sheets as PDF."""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Final

from ...loaders.drafting.chip_draft import Draft, Identity, Origin, draft_chip, with_suggestions
from ...loaders.drafting.pin_table import PinTable, read_pin_table
from ...loaders.drafting.text_table import DraftError
from ...schema.errors import Unusable
from .file_batches import Told, for_each_file

_MOST_BYTES: Final = 50_000_000


class CannotDraft(Unusable):
    """A file that no draft can be made of: all there is to say of it."""


@dataclass(frozen=True)
class Wanted:
    """What is said of the files: what the chip is, what columns hold, which pages to look at."""

    identity: Identity
    columns: Mapping[str, int]
    pages: tuple[int, int] | None = None


@dataclass(frozen=True)
class Drafted:
    """The draft of one file, its part where that is known, and how the columns were told."""

    file: Path
    draft: Draft
    part: str | None
    explained: tuple[str, ...]


def draft_file(file: Path, wanted: Wanted) -> Drafted:
    """Draft a chip file; raises CannotDraft."""
    data = _read(file)
    sheet = file.suffix.lower() == ".pdf" or data.startswith(b"%PDF")
    try:
        table = _sheet(data, file.name, wanted) if sheet else _text(data, file.name, wanted)
    except DraftError as fault:
        raise CannotDraft(str(fault)) from None
    origin = Origin("sheet" if sheet else "table", "data sheet", table.title or file.name)
    identity = with_suggestions(wanted.identity, table, file.stem)
    draft = draft_chip(table, identity, origin)
    return Drafted(file, draft, identity.part, table.explained)


def draft_files(
    files: Sequence[Path],
    wanted: Wanted,
    told: Told | None = None,
    processes: int | None = None,
) -> Iterator[Drafted | CannotDraft]:
    """The draft of each file, or why there is none; many are shared out among the processors."""
    return for_each_file(partial(_draft_or_fault, wanted=wanted), files, told, processes)


def _draft_or_fault(file: Path, wanted: Wanted) -> Drafted | CannotDraft:
    try:
        return draft_file(file, wanted)
    except CannotDraft as fault:
        return fault


def _sheet(data: bytes, name: str, wanted: Wanted) -> PinTable:
    try:
        from ...loaders.drafting.data_sheet_pdf import read_data_sheet
    except ImportError:
        raise CannotDraft("a PDF needs pdfplumber: pip install 'pinfolio[pdf]'") from None
    logging.getLogger("pdfminer").setLevel(logging.CRITICAL)  # it warns of every odd font
    return read_data_sheet(data, name, wanted.columns, wanted.pages)


def _text(data: bytes, name: str, wanted: Wanted) -> PinTable:
    if wanted.pages is not None:
        raise CannotDraft(f"found --pages for {name}, expected it with a PDF only")
    return read_pin_table(data, name, wanted.columns)


def _read(file: Path) -> bytes:
    try:
        size = file.stat().st_size
        if size > _MOST_BYTES:
            found = f"found {size / 1e6:.0f} MB, expected at most {_MOST_BYTES / 1e6:.0f} MB"
            raise CannotDraft(f"{file}: {found}; take the pages with the tables out of it first")
        return file.read_bytes()
    except OSError as refused:
        raise CannotDraft(f"{file}: cannot be read ({refused.strerror})") from None
