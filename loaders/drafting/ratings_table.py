"""Absolute maximum ratings: which pins a row is about, and the voltage they must not exceed."""

from __future__ import annotations

import re
from typing import Final

from ...schema.quantities import Quantity, QuantityError
from .cell_values import is_blank, pin_numbers, plain, read_quantity, without_mark
from .column_headings import named_headings
from .pin_table import TablePin, TableReader, decimal_commas
from .text_table import Grid, Unread

_TITLE: Final = re.compile(r"absolute maximum|limiting values|maximum ratings", re.IGNORECASE)
_LIST: Final = r"[1-9][0-9]{0,2}(?:\s*(?:,|;|&|-|–|to|and)\s*[1-9][0-9]{0,2})*"
_PINS: Final = re.compile(rf"\b(?:pins?|terminals?)\s+({_LIST})", re.IGNORECASE)
_SHORT: Final = re.compile(r"\bV\(?([1-9][0-9]{0,2})(?:\s*[-–]\s*[0-9]+)?\)?(?![0-9.])")


def is_ratings(grid: Grid) -> bool:
    """Whether the words above or at the head of a table call it absolute maximum ratings."""
    head = " ".join(" ".join(row) for row in grid.rows[:2])
    found = named_headings(grid)
    of_pins = found is not None and any(column.key == "number" for column in found.columns)
    return not of_pins and bool(_TITLE.search(f"{grid.title} {head}"))


def read_ratings(grid: Grid, reader: TableReader) -> None:
    """Add the ratings that are of pins to the pins of ``reader``; the others are listed."""
    found = named_headings(grid)
    if found is None:
        words = " | ".join(filter(None, grid.rows[0]))
        reader.unread.append(Unread(grid.places[0], words, "headings of the ratings not known"))
        return
    places = {column.key: column for column in reversed(found.columns)}
    commas = decimal_commas(grid, found.columns)
    for row, at in zip(grid.rows[found.first_row :], grid.places[found.first_row :], strict=True):
        cells = [without_mark(plain(cell), of_number=True)[0] for cell in row]
        text = {key: cells[c.index] for key, c in places.items() if c.index < len(cells)}
        low = text.get("dc_min") or text.get("absolute_minimum", "")
        high = text.get("dc_max") or text.get("absolute_maximum") or text.get("dc", "")
        unit = text.get("unit") or next((c.unit for c in found.columns if c.unit), "V")
        words = " | ".join(filter(None, cells))
        pins = _pins_named(cells, text.get("symbol", ""), reader.pins)
        limit = _limit(low, high, unit, commas)
        if not words:
            continue
        if not pins or limit is None:
            why = "a rating of no pin" if not pins else "no voltage that a pin must not exceed"
            reader.unread.append(Unread(at, words, why))
            continue
        for number in pins:
            reader.join(TablePin(number, at, {}, {"absolute_maximum": limit}))


def _pins_named(cells: list[str], symbol: str, known: dict[int, TablePin]) -> tuple[int, ...]:
    """The pins a row is about: by their numbers, as ``V13``, else by a symbol of the pin table."""
    for cell in cells:
        match = _PINS.search(cell) or _SHORT.search(cell)
        numbers = pin_numbers(match[1].replace("–", "-")) if match else None
        if numbers:
            return tuple(number for number in numbers if number in known)
    wanted = symbol.upper()
    return tuple(
        n for n, p in known.items() if wanted and p.texts.get("symbol", "").upper() == wanted
    )


def _limit(low: str, high: str, unit: str, commas: bool) -> Quantity | None:
    """The rating as a quantity: ``9 V``, or ``-0.3 V .. 9 V`` where both ends are given."""
    ends = [end for end in (low, high) if not is_blank(end)]
    words = f"{low} {unit} .. {high} {unit}" if len(ends) == 2 else "".join(ends)
    try:
        return read_quantity(words, unit, commas, "V") if ends else None
    except QuantityError:
        return None
