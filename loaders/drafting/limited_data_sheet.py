"""Read a PDF data sheet in a child process, so that a hostile one cannot take the machine."""

from __future__ import annotations

import logging
from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from ..scans.scanned_page import ScannedPage
from ..system.limited_process import LimitReachedError, Limits, run_limited
from .column_headings import Overrides
from .data_sheet_pdf import read_data_sheet
from .pin_table import PinTable
from .text_table import table_error

_MEMORY_BYTES: Final = 256_000_000
_CPU_S: Final = 7
_CPU_S_PER_MB: Final = 20  # a sheet of 100 pages with text has 0.3-1 MB and takes up to 12 s
_MOST_CPU_S: Final = 60
_WALL_PER_CPU: Final = 4  # other programs run too


def read_limited_data_sheet(
    data: bytes,
    name: str,
    overrides: Overrides | None = None,
    pages: tuple[int, int] | None = None,
    scanned: Mapping[int, ScannedPage] | None = None,
) -> PinTable:
    """Return the pins of a PDF, as ``read_data_sheet`` does, within limits of memory and time.

    Raises DraftError, also if the PDF needs more than the limits.
    """
    cpu_s = min(_CPU_S + int(_CPU_S_PER_MB * len(data) / 1e6), _MOST_CPU_S)
    limits = Limits(_MEMORY_BYTES, cpu_s, _WALL_PER_CPU * cpu_s)
    # The child looks for tables in words and rules; it needs no pictures.
    words = {number: replace(page, picture=b"") for number, page in (scanned or {}).items()}
    try:
        return run_limited(_read_quietly, data, name, overrides, pages, words, limits=limits)
    except LimitReachedError as reached:
        expected = "a data sheet; save the pages with the tables as a new PDF"
        raise table_error(name, f"a PDF that takes {reached}", expected) from None


def _read_quietly(
    data: bytes,
    name: str,
    overrides: Overrides | None,
    pages: tuple[int, int] | None,
    scanned: Mapping[int, ScannedPage],
) -> PinTable:
    """Return the pins of a PDF without a warning for every unusual font."""
    logging.getLogger("pdfminer").setLevel(logging.CRITICAL)
    return read_data_sheet(data, name, overrides, pages, scanned)
