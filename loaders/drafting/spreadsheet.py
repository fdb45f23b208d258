"""Read the sheets of a workbook as tables: .xlsx, .xlsm, .xlsb, .xls and .ods.

Parsed in a limited process (see ``limited_tables``): a workbook of a few kilobytes may unpack to
gigabytes.
"""

from __future__ import annotations

import datetime
import io
from typing import Any, Final

from python_calamine import CalamineError, CalamineWorkbook, PasswordError

from .cell_values import clean_cell
from .several_tables import NamedTable
from .text_table import Grid, Place, table_error

_MOST_SHEETS: Final = 100
_MOST_ROWS: Final = 5_000
_MOST_COLUMNS: Final = 100
_LONGEST_CELL: Final = 11_000
_DIGITS: Final = 12  # more are the rounding of binary fractions


def read_spreadsheet(data: bytes, name: str) -> list[NamedTable]:
    """Return each sheet as a table with the places of its rows.

    Raises DraftError for a workbook that is encrypted or damaged, or has too many sheets.
    """
    try:
        workbook = CalamineWorkbook.from_filelike(io.BytesIO(data))
    except PasswordError:
        expected = "one that opens without a password; save a copy without it"
        raise table_error(name, "an encrypted workbook", expected) from None
    except (CalamineError, OSError, ValueError) as fault:
        expected = "a workbook that a spreadsheet opens; save it again, or as CSV"
        raise table_error(name, f"a damaged workbook ({fault})", expected) from None
    names = workbook.sheet_names
    if len(names) > _MOST_SHEETS:
        raise table_error(name, f"{len(names)} sheets", f"at most {_MOST_SHEETS} sheets")
    return [_read_sheet(workbook, sheet, name) for sheet in names]


def _read_sheet(workbook: Any, sheet: str, name: str) -> NamedTable:
    try:
        opened = workbook.get_sheet_by_name(sheet)
        rows, columns = opened.total_height, opened.total_width
        if rows > _MOST_ROWS or columns > _MOST_COLUMNS:
            found_text = f"{rows} rows and {columns} columns in sheet {sheet!r}"
            expected = f"at most {_MOST_ROWS} rows and {_MOST_COLUMNS} columns"
            raise table_error(name, found_text, expected)
        values = opened.to_python(skip_empty_area=False)
        merged = opened.merged_cell_ranges or []
    except (CalamineError, ValueError) as fault:
        expected = "a sheet with cells; save it as CSV"
        raise table_error(name, f"sheet {sheet!r} ({fault})", expected) from None
    cells = [[_print_cell(value) for value in row] for row in values]
    _repeat_merged(cells, merged)
    places = tuple(Place(row, table=sheet) for row in range(1, len(cells) + 1))
    return NamedTable(sheet, Grid(tuple(map(tuple, cells)), places, headings_repeated=bool(merged)))


def _print_cell(value: Any) -> str:
    """Return a value as the sheet shows it: 8 for 8.0; a date stays one, and is no pin number."""
    if isinstance(value, bool) or value is None:
        return "" if value is None else str(value).lower()
    if isinstance(value, float):
        return f"{value:.{_DIGITS}g}"
    if isinstance(value, datetime.date | datetime.time | datetime.timedelta):
        return f"date {value}"
    return clean_cell(str(value))[:_LONGEST_CELL]


def _repeat_merged(cells: list[list[str]], ranges: list[Any]) -> None:
    """Repeat the text of merged cells in each of them; words over a whole table stay one cell."""
    for (top, left), (bottom, right) in ranges:
        is_title = all(not any(row[right + 1 :] + row[:left]) for row in cells[top : bottom + 1])
        if (is_title and right > left) or top >= len(cells) or left >= len(cells[top]):
            continue
        text = cells[top][left]
        for row in cells[top : bottom + 1]:
            row[left : right + 1] = [text] * len(row[left : right + 1])
