"""Ask about a table whose headings are not known, with the answer that its content suggests."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from .cell_values import clean_cell, is_blank
from .column_headings import guess_key
from .heading_words import find_heading_key
from .text_table import DraftError, Grid, table_error

_FEWEST_PINS: Final = 3
_ROWS_ABOVE: Final = 5


def ask_about_numbering(grid: Grid, name: str) -> DraftError | None:
    """Return the error that asks whether a column that counts from 1 numbers the pins, or None.

    The text to write names this column, and those whose content tells their meaning.
    """
    for head in range(min(_ROWS_ABOVE, len(grid.rows))):
        for index in range(grid.width):
            cells = _list_cells(grid, index, head + 1)
            if len(cells) < _FEWEST_PINS or not _counts_from_one(cells):
                continue
            heading = _get_cell(grid, index, head)
            found = f"column {index + 1} {heading!r} counts 1 to {len(cells)}"
            expected = "a heading such as Pin above pin numbers, which these may be"
            write = " ".join(_suggest(grid, index, head))
            row = grid.places[head].row
            return table_error(name, found, expected, write, row)
    return None


def _suggest(grid: Grid, number: int, head: int) -> Iterator[str]:
    """Yield the options that name the columns, those with known headings left out."""
    yield f"--column number={number + 1}"
    taken = {"number"}
    for index in range(grid.width):
        known = find_heading_key(_get_cell(grid, index, head))
        taken |= {known} if known and index != number else set()
    for index in range(grid.width):
        cells = _list_cells(grid, index, head + 1)
        if index == number or find_heading_key(_get_cell(grid, index, head)) or not cells:
            continue
        key = guess_key(cells, taken)
        if key is not None:
            taken.add(key)
            yield f"--column {key}={index + 1}"


def _counts_from_one(cells: list[str]) -> bool:
    numbers = [int(cell) for cell in cells if cell.isdecimal() and len(cell) < 4]
    return sorted(numbers) == list(range(1, len(cells) + 1))


def _list_cells(grid: Grid, index: int, first_row: int) -> list[str]:
    cells = (_get_cell(grid, index, row) for row in range(first_row, len(grid.rows)))
    return [cell for cell in cells if not is_blank(cell)]


def _get_cell(grid: Grid, index: int, row: int) -> str:
    cells = grid.rows[row]
    return clean_cell(cells[index]) if index < len(cells) else ""
