"""Read the rows of a sheet of a workbook: .xlsx, .xlsm, .xlsb, .xls and .ods.

Parsed in a limited process: a workbook of a few kilobytes may unpack to gigabytes.
"""

from __future__ import annotations

import datetime
import io
import os
from typing import Any, Final

from python_calamine import CalamineError, CalamineWorkbook, PasswordError

from ..system.limited_process import LimitReachedError, Limits, run_limited
from .note_table import MOST_COLUMNS, MOST_ROWS, build_error

_LIMITS: Final = Limits(memory_bytes=1_000_000_000, cpu_s=30, wall_s=100)
_MOST_SHEETS: Final = 100
_DIGITS: Final = 12  # more are the rounding of binary fractions
_STANDARD_ERROR: Final = 2

NumberedRows = list[tuple[int, list[str]]]


def read_workbook_rows(data: bytes, name: str, sheet: str | None) -> NumberedRows:
    """Return number and cells of each row of a sheet: ``sheet``, else the only one with cells.

    Raises NoteTableError, also if the workbook needs more memory or time than the limits.
    """
    try:
        return run_limited(_read_rows, data, name, sheet, limits=_LIMITS)
    except LimitReachedError as reached:
        expected = "a table of notes; save it as CSV"
        raise build_error(name, f"a workbook that takes {reached}", expected) from None


def _read_rows(data: bytes, name: str, sheet: str | None) -> NumberedRows:
    """Return the rows of a sheet, with nothing on standard error if the parser gives up."""
    # The parser, a compiled library, writes to the descriptor itself.
    null_device = os.open(os.devnull, os.O_WRONLY)
    os.dup2(null_device, _STANDARD_ERROR)
    os.close(null_device)
    try:
        workbook = CalamineWorkbook.from_filelike(io.BytesIO(data))
        sheets = workbook.sheet_names[:_MOST_SHEETS]
        if sheet is not None and sheet not in sheets:
            raise build_error(name, f"no sheet {sheet!r}", f"one of {', '.join(sheets)}")
        candidates = [sheet] if sheet is not None else _list_filled(workbook, sheets)
        if len(candidates) > 1:
            expected = f"one; choose it with --sheet {candidates[0]!r}"
            raise build_error(name, f"the sheets {', '.join(candidates)}", expected)
        return _read_sheet(workbook, candidates[0], name) if candidates else []
    except PasswordError:
        expected = "one that opens without a password; save a copy without it"
        raise build_error(name, "an encrypted workbook", expected) from None
    except (CalamineError, OSError, ValueError) as fault:
        expected = "a workbook that a spreadsheet opens; save it again, or as CSV"
        raise build_error(name, f"a damaged workbook ({fault})", expected) from None


def _list_filled(workbook: Any, sheets: list[str]) -> list[str]:
    return [name for name in sheets if workbook.get_sheet_by_name(name).total_height]


def _read_sheet(workbook: Any, sheet: str, name: str) -> NumberedRows:
    opened = workbook.get_sheet_by_name(sheet)
    rows, columns = opened.total_height, opened.total_width
    if rows > MOST_ROWS + 1 or columns > MOST_COLUMNS:
        found = f"{rows:,} rows and {columns} columns in sheet {sheet!r}"
        raise build_error(name, found, f"at most {MOST_ROWS:,} rows and {MOST_COLUMNS} columns")
    values = opened.to_python(skip_empty_area=False)
    return [(number, [_print_cell(v) for v in row]) for number, row in enumerate(values, start=1)]


def _print_cell(value: Any) -> str:
    """Return a value as text: 8 for 8.0, a day as 2026-11-25."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.{_DIGITS}g}"
    if isinstance(value, datetime.datetime):
        return value.date().isoformat()
    return "" if value is None else str(value)
