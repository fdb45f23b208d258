"""Find the headings of a table and the meaning of its columns.

A column is known by the words of its heading, by its content, or by an option of the user.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import count
from typing import Final

from rapidfuzz import process

from ...schema.errors import Unusable
from ..scans import doubts
from .cell_values import clean_cell, is_blank, parse_pin_numbers, split_mark
from .heading_words import (
    BY_HEADING,
    KEYS,
    LONGEST_HEADING,
    Column,
    classify_heading,
    is_complete_heading,
)
from .signal_headings import SIGNAL_KEYS
from .text_table import Grid

_MOST_HEADING_ROWS: Final = 3
_MOST_ROWS_ABOVE: Final = 200
_MOSTLY: Final = 0.5
_NEARLY_ALL: Final = 0.8
_LONGEST_SYMBOL: Final = 10
_SHORTEST_FUNCTION: Final = 6
_CLOSE_ENOUGH: Final = 60  # of 100, rapidfuzz ratio
_PIN_VALUES: Final = frozenset(
    {"symbol", "function", "dc", "dc_min", "dc_typ", "dc_max", "absolute_maximum", *SIGNAL_KEYS}
)


_CHARACTERISTIC_NAMES: Final = frozenset({"parameter", "function", "symbol"})
_CHARACTERISTIC_VALUES: Final = frozenset({"dc_min", "dc_typ", "dc_max", "value"})


_MEANINGS: Final = {
    "number": doubts.NUMBER, "symbol": doubts.SYMBOL, "unit": doubts.UNIT,
    "dc_min": doubts.LOWEST, "absolute_minimum": doubts.LOWEST, "dc_max": doubts.HIGHEST,
    "dc": doubts.VALUE, "dc_typ": doubts.VALUE, "value": doubts.VALUE,
    "absolute_maximum": doubts.HIGHEST, "resistance": doubts.VALUE, "capacitance": doubts.VALUE,
    **dict.fromkeys(SIGNAL_KEYS, doubts.VALUE),
}  # fmt: skip


_WORDS_BELOW: Final = "headed like a limit, but holds words"


@dataclass(frozen=True)
class Headings:
    """The columns of a grid, the first row of its data, and the columns with unknown headings."""

    columns: tuple[Column, ...]
    first_row: int
    unknown: tuple[Column, ...] = ()

    @property
    def keys(self) -> frozenset[str]:
        """The keys of all columns."""
        return frozenset(column.key for column in self.columns)

    @property
    def is_of_pins(self) -> bool:
        """True if the columns are those of a table of pins."""
        return "number" in self.keys and bool(self.keys & _PIN_VALUES)

    @property
    def is_of_characteristics(self) -> bool:
        """True if the columns are those of a table of characteristics, with pins or without."""
        has_values = bool(self.keys & _CHARACTERISTIC_VALUES) or {"parameter", "dc"} <= self.keys
        if "number" in self.keys:
            return has_values and "parameter" in self.keys
        has_unit = "unit" in self.keys or any(c.unit for c in self.columns)
        is_named = "parameter" in self.keys or (has_unit and self.keys & _CHARACTERISTIC_NAMES)
        return has_values and bool(is_named)

    @property
    def is_known(self) -> bool:
        """True if the rows below can be read."""
        return self.is_of_pins or self.is_of_characteristics

    @property
    def meanings(self) -> dict[int, str]:
        """The meanings of the columns, by index, as far as proofs of scanned cells need them."""
        return {column.index: _MEANINGS.get(column.key, doubts.WORDS) for column in self.columns}


Overrides = Mapping[str, int]
"""``{"dc_typ": 5, "dc@colour bars": 6, "skip@7": 7}``: columns named by the user, from 1."""


class UnknownColumnError(Unusable):
    """An override with an unknown key or an impossible column."""


def check_overrides(overrides: Overrides) -> None:
    """Raise UnknownColumnError for every key not in ``KEYS`` and every column below 1."""
    faults = [fault for name, number in overrides.items() for fault in _list_faults(name, number)]
    if faults:
        raise UnknownColumnError("\n".join(faults))


def _list_faults(name: str, number: int) -> Iterator[str]:
    """Yield the faults of one override."""
    key = name.partition("@")[0]
    if key not in KEYS:
        near = process.extractOne(key, KEYS, score_cutoff=_CLOSE_ENOUGH)
        hint = f"; write '{near[0]}'" if near else ""
        yield f"column key {key!r} is unknown; use one of {', '.join(KEYS)}{hint}"
    if number < 1:
        yield f"column {number} for {name} does not exist; columns count from 1"


def find_headings(
    grid: Grid, overrides: Overrides | None = None, *, at_top: bool = False
) -> Headings | None:
    """Return the columns of ``grid``; None if it is no table of pins or of characteristics.

    ``at_top`` looks for headings in the first row only.
    """
    headings = match_headings(grid, at_top=at_top) or _guess_from_content(grid)
    headings = _apply_overrides(headings, grid, overrides or {})
    return headings if headings and headings.is_known else None


def match_headings(grid: Grid, *, at_top: bool = False) -> Headings | None:
    """Return the first heading rows of pins, else those that name the most columns of anything."""
    best_headings: Headings | None = None
    best_score = (0, 0, 0)
    for first in range(min(len(grid.rows), 1 if at_top else _MOST_ROWS_ABOVE)):
        # The next table may have more columns, but the pins of this one come first.
        if best_headings is not None and best_headings.is_known:
            break
        for height in range(1, _MOST_HEADING_ROWS + 1):
            headings = _read_headings(grid, first, height)
            columns = headings.columns if headings else ()
            meanings = {(column.key, column.conditions) for column in columns}
            score = (len(columns), len(meanings), sum(bool(c.conditions) for c in columns))
            if score > best_score:
                best_headings, best_score = headings, score
    return best_headings


def find_next_headings(grid: Grid, row: int) -> Headings | None:
    """Return the headings of a table of pins or characteristics that begin at ``row``, or None."""
    if _looks_like_data(grid.rows[row]):
        return None
    end = row + _MOST_HEADING_ROWS + 1
    below = replace(grid, rows=grid.rows[row:end], places=grid.places[row:end])
    headings = match_headings(below, at_top=True)
    is_known = headings and ("number" in headings.keys or headings.is_of_characteristics)
    return headings if is_known else None


def is_same_table(first: Headings, second: Headings) -> bool:
    """Return True if headings are repeated: the same columns with the same meaning and unit."""
    meanings = [
        [(c.index, c.key, c.conditions, c.unit) for c in headings.columns if c.key != "skip"]
        for headings in (first, second)
    ]
    return meanings[0] == meanings[1]


def find_duplicates(columns: Sequence[Column]) -> list[list[Column]]:
    """Return groups of columns of one pin that have the same meaning, where only one can count.

    Two functions are joined and two types of pin compared, so they are no duplicates.
    """
    groups: dict[tuple[str, tuple[str, ...]], list[Column]] = defaultdict(list)
    for column in columns:
        if column.key not in ("skip", "function", "role", "parameter"):
            groups[column.key, column.conditions].append(column)
    return [group for group in groups.values() if len(group) > 1]


def _read_headings(grid: Grid, first: int, height: int) -> Headings | None:
    """Return the headings if these rows are heading rows and name at least two columns."""
    levels = list(grid.rows[first : first + height])
    if len(levels) < height or any(_looks_like_data(level) for level in levels):
        return None
    # A title above the headings spans columns, but tells nothing about them.
    if height > 1 and _is_title(levels[0], levels[1]):
        return None
    columns: list[Column] = []
    unknown: list[Column] = []
    combined = _combine_levels(levels, grid)
    has_symbol = any(c and c.key == "symbol" for c in map(classify_heading, count(), combined))
    for index, parts in enumerate(combined):
        column = classify_heading(index, parts)
        # "Signal" heads the names of pins, or beside a column of symbols their functions.
        if column is None and [part.casefold() for part in parts] == ["signal"]:
            key = "function" if has_symbol else "symbol"
            column = Column(index, key, BY_HEADING, parts[0])
        if column is not None:
            columns.append(column)
        elif parts:
            unknown.append(Column(index, "skip", "heading not known", " | ".join(parts)))
    if len({column.key for column in columns}) < 2:  # one known word may be prose
        return None
    columns = _tell_numbers_from_symbols(columns, grid, first + height)
    columns = _tell_words_from_limits(columns, grid, first + height)
    return Headings(tuple(columns), first + height, tuple(unknown))


def _looks_like_data(row: Sequence[str]) -> bool:
    if any(len(cell) > LONGEST_HEADING for cell in row) or all(map(is_blank, row)):
        return True
    return any(parse_pin_numbers(cell) for cell in row if not is_blank(cell))


def _is_title(row: Sequence[str], below: Sequence[str]) -> bool:
    """Return True for words over the whole table: one cell, the first, that heads no column, or
    above a heading that needs none."""
    filled = {cell for cell in row if not is_blank(cell)}
    if len(filled) != 1 or is_blank(row[0]):
        return False
    heading = classify_heading(0, [clean_cell(row[0])])
    is_heading = heading is not None and heading.key not in ("parameter", "absolute_maximum")
    return not is_heading or (bool(below) and is_complete_heading(below[0]))


def _combine_levels(levels: list[tuple[str, ...]], grid: Grid) -> list[list[str]]:
    """Return the heading of each column, row by row; a spanning one goes to each column."""
    parts: list[list[str]] = [[] for _ in range(grid.width)]
    for depth, level in enumerate(levels):
        carried = ""
        for index in range(grid.width):
            text = split_mark(clean_cell(level[index]))[0] if index < len(level) else ""
            below = [row[index] for row in levels[depth + 1 :] if index < len(row) and row[index]]
            if text:
                carried = text
            elif not below or grid.headings_repeated or is_complete_heading(below[-1]):
                carried = ""
            spanning = text or carried
            if spanning and spanning not in parts[index]:
                parts[index].append(spanning)
    return parts


def _tell_numbers_from_symbols(columns: list[Column], grid: Grid, first_row: int) -> list[Column]:
    """Return the columns with those headed "Pin" that hold no numbers as symbols."""
    numbers = [column for column in columns if column.key == "number"]
    if len(numbers) < 2:
        return columns
    shares = {c.index: _share_of_pins(grid, c.index, first_row) for c in numbers}
    if max(shares.values()) < _MOSTLY:
        return columns
    has_symbol = any(column.key == "symbol" for column in columns)
    changed: list[Column] = []
    for column in columns:
        if column.key == "number" and shares[column.index] < _MOSTLY:
            # A second numbering with a few numbers only belongs to a package with fewer pins.
            holds_none = shares[column.index] == 0
            key = "symbol" if holds_none and not has_symbol else "skip"
            column = replace(column, key=key, reason="headed like a number, but holds few or none")
        changed.append(column)
    return changed


def _tell_words_from_limits(columns: list[Column], grid: Grid, first_row: int) -> list[Column]:
    """Return the columns with a lone "Typ" or "Nom" that holds words as type or name of the pin."""
    keys = {column.key for column in columns}
    # Beside a minimum or maximum, only a column without any figure holds words.
    is_beside = bool(keys & {"dc_min", "dc_max"})
    figure = r".*[0-9]" if is_beside else r"[-+<>~]?\s*[0-9.]+"
    most = 0.0 if is_beside else _MOSTLY
    changed: list[Column] = []
    for column in columns:
        cells = [row[column.index] for row in grid.rows[first_row:] if column.index < len(row)]
        cells = [cell for cell in cells if not is_blank(cell)]
        has_words = any(re.search(r"[^\W\d_]", cell) for cell in cells)
        share = _share(cells, figure) if has_words else 1.0
        if column.key == "dc_typ" and (share < most or share == 0):
            is_name = "symbol" not in keys and re.match("nom", column.heading, re.IGNORECASE)
            column = replace(column, key="symbol" if is_name else "role", reason=_WORDS_BELOW)
        changed.append(column)
    return changed


def _share_of_pins(grid: Grid, index: int, first_row: int) -> float:
    cells = [row[index] for row in grid.rows[first_row:] if index < len(row)]
    cells = [cell for cell in cells if not is_blank(cell)]
    return sum(parse_pin_numbers(cell) is not None for cell in cells) / max(len(cells), 1)


def _guess_from_content(grid: Grid) -> Headings | None:
    """Return the columns of a table without headings, or None.

    Whole numbers without repetition are pins, short words symbols, longer ones functions. Numbers
    are DC only if they carry their unit: without heading they may be anything.
    """
    columns: list[Column] = []
    unknown: list[Column] = []
    for index in range(grid.width):
        cells = [row[index] for row in grid.rows if index < len(row) and not is_blank(row[index])]
        if len(cells) < 2:
            continue
        key = guess_key(cells, {column.key for column in columns})
        if key is not None:
            columns.append(Column(index, key, "by its content"))
        elif _share(cells, r"[-+<>~]?\s*[0-9.]+") > _MOSTLY:
            unknown.append(Column(index, "skip", "no heading", f"{cells[0]} ..."))
    return Headings(tuple(columns), 0, tuple(unknown)) if columns else None


def guess_key(cells: list[str], taken: set[str]) -> str | None:
    """Return the key that the cells of a column suggest, none of those taken; None without any."""
    are_pin_numbers = all(re.fullmatch("[1-9][0-9]{0,2}", cell) for cell in cells)
    are_unique = max(Counter(cells).values()) == 1
    if are_pin_numbers and are_unique and "number" not in taken:
        return "number"
    if _share(cells, r"[-+<>~]?\s*[0-9.,]+\s*m?V\b") > _NEARLY_ALL and "dc" not in taken:
        return "dc"
    # Numbers without a unit may be anything.
    if _share(cells, r"[-+<>~]?\s*[0-9.]+") >= _MOSTLY:
        return None
    mean_length = sum(map(len, cells)) / len(cells)
    if are_unique and mean_length <= _LONGEST_SYMBOL and "symbol" not in taken:
        return "symbol"
    if mean_length > _SHORTEST_FUNCTION and "function" not in taken:
        return "function"
    return None


def _share(cells: list[str], pattern: str) -> float:
    return sum(bool(re.match(pattern, cell)) for cell in cells) / len(cells)


def _apply_overrides(
    headings: Headings | None, grid: Grid, overrides: Overrides
) -> Headings | None:
    """Return the headings with the columns of the user in place of the guesses."""
    if not overrides:
        return headings
    headings = headings or Headings((), 0)
    chosen = list(_list_overrides(headings, overrides))
    chosen_indexes = {column.index for column in chosen}
    meanings = {(column.key, column.conditions) for column in chosen if column.key != "skip"}
    kept = [
        column
        for column in headings.columns
        if column.index not in chosen_indexes and (column.key, column.conditions) not in meanings
    ]
    unknown = tuple(column for column in headings.unknown if column.index not in chosen_indexes)
    columns = tuple(sorted((*kept, *chosen), key=lambda column: column.index))
    return Headings(columns, headings.first_row, unknown)


def _list_overrides(headings: Headings, overrides: Overrides) -> Iterator[Column]:
    """Yield the column of each override, with heading and unit of the column it replaces."""
    known = (*headings.columns, *headings.unknown)
    for name, number in overrides.items():
        key, _, condition = name.partition("@")
        states: tuple[str, ...] = ()
        if condition.strip() and key != "skip":
            states = (condition.strip(),)
        guess = next((c for c in known if c.index == number - 1), None)
        if key.startswith("dc") and not states and guess is not None:
            states = guess.conditions
        heading, unit = (guess.heading, guess.unit) if guess else ("", "")
        yield Column(number - 1, key, OVERRIDDEN, heading, unit, states)


OVERRIDDEN: Final = "as you said"
"""Reason of a column that the user named."""
