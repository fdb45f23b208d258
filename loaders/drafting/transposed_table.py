"""Tables that go across: ``Pin 1 2 3`` in one row, the voltages of these pins in the next."""

from __future__ import annotations

from itertools import zip_longest
from typing import Final

from .cell_values import is_blank, pin_numbers
from .column_headings import column_named
from .text_table import Grid

_FEWEST: Final = 3


def turned(grid: Grid) -> list[Grid]:
    """The blocks of a table that goes across, each turned to go down; empty when it does not.

    A value's place is the row of its pin's number.
    """
    starts = [index for index, row in enumerate(grid.rows) if _goes_across(row)]
    ends = [*starts[1:], *([len(grid.rows)] if starts else [])]
    blocks: list[Grid] = []
    for start, end in zip(starts, ends, strict=True):
        rows = [row for row in grid.rows[start:end] if row and not is_blank(row[0])]
        down = tuple(zip_longest(*rows, fillvalue=""))
        blocks.append(Grid(down, (grid.places[start],) * len(down), grid.title))
    return blocks


def _goes_across(row: tuple[str, ...]) -> bool:
    """Whether a row is headed like pin numbers, and goes on with them."""
    if not row or column_named(row[0]) != "number":
        return False
    rest = [cell for cell in row[1:] if not is_blank(cell)]
    return len(rest) >= _FEWEST and all(pin_numbers(cell) for cell in rest)
