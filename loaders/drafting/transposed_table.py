"""Transpose tables that run across: ``Pin 1 2 3`` in one row, their voltages in the next."""

from __future__ import annotations

from dataclasses import replace
from itertools import zip_longest
from typing import Final

from ..scans.scanned_page import ScannedCell
from .cell_values import is_blank, parse_pin_numbers
from .heading_words import find_heading_key
from .text_table import Grid, Place

_FEWEST_PINS: Final = 3


def transpose_blocks(grid: Grid) -> list[Grid]:
    """Return each block of a table that runs across, transposed; empty if the table runs down.

    The place of a value is the row that holds its pin's number.
    """
    starts = [index for index, row in enumerate(grid.rows) if _runs_across(row)]
    ends = [*starts[1:], *([len(grid.rows)] if starts else [])]
    blocks: list[Grid] = []
    for start, end in zip(starts, ends, strict=True):
        rows = [row for row in grid.rows[start:end] if row and not is_blank(row[0])]
        columns = tuple(zip_longest(*rows, fillvalue=""))
        places = _transpose_places(grid, start, end)
        blocks.append(Grid(columns, places[: len(columns)], grid.title))
    return blocks


def _transpose_places(grid: Grid, start: int, end: int) -> tuple[Place, ...]:
    """Return the place of each column of a block, with its recognised cells if it was scanned."""
    kept = [n for n in range(start, end) if grid.rows[n] and not is_blank(grid.rows[n][0])]
    scans = [grid.places[number].scan for number in kept]
    if not any(scans):
        return (grid.places[start],) * grid.width
    columns = zip_longest(*scans, fillvalue=ScannedCell())
    return tuple(replace(grid.places[start], scan=column) for column in columns)


def _runs_across(row: tuple[str, ...]) -> bool:
    """Return True if a row begins with a heading for pin numbers and continues with them."""
    if not row or find_heading_key(row[0]) != "number":
        return False
    cells = [cell for cell in row[1:] if not is_blank(cell)]
    return len(cells) >= _FEWEST_PINS and all(parse_pin_numbers(cell) for cell in cells)
