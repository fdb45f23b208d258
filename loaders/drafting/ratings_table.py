"""Read absolute maximum ratings: the pins a row is about, and the voltage they must not exceed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import reduce

from ...schema.quantities import Quantity, QuantityError
from ..scans.scanned_page import ScannedCell
from .cell_values import clean_cell, is_blank, read_quantity, split_mark
from .column_headings import Headings, match_headings
from .heading_words import names_ratings
from .pin_rows import uses_decimal_commas
from .pin_table import TablePin
from .table_reader import TableReader, find_named_pins, list_doubtful
from .text_table import Grid, Unread


def is_ratings_table(grid: Grid) -> bool:
    """Return True if the words above or in the heading of a table call it maximum ratings."""
    head = " ".join(" ".join(row) for row in grid.rows[:2])
    headings = match_headings(grid)
    has_numbers = headings is not None and "number" in headings.keys
    return not has_numbers and names_ratings(f"{grid.title} {head}")


def read_ratings(grid: Grid, reader: TableReader) -> None:
    """Add the ratings of pins to the pins of ``reader``, and list the others as not used."""
    headings = match_headings(grid)
    if headings is None:
        words = " | ".join(filter(None, grid.rows[0]))
        reader.unread.append(Unread(grid.places[0], words, "headings of the ratings not known"))
        return
    decimal_commas = uses_decimal_commas(grid, headings.columns)
    first_row = headings.first_row
    grid = grid.judge_scan(headings.meanings, first_row)
    for row, place in zip(grid.rows[first_row:], grid.places[first_row:], strict=True):
        cells = [split_mark(clean_cell(cell), of_number=True)[0] for cell in row]
        words = " | ".join(cell for cell in cells if cell)
        if not words:
            continue
        text_of = _sort_cells(cells, headings)
        reader.doubtful += list_doubtful(headings.columns, row, place)
        pins = find_named_pins(cells, text_of.get("symbol", ""), reader.pins)
        limit = _find_limit(text_of, headings, decimal_commas)
        if doubt := place.find_doubt(range(len(place.scan))):
            reader.unread.append(Unread(place, words, f"scanned, to be compared: {doubt}"))
        elif not pins:
            reader.unread.append(Unread(place, words, "a rating of no pin"))
        elif limit is None:
            reader.unread.append(Unread(place, words, "no voltage that a pin must not exceed"))
        else:
            for number in pins:
                pin = TablePin(number, place, {}, {"absolute_maximum": limit})
                if place.scan:
                    pin.scanned["absolute_maximum"] = reduce(ScannedCell.join, place.scan)
                reader.merge(pin)


def _sort_cells(cells: Sequence[str], headings: Headings) -> dict[str, str]:
    """Return the cells of a row by the keys of their columns; of equal keys the first counts."""
    text_of: dict[str, str] = {}
    for column in headings.columns:
        if column.index < len(cells):
            text_of.setdefault(column.key, cells[column.index])
    return text_of


def _find_limit(
    text_of: Mapping[str, str], headings: Headings, decimal_commas: bool
) -> Quantity | None:
    """Return the limit that the cells of a row state; None where it is no voltage."""
    low = text_of.get("dc_min") or text_of.get("absolute_minimum", "")
    high = text_of.get("dc_max") or text_of.get("absolute_maximum") or text_of.get("dc", "")
    units_of_headings = (column.unit for column in headings.columns if column.unit)
    unit = text_of.get("unit") or next(units_of_headings, "V")
    return _read_limit(low, high, unit, decimal_commas)


def _read_limit(low: str, high: str, unit: str, commas: bool) -> Quantity | None:
    """Return the rating: ``9 V``, or ``-0.3 V .. 9 V`` if both ends are given; None if neither."""
    ends = [end for end in (low, high) if not is_blank(end)]
    is_range = not (is_blank(low) or is_blank(high))
    text = f"{low} {unit} .. {high} {unit}" if is_range else "".join(ends)
    try:
        return read_quantity(text, unit, commas, "V") if ends else None
    except QuantityError:
        return None
