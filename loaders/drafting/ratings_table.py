"""Read absolute maximum ratings: the pins a row is about, and the voltage they must not exceed."""

from __future__ import annotations

from functools import reduce

from ...schema.quantities import Quantity, QuantityError
from ..scans.scanned_page import ScannedCell
from .cell_values import clean_cell, is_blank, read_quantity, split_mark
from .column_headings import match_headings
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
    first_columns = {column.key: column for column in reversed(headings.columns)}
    commas = uses_decimal_commas(grid, headings.columns)
    first = headings.first_row
    grid = grid.judge_scan(headings.meanings, first)
    for row, place in zip(grid.rows[first:], grid.places[first:], strict=True):
        cells = [split_mark(clean_cell(cell), of_number=True)[0] for cell in row]
        texts = {key: cells[c.index] for key, c in first_columns.items() if c.index < len(cells)}
        low = texts.get("dc_min") or texts.get("absolute_minimum", "")
        high = texts.get("dc_max") or texts.get("absolute_maximum") or texts.get("dc", "")
        unit = texts.get("unit") or next((c.unit for c in headings.columns if c.unit), "V")
        words = " | ".join(filter(None, cells))
        if not words:
            continue
        pins = find_named_pins(cells, texts.get("symbol", ""), reader.pins)
        limit = _read_limit(low, high, unit, commas)
        scan = reduce(ScannedCell.join, place.scan) if place.scan else None
        reader.doubtful += list_doubtful(headings.columns, row, place)
        if doubt := place.find_doubt(range(len(place.scan))):
            reader.unread.append(Unread(place, words, f"scanned, to be compared: {doubt}"))
            continue
        if not pins or limit is None:
            reason = "a rating of no pin" if not pins else "no voltage that a pin must not exceed"
            reader.unread.append(Unread(place, words, reason))
            continue
        for number in pins:
            pin = TablePin(number, place, {}, {"absolute_maximum": limit})
            pin.scanned |= {"absolute_maximum": scan} if scan else {}
            reader.merge(pin)


def _read_limit(low: str, high: str, unit: str, commas: bool) -> Quantity | None:
    """Return the rating: ``9 V``, or ``-0.3 V .. 9 V`` if both ends are given; None if neither."""
    ends = [end for end in (low, high) if not is_blank(end)]
    is_range = not (is_blank(low) or is_blank(high))
    text = f"{low} {unit} .. {high} {unit}" if is_range else "".join(ends)
    try:
        return read_quantity(text, unit, commas, "V") if ends else None
    except QuantityError:
        return None
