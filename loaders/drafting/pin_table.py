"""Tables of pins become pins: rows read by their columns, in any order, two or more to a row.

What a row says of a pin is joined to what other rows and tables say of it; whatever cannot be
read is listed beside the pins with its place.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from ...schema.quantities import Quantity, QuantityError
from .cell_values import (
    is_blank,
    pin_numbers,
    plain,
    plain_mark,
    read_quantity,
    spelt_limits,
    with_points,
    without_mark,
)
from .column_headings import (
    Column,
    Headings,
    Overrides,
    find_headings,
    heads_again,
    heads_another,
    named_headings,
)
from .text_table import Grid, Place, Unread, read_table_text, refused
from .transposed_table import turned

_MOST_PINS: Final = 304
_TEXTS: Final = ("symbol", "function", "role")
_FOOTNOTE: Final = re.compile(
    r"(?:\(?([0-9])\)|([¹²³⁴-⁹]+)\)?|([*†‡§]{1,3})|notes? ([0-9]+)[:.]?)\s*(\S.*)", re.IGNORECASE
)
_UNNAMED: Final = re.compile(r"[\x00-\x1f\ufffd\ue000-\uf8ff]|\(cid:[0-9]+\)")
_SINGLE: Final = {"resistance": "Ω", "capacitance": "F"}


@dataclass(frozen=True)
class Read:
    """A DC voltage as it was read, where, and the mark of its footnote."""

    quantity: Quantity
    at: Place
    mark: str = ""


@dataclass
class TablePin:
    """All that the tables say of one pin."""

    number: int
    at: Place
    texts: dict[str, str] = field(default_factory=dict)
    """``symbol``, ``function`` and ``role``, as far as they are given."""
    quantities: dict[str, Quantity] = field(default_factory=dict)
    """``absolute_maximum``, ``resistance`` and ``capacitance``, as far as they are given."""
    dc: dict[str, Read] = field(default_factory=dict)
    """DC voltage in each state of the set; the name is empty where the table names none."""


@dataclass(frozen=True)
class PinTable:
    """The pins in the order of their numbers, how their columns were told, what was not read."""

    pins: tuple[TablePin, ...]
    explained: tuple[str, ...]
    unread: tuple[Unread, ...]
    footnotes: dict[str, str]
    """Text of each footnote mark, as far as it stands below a table."""
    words: str = ""
    """Text around the tables: part, package and kind may stand there."""
    title: str = ""
    """The title of the sheet, where there is one."""


def read_pin_table(data: bytes, name: str, overrides: Overrides | None = None) -> PinTable:
    """The pins of a table in text (see ``read_table_text``); raises DraftError if there are none.

    ``overrides`` says what columns hold, counted from 1, in place of the guess.
    """
    text = read_table_text(data, name)
    reader = TableReader(overrides, skip={unread.at for unread in text.unread})
    reader.explained.append(f"{text.encoding}, cells divided by {text.delimiter}")
    reader.unread += text.unread
    if not reader.read(text.grid) or not reader.pins:
        expected = "headings such as Pin, Symbol, Function, DC (V) above rows with pin numbers"
        write = "--column number=1 --column symbol=2 --column dc_typ=4"
        raise refused(name, "no table of pins", expected, write)
    above = [" ".join(filter(None, row)) for row in text.grid.rows[: reader.begun]]
    return reader.table(" ".join(above))


class TableReader:
    """Reads one grid after another and joins what they say of each pin."""

    def __init__(
        self,
        overrides: Overrides | None = None,
        skip: Iterable[Place | None] = (),
        *,
        headed: bool = False,
    ) -> None:
        self.pins: dict[int, TablePin] = {}
        self.explained: list[str] = []
        self.unread: list[Unread] = []
        self.footnotes: dict[str, str] = {}
        self.begun = 0
        self._overrides = overrides or {}
        self._skip = set(skip)
        self._headed = headed  # tables without headings only go on the one before
        self._before: Headings | None = None

    def table(self, words: str, title: str = "") -> PinTable:
        """What has been read so far."""
        pins = tuple(self.pins[number] for number in sorted(self.pins))
        explained, unread = tuple(dict.fromkeys(self.explained)), tuple(self.unread)
        return PinTable(pins, explained, unread, self.footnotes, words, title)

    def footnote(self, line: str) -> bool:
        """Keep the line when it is a footnote: ``1) Measured with ...``; False when it is none."""
        match = _FOOTNOTE.fullmatch(plain(line))
        if match is None:
            return False
        mark = next(mark for mark in match.groups()[:-1] if mark)
        self.footnotes.setdefault(plain_mark(mark), match.groups()[-1])
        return True

    def read(self, grid: Grid) -> bool:
        """Read a grid; False when it is no table of pins."""
        rest = [self._read_table(block) for block in turned(grid) or [grid]]
        for below in rest:
            while below is not None and below.rows:
                below = self._read_table(below, at_top=True)
        return all(below is not None for below in rest)

    def _read_table(self, grid: Grid, *, at_top: bool = False) -> Grid | None:
        """Read one table; what stands below it, or None when it is no table of pins."""
        headings = find_headings(grid, self._overrides, at_top=at_top)
        if named_headings(grid) is None:
            headings = self._continued(grid) or (None if self._headed else headings)
        if headings is None:
            return None
        self._before, self.begun = headings, headings.first_row
        self._explain(headings)
        groups = pins_beside(headings.columns)
        commas = decimal_commas(grid, headings.columns)
        for index in range(headings.first_row, len(grid.rows)):
            row, place = grid.rows[index], grid.places[index]
            if place in self._skip or all(map(is_blank, row)) or heads_again(row, headings):
                continue
            if heads_another(grid, index):
                return Grid(grid.rows[index:], grid.places[index:], "", grid.spread)
            if not self._too_wide(row, place, grid, headings):
                for columns in groups:
                    self._read_row(row, place, columns, commas)
        return Grid((), ())

    def _continued(self, grid: Grid) -> Headings | None:
        """A table without headings goes on the one before, when it is as wide and has pins."""
        if self._before is None:
            return None
        number = next(c for c in self._before.columns if c.key == "number")
        width = max(c.index for c in (*self._before.columns, *self._before.unknown)) + 1
        cells = [row[number.index] for row in grid.rows if number.index < len(row)]
        pins = sum(pin_numbers(cell) is not None for cell in cells)
        goes_on = grid.width == width and 2 * pins > len(grid.rows)
        return replace(self._before, first_row=0) if goes_on else None

    def _explain(self, headings: Headings) -> None:
        self.explained += map(str, headings.columns)
        for column in headings.unknown:
            told = Unread(None, column.heading, f"heading of column {column.index + 1} not known")
            if told not in self.unread:
                self.unread.append(told)

    def _too_wide(self, row: Sequence[str], place: Place, grid: Grid, headings: Headings) -> bool:
        """List a row with more cells than the headings have: its cells have slipped."""
        if headings.first_row == 0:
            return False
        width = max(c.index for c in (*headings.columns, *headings.unknown)) + 1
        filled = max(index for index, cell in enumerate(row, start=1) if not is_blank(cell))
        if filled > width:
            why = f"{filled} cells where the headings have {width}, so none was taken"
            self.unread.append(Unread(place, " | ".join(row), why))
        return filled > width

    def _read_row(
        self, row: Sequence[str], place: Place, columns: Sequence[Column], commas: bool
    ) -> None:
        cells = {c.index: plain(row[c.index]) for c in columns if c.index < len(row)}
        number = next(c.index for c in columns if c.key == "number")
        filled = [cell for cell in cells.values() if not is_blank(cell)]
        if not filled or (len(filled) == 1 and self.footnote(filled[0])):
            return
        text = without_mark(cells.get(number, ""), of_number=True)[0]
        pins = pin_numbers(text)
        if pins is None or max(pins) > _MOST_PINS or len(set(pins)) < len(pins):
            rest = " | ".join(cell for cell in cells.values() if cell)
            why = "no pin number; a merged cell?" if is_blank(text) else "not a pin number"
            self.unread.append(Unread(place, rest, why))
            return
        for pin in pins:
            self.join(self._pin(pin, place, columns, cells, commas))

    def _pin(
        self,
        number: int,
        place: Place,
        columns: Sequence[Column],
        cells: dict[int, str],
        commas: bool,
    ) -> TablePin:
        pin = TablePin(number, place)
        for column in columns:
            cell = cells.get(column.index, "")
            if _UNNAMED.search(cell):
                self.unread.append(Unread(place, cell, "signs that the font gives no name to"))
            if column.key in _TEXTS and not is_blank(cell):
                pin.texts[column.key] = without_mark(cell)[0]
        unit = next((cells.get(c.index, "") for c in columns if c.key == "unit"), "")
        self._read_dc(pin, columns, cells, unit, commas)
        self._read_single(pin, columns, cells, commas)
        return pin

    def _read_dc(
        self,
        pin: TablePin,
        columns: Sequence[Column],
        cells: dict[int, str],
        unit: str,
        commas: bool,
    ) -> None:
        """Minimum, typical and maximum of each state, or the cell that holds them all."""
        states = dict.fromkeys(c.conditions for c in columns if c.key.startswith("dc"))
        for state in states:
            chosen = [c for c in columns if c.key.startswith("dc") and c.conditions == state]
            parts = {c.key: without_mark(cells.get(c.index, ""), of_number=True) for c in chosen}
            units = unit or next((c.unit for c in chosen if c.unit), "V")
            mark = " ".join(mark for _, mark in parts.values() if mark)
            limits = {key: text for key, (text, _) in parts.items() if not is_blank(text)}
            if len(state) == 2 and "/" in limits.get("dc", ""):
                for name, half in zip(state, limits["dc"].split("/", 1), strict=True):
                    self._add_dc(pin, name, {"dc": half.strip()}, units, commas, mark)
            else:
                self._add_dc(pin, " ".join(state[:1]), limits, units, commas, mark)

    def _add_dc(
        self,
        pin: TablePin,
        state: str,
        limits: dict[str, str],
        unit: str,
        commas: bool,
        mark: str,
    ) -> None:
        limits = {key: text for key, text in limits.items() if not is_blank(text)}
        if not limits:
            return
        if len(limits) == 1:
            key, text = limits.popitem()
            bare = key in ("dc_min", "dc_max") and re.fullmatch(r"[-+]?[0-9.,]+", text)
            text = f"{key[3:]} {text}" if bare else text
        else:
            low, typ, high = (
                with_points(limits.get(key, ""), commas) for key in ("dc_min", "dc_typ", "dc_max")
            )
            text = spelt_limits(low, typ or with_points(limits.get("dc", ""), commas), high, unit)
        try:
            pin.dc[state] = Read(read_quantity(text, unit, commas, "V"), pin.at, mark)
        except QuantityError as refusal:
            why = f"DC of pin {pin.number}: expected {refusal.expected}, such as {refusal.write}"
            self.unread.append(Unread(pin.at, text, why))

    def _read_single(
        self, pin: TablePin, columns: Sequence[Column], cells: dict[int, str], commas: bool
    ) -> None:
        """Resistance, capacitance, and the absolute maximum with its lower end."""
        text = {c.key: cells.get(c.index, "") for c in columns}
        units = {c.key: c.unit for c in columns}
        ends = [text.get("absolute_minimum", ""), text.get("absolute_maximum", "")]
        if not all(map(is_blank, ends)):
            unit = units.get("absolute_maximum") or "V"
            both = not any(map(is_blank, ends))
            words = " .. ".join(f"{end} {unit}" for end in ends) if both else "".join(ends)
            self._add(pin, "absolute_maximum", words, unit, "V", commas)
        for key, sort in _SINGLE.items():
            if not is_blank(text.get(key, "")):
                unit = units.get(key) or ("pF" if sort == "F" else sort)
                self._add(pin, key, text[key], unit, sort, commas)

    def _add(self, pin: TablePin, key: str, text: str, unit: str, sort: str, commas: bool) -> None:
        try:
            words = without_mark(text, of_number=True)[0]
            pin.quantities[key] = read_quantity(words, unit, commas, sort)
        except QuantityError as refusal:
            why = f"{key} of pin {pin.number}: expected {refusal.expected}, such as {refusal.write}"
            self.unread.append(Unread(pin.at, text, why))

    def join(self, pin: TablePin) -> None:
        """Add what a row says to the pin; the first to say something is kept, the rest listed."""
        known = self.pins.setdefault(pin.number, pin)
        if known is pin:
            return
        for key, text in pin.texts.items():
            self._differs(pin, key, known.texts.setdefault(key, text), text, known.at)
        for key, value in pin.quantities.items():
            self._differs(pin, key, known.quantities.setdefault(key, value), value, known.at)
        for state, read in pin.dc.items():
            first = known.dc.setdefault(state, read)
            self._differs(pin, "DC", first.quantity, read.quantity, first.at)

    def _differs(
        self, pin: TablePin, key: str, kept: str | Quantity, new: str | Quantity, first: Place
    ) -> None:
        """List what contradicts an earlier row."""
        if kept != new:
            why = f"{key} of pin {pin.number} again; kept '{kept}' of {first}"
            self.unread.append(Unread(pin.at, str(new), why))


def pins_beside(columns: Sequence[Column]) -> list[tuple[Column, ...]]:
    """The columns of each of the pins that share a row: opposite sides of the package.

    Both ``Pin Symbol | Pin Symbol`` and the mirrored ``Pin Symbol | Symbol Pin`` are known.
    """
    columns = [column for column in columns if column.key != "skip"]
    starts = [place for place, column in enumerate(columns) if column.key == "number"]
    share = len(columns) // len(starts)
    equal = [tuple(columns[at : at + share]) for at in range(0, len(columns), share)]
    if len({frozenset(Counter(c.key for c in group).items()) for group in equal}) == 1:
        return equal
    if starts[0] > 0:
        return [tuple(c for c in columns if c.key != "number" or c is columns[starts[0]])]
    ends = [*starts[1:], len(columns)]
    return [tuple(columns[start:end]) for start, end in zip(starts, ends, strict=True)]


def decimal_commas(grid: Grid, columns: Sequence[Column]) -> bool:
    """Whether numbers are written 4,2: so in some cell of the values, and in none with a point."""
    valued = [c.index for c in columns if c.key not in ("number", *_TEXTS, "unit", "parameter")]
    cells = [row[index] for row in grid.rows for index in valued if index < len(row)]
    commas = sum(bool(re.search(r"[0-9],[0-9]", cell)) for cell in cells)
    points = sum(bool(re.search(r"[0-9]\.[0-9]", cell)) for cell in cells)
    return commas > 0 and points == 0
