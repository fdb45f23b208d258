"""Read workbooks and pages with tables in a child process, so that a hostile one cannot take the
machine."""

from __future__ import annotations

import os
from typing import Final

from ..system.limited_process import LimitReachedError, Limits, run_limited
from .column_headings import Overrides
from .marked_up_tables import find_html_tables, find_markdown_tables, is_html, is_markdown
from .pin_table import PinTable
from .several_tables import NamedTable, read_several_tables
from .text_table import MOST_BYTES, DraftError, decode_text, table_error

_LIMITS: Final = Limits(memory_bytes=256_000_000, cpu_s=20, wall_s=80)
_STANDARD_ERROR: Final = 2
_PACKED: Final = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")


def has_several_tables(data: bytes, name: str) -> bool:
    """Return True for a workbook, and for a page in HTML or Markdown."""
    if data.startswith(_PACKED):
        return True
    if len(data) > MOST_BYTES:
        return False
    try:
        text, _ = decode_text(data, name)
    except DraftError:
        return False
    return is_html(text) or is_markdown(text)


def read_limited_tables(
    data: bytes, name: str, overrides: Overrides | None = None, chosen: tuple[int, ...] = ()
) -> PinTable:
    """Return the pins and parameters of a workbook or page; see ``read_several_tables``.

    Raises DraftError, also if the file needs more memory or time than the limits.
    """
    try:
        return run_limited(_read_quietly, data, name, overrides, chosen, limits=_LIMITS)
    except LimitReachedError as reached:
        expected = "tables of one chip; save them as CSV"
        raise table_error(name, f"a file that takes {reached}", expected) from None


def _read_quietly(
    data: bytes, name: str, overrides: Overrides | None, chosen: tuple[int, ...]
) -> PinTable:
    """Return the pins in the tables, with nothing on standard error if a parser gives up."""
    null_device = os.open(os.devnull, os.O_WRONLY)
    os.dup2(null_device, _STANDARD_ERROR)
    os.close(null_device)
    return read_several_tables(_find_tables(data, name), name, overrides, chosen)


def _find_tables(data: bytes, name: str) -> list[NamedTable]:
    if data.startswith(_PACKED):
        from .spreadsheet import read_spreadsheet  # pages do not wait for it

        return read_spreadsheet(data, name)
    text, _ = decode_text(data, name)
    return find_html_tables(text) if is_html(text) else find_markdown_tables(text)
