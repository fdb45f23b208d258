"""Read tables of pins: rows in any order, one or more pins to a row, over several tables.

The tables of a sheet are merged pin by pin. A column with two possible meanings is asked about,
and text that is not used is listed with its place.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from ...schema.quantities import Quantity
from ..errors import Fault
from ..scans.doubts import list_doubtful_symbols
from .cell_values import clean_cell, is_blank, normalise_mark, parse_pin_numbers, split_mark
from .characteristics import CharacteristicRows
from .column_headings import (
    Headings,
    Overrides,
    find_duplicates,
    find_headings,
    find_next_headings,
    is_same_table,
    match_headings,
)
from .column_questions import ask_about_numbering
from .heading_words import Column
from .pin_rows import RowFormat, choose_row_format, read_pin_row
from .pin_table import MOST_PINS, DoubtfulCell, PinTable, TableParameter, TablePin
from .signal_headings import SIGNAL_KEYS
from .text_table import DraftError, Grid, Place, Unread, read_table_text, table_error
from .transposed_table import transpose_blocks

_LONGEST_WORDS: Final = 4000
_FOOTNOTE: Final = re.compile(
    r"(?:\(?([0-9])\)|([¹²³⁴-⁹]+)\)?|([*†‡§]{1,3})|notes? ([0-9]+)[:.]?)\s*(\S.*)", re.IGNORECASE
)
_PIN_LIST: Final = r"[1-9][0-9]{0,2}(?:\s*(?:,|;|&|-|–|to|and)\s*[1-9][0-9]{0,2})*"
_NAMED_PINS: Final = re.compile(rf"\b(?:pins?|terminals?)\s+({_PIN_LIST})", re.IGNORECASE)
_INDEXED_PIN: Final = re.compile(r"\bV\(?([1-9][0-9]{0,2})(?:\s*[-–]\s*[0-9]+)?\)?(?![0-9.])")


def read_pin_table(data: bytes, name: str, overrides: Overrides | None = None) -> PinTable:
    """Return the pins of a table in plain text (see ``read_table_text``).

    ``overrides`` names columns, counted from 1, in place of the guess. Raises DraftError if the
    text has no table of pins, or columns that have to be asked about.
    """
    text = read_table_text(data, name)
    reader = TableReader(overrides, skip={unread.place for unread in text.unread})
    reader.explained.append(f"{text.encoding}, cells divided by {text.delimiter}")
    reader.unread += text.unread
    is_known = reader.read(text.grid)
    beyond = _list_columns_beyond(overrides or {}, text.grid.width, name)
    if reader.questions or beyond:
        raise DraftError((*beyond, *reader.ask(name).faults))
    if not is_known or not (reader.pins or reader.parameters):
        # A column without a heading may number the pins: the user is asked.
        question = None if overrides else ask_about_numbering(text.grid, name)
        raise question or _explain_no_pins(reader.unread if is_known else [], name)
    rows_above = [" ".join(filter(None, row)) for row in text.grid.rows[: reader.first_row]]
    return reader.table(" ".join(rows_above)[:_LONGEST_WORDS])


def _explain_no_pins(unread: Sequence[Unread], name: str) -> DraftError:
    """Return the error of a text without pins, with the first row that cannot be read."""
    rows = [str(cell) for cell in unread if cell.place]
    found_text = f"no row that can be read ({rows[0]})" if rows else "no table of pins"
    expected = "headings such as Pin, Symbol, Function, DC (V) above rows with pin numbers"
    write = "--column number=1 --column symbol=2 --column dc_typ=4"
    return table_error(name, found_text, expected, write)


def _list_columns_beyond(overrides: Overrides, width: int, name: str) -> tuple[Fault, ...]:
    """Return a fault for each column of the user that the table does not have."""
    return tuple(
        Fault(name, 1, 1, f"column {number} for {key}", f"a column from 1 to {width}")
        for key, number in overrides.items()
        if number > width
    )


def find_footnote(line: str) -> tuple[str, str] | None:
    """Return the mark and the words of a footnote such as ``1) Measured with ...``, or None."""
    match = _FOOTNOTE.fullmatch(clean_cell(line))
    if match is None:
        return None
    mark = next(mark for mark in match.groups()[:-1] if mark)
    return normalise_mark(mark), match.groups()[-1]


class TableReader:
    """Reads one grid after another and merges their rows pin by pin.

    ``skip`` are places not to read. With ``headed``, a table without headings is read only as the
    continuation of the one before.
    """

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
        self.questions: list[tuple[list[Column], Place]] = []
        """Columns of which only one can count, each with the place of its table."""
        self.footnotes: dict[str, str] = {}
        self.parameters: list[TableParameter] = []
        self.doubtful: list[DoubtfulCell] = []
        self.first_row = 0
        self._overrides = overrides or {}
        self._skip = set(skip)
        self._headed = headed
        self._previous: Headings | None = None

    def table(self, words: str, title: str = "") -> PinTable:
        """Return everything read so far."""
        self._doubt_series()
        pins = tuple(self.pins[number] for number in sorted(self.pins))
        explained, unread = tuple(dict.fromkeys(self.explained)), tuple(dict.fromkeys(self.unread))
        parameters = tuple(self.parameters)
        doubtful = tuple(self.doubtful)
        return PinTable(pins, explained, unread, self.footnotes, words, title, parameters, doubtful)

    def ask(self, name: str) -> DraftError:
        """Return the error that asks about all columns with two possible meanings."""
        faults = [
            table_error(name, _describe(columns), _EXPECTED_ONE, _suggest(columns), place.row)
            for columns, place in self.questions
        ]
        return DraftError(tuple(fault for error in faults for fault in error.faults))

    def add_footnote(self, line: str) -> bool:
        """Keep a footnote such as ``1) Measured with ...``; return False if it is none."""
        footnote = find_footnote(line)
        if footnote is not None:
            self.footnotes.setdefault(*footnote)
        return footnote is not None

    def read(self, grid: Grid) -> bool:
        """Read the tables of a grid; return False if it is none of pins or characteristics."""
        remainders = [self._read_table(block) for block in transpose_blocks(grid) or [grid]]
        for remainder in remainders:
            while remainder is not None and remainder.rows:
                remainder = self._read_table(remainder, at_top=True)
        return all(remainder is not None for remainder in remainders)

    def _read_table(self, grid: Grid, *, at_top: bool = False) -> Grid | None:
        """Read one table; return the rows of the next one, or None if this is none of its kind."""
        headings = find_headings(grid, self._overrides, at_top=at_top)
        if match_headings(grid) is None:
            headings = self._continue_previous(grid) or (None if self._headed else headings)
        if headings is None:
            return None
        self._previous, self.first_row = headings, headings.first_row
        grid = grid.judge_scan(headings.meanings, headings.first_row)
        self._explain(headings)
        groups = self._choose_groups(grid, headings)
        index, title = headings.first_row, ""
        while index < len(grid.rows):
            following = find_next_headings(grid, index)
            if following is not None and not is_same_table(following, headings):
                rest, places = grid.rows[index:], grid.places[index:]
                return replace(grid, rows=rest, places=places, title=title)
            # Tables over several pages repeat their headings.
            if following is not None:
                index += following.first_row
                continue
            self._read_row(grid.rows[index], grid.places[index], groups, headings)
            filled = [cell for cell in grid.rows[index] if not is_blank(cell)]
            title = filled[0] if len(filled) == 1 else title if not filled else ""
            index += 1
        return replace(grid, rows=(), places=())

    def _choose_groups(self, grid: Grid, headings: Headings) -> list[_Group]:
        """Return the format of each pin that shares a row; none if columns are asked about."""
        groups = group_columns_by_pin(headings.columns)
        duplicates = [columns for group in groups for columns in find_duplicates(group)]
        # Opposite sides of a package share no number; two packages side by side do.
        if not duplicates and _share_numbers(grid, groups, headings.first_row):
            duplicates = [[c for c in headings.columns if c.key == "number"]]
        if duplicates:
            place = grid.places[max(headings.first_row - 1, 0)]
            self.questions += [(columns, place) for columns in duplicates]
            return []
        formats = [choose_row_format(grid, group, headings.first_row) for group in groups]
        for row_format in formats:
            self._list_unused_columns(row_format)
        return [_Group(each, CharacteristicRows(each)) for each in formats]

    def _list_unused_columns(self, row_format: RowFormat) -> None:
        """List the columns that a table of this sort does not use."""
        sort = "characteristics" if row_format.is_characteristics else "pins"
        idle = SIGNAL_KEYS if row_format.is_characteristics else ("test_condition", "value")
        for column in row_format.columns:
            if column.key in idle:
                reason = f"not used: column {column.index + 1} of a table of {sort}"
                self.unread.append(Unread(None, column.heading, reason))

    def _continue_previous(self, grid: Grid) -> Headings | None:
        """Return the previous headings if a table without any is as wide and mostly has such rows:
        with pin numbers, or with the values of characteristics."""
        if self._previous is None:
            return None
        numbers = {c.index for c in self._previous.columns if c.key == "number"}
        values = {c.index for c in self._previous.columns if c.key.startswith("dc")}
        wanted, is_such = (numbers, parse_pin_numbers) if numbers else (values, _find_figure)
        rows = sum(any(is_such(row[at]) for at in wanted if at < len(row)) for row in grid.rows)
        is_continued = grid.width == _measure_width(self._previous) and 2 * rows > len(grid.rows)
        return replace(self._previous, first_row=0) if is_continued else None

    def _explain(self, headings: Headings) -> None:
        self.explained += map(str, headings.columns)
        for column in headings.unknown:
            reason = f"{column.reason} of column {column.index + 1}"
            if column.reason == "heading not known":
                reason = f"heading of column {column.index + 1} not known"
            self.unread.append(Unread(None, column.heading, reason))

    def _read_row(
        self, row: Sequence[str], place: Place, groups: Sequence[_Group], headings: Headings
    ) -> None:
        """Read one row, or list it as unread with the reason."""
        if place in self._skip or all(map(is_blank, row)):
            return
        count = max(index for index, cell in enumerate(row, start=1) if not is_blank(cell))
        width = _measure_width(headings)
        # A row with more cells than the headings has an unquoted delimiter: its cells are shifted.
        if headings.first_row > 0 and count > width:
            reason = f"{count} cells where the headings have {width}, so none was taken"
            self.unread.append(Unread(place, " | ".join(row), reason))
            return
        for group in groups:
            columns = group.row_format.columns
            cells = {c.index: clean_cell(row[c.index]) for c in columns if c.index < len(row)}
            filled = [cell for cell in cells.values() if not is_blank(cell)]
            if not filled or (len(filled) == 1 and self.add_footnote(filled[0])):
                continue
            self.doubtful += list_doubtful(columns, row, place)
            if not group.row_format.is_characteristics:
                self._read_numbered(cells, place, group.row_format)
            elif pins := group.characteristics.find_dc_pins(cells):
                self._read_pins(pins, cells, place, group.row_format)
            else:
                self._read_characteristic(cells, place, group.characteristics)

    def _read_characteristic(
        self, cells: dict[int, str], place: Place, characteristics: CharacteristicRows
    ) -> None:
        for read in characteristics.read(cells, place):
            if isinstance(read, TableParameter) and (doubt := place.find_doubt(cells)):
                words = " | ".join(cell for cell in cells.values() if cell)
                self.unread.append(Unread(place, words, f"scanned, to be compared: {doubt}"))
            elif isinstance(read, Unread):
                self.unread.append(read)
            else:
                self.parameters.append(read)

    def _read_numbered(self, cells: dict[int, str], place: Place, row_format: RowFormat) -> None:
        """Read the pins that the number of a row names, or list the row."""
        number = next(c.index for c in row_format.columns if c.key == "number")
        text = split_mark(cells.get(number, ""), of_number=True)[0]
        pins = parse_pin_numbers(text)
        if doubt := place.find_doubt([number]):
            words = " | ".join(cell for cell in cells.values() if cell)
            self.unread.append(Unread(place, words, f"scanned, to be compared: {doubt}"))
            return
        if pins is None or len(set(pins)) < len(pins):
            words = " | ".join(cell for cell in cells.values() if cell)
            reason = "no pin number; a merged cell?" if is_blank(text) else "not a pin number"
            self.unread.append(Unread(place, words, reason))
            return
        self._read_pins(pins, cells, place, row_format)

    def _read_pins(
        self, pins: Sequence[int], cells: dict[int, str], place: Place, row_format: RowFormat
    ) -> None:
        """Read the cells of a row into its pins."""
        if max(pins) > MOST_PINS:
            words = " | ".join(cell for cell in cells.values() if cell)
            self.unread.append(Unread(place, words, f"no package has more than {MOST_PINS} pins"))
            return
        for pin_number in pins:
            pin, unread = read_pin_row(pin_number, place, cells, row_format)
            self.unread += unread
            self.merge(pin)

    def merge(self, pin: TablePin) -> None:
        """Add the values of a row to its pin; the first value is kept, others are listed."""
        known = self.pins.setdefault(pin.number, pin)
        if known is pin:
            return
        stated = {"number", *known.texts, *known.quantities, *(f"dc@{state}" for state in known.dc)}
        for key, cell in pin.scanned.items():
            # A value of a page with text keeps its own place.
            if key not in stated:
                known.scanned.setdefault(key, cell)
        for key, text in pin.texts.items():
            self._compare(pin, key, known.texts.setdefault(key, text), text, known.place)
        for key, value in pin.quantities.items():
            self._compare(pin, key, known.quantities.setdefault(key, value), value, known.place)
        known.signal_place = known.signal_place or pin.signal_place
        for state, dc in pin.dc.items():
            first = known.dc.setdefault(state, dc)
            self._compare(pin, "DC", first.quantity, dc.quantity, first.place)
        for key, text in pin.unreadable.items():
            known.unreadable.setdefault(key, text)

    def _compare(
        self, pin: TablePin, key: str, kept: str | Quantity, new: str | Quantity, first: Place
    ) -> None:
        """List a value that differs from the one of an earlier row."""
        if kept != new:
            reason = f"{key} of pin {pin.number} again; kept '{kept}' of {first}"
            self.unread.append(Unread(pin.place, str(new), reason))
            if key == "symbol":
                self._doubt_symbols(pin, str(new), reason)

    def _doubt_series(self) -> None:
        """Doubt the scanned symbols that end in a letter like a digit, unless compared."""
        symbols = {number: pin.texts.get("symbol", "") for number, pin in self.pins.items()}
        for number in list_doubtful_symbols(symbols):
            pin = self.pins[number]
            cell = pin.scanned.get("symbol")
            if cell is None or cell.is_confirmed:
                continue
            reason = "may end in a digit, as others of its series"
            pin.unreadable["symbol"] = pin.texts.pop("symbol")
            self.unread.append(Unread(pin.place, cell.text, f"scanned, to be compared: {reason}"))
            about = f"symbol of pin {number}"
            self.doubtful.append(DoubtfulCell(about, replace(cell, doubt=reason)))

    def _doubt_symbols(self, pin: TablePin, new: str, reason: str) -> None:
        """Doubt two symbols that a scanned sheet has for one pin."""
        known = self.pins[pin.number]
        scans = [each.scanned["symbol"] for each in (known, pin) if "symbol" in each.scanned]
        # The text of a page with text is right.
        if len(scans) < 2:
            if known.scanned.pop("symbol", None):
                known.texts["symbol"] = new
            return
        # Small letters for capitals: the surer reading is right.
        if known.texts["symbol"].casefold() == new.casefold():
            known.texts["symbol"] = max(scans, key=lambda cell: cell.confidence).text
            return
        known.unreadable["symbol"] = f"{known.texts.pop('symbol')}' and '{new}"
        about = f"symbol of pin {pin.number}"
        self.doubtful += [DoubtfulCell(about, replace(cell, doubt=reason)) for cell in scans]


@dataclass(frozen=True)
class _Group:
    """The columns that share a row with others: how to read them as a pin, or as parameters."""

    row_format: RowFormat
    characteristics: CharacteristicRows


def list_doubtful(
    columns: Sequence[Column], row: Sequence[str], place: Place
) -> Iterator[DoubtfulCell]:
    """Yield the doubted cells of a scanned row, each with its heading and the text of the row."""
    for column in columns:
        if column.index < len(place.scan) and place.scan[column.index].doubt:
            about = " | ".join(row)
            yield DoubtfulCell(f"{column.heading} in '{about}'", place.scan[column.index])


def _find_figure(cell: str) -> bool:
    return bool(re.search("[0-9]", cell))


_EXPECTED_ONE: Final = "one column for each; choose with --column and skip the others"


def _describe(columns: Sequence[Column]) -> str:
    """Return the columns with the same meaning: ``columns 1 'SDIP' and 2 'QFP', both number``."""
    names = [f"{column.index + 1} {column.heading[:_LONGEST_NAME]!r}" for column in columns]
    return f"{columns[0].key} twice: columns {' and '.join(names)}"


_LONGEST_NAME: Final = 14


def _suggest(columns: Sequence[Column]) -> str:
    first, *others = columns
    skipped = " ".join(f"--column skip={column.index + 1}" for column in others)
    return f"--column '{first.name}={first.index + 1}' {skipped}"


def _measure_width(headings: Headings) -> int:
    return max(column.index for column in (*headings.columns, *headings.unknown)) + 1


def _share_numbers(grid: Grid, groups: Sequence[Sequence[Column]], first_row: int) -> bool:
    """Return True if two groups of columns of a row number the same pins."""
    seen: set[int] = set()
    for group in groups if len(groups) > 1 else ():
        index = next(column.index for column in group if column.key == "number")
        cells = [row[index] for row in grid.rows[first_row:] if index < len(row)]
        numbers = {number for cell in cells for number in parse_pin_numbers(cell) or ()}
        if 2 * len(numbers & seen) > len(numbers):
            return True
        seen |= numbers
    return False


def group_columns_by_pin(columns: Sequence[Column]) -> list[tuple[Column, ...]]:
    """Return the columns of each of the pins that share a row: opposite sides of the package.

    Both ``Pin Symbol | Pin Symbol`` and the mirrored ``Pin Symbol | Symbol Pin`` are known. Where
    the columns cannot be divided, all are one group, which then has a duplicate.
    """
    columns = [column for column in columns if column.key != "skip"]
    starts = [place for place, column in enumerate(columns) if column.key == "number"]
    if len(starts) <= 1:
        return [tuple(columns)]
    share = len(columns) // len(starts)
    equal = [tuple(columns[start : start + share]) for start in range(0, len(columns), share)]
    is_equal = len({frozenset(Counter(c.key for c in group).items()) for group in equal}) == 1
    if share > 1 and is_equal:
        return equal
    ends = [*starts[1:], len(columns)]
    groups = [tuple(columns[start:end]) for start, end in zip(starts, ends, strict=True)]
    # Two numbers beside each other number the pins of two packages.
    if starts[0] > 0 or any(len(group) == 1 for group in groups):
        return [tuple(columns)]
    return groups


def find_named_pins(cells: Sequence[str], symbol: str, known: dict[int, TablePin]) -> list[int]:
    """Return the known pins a row names: by number, as ``V13``, else by a symbol of the pins."""
    for cell in cells:
        match = _NAMED_PINS.search(cell) or _INDEXED_PIN.search(cell)
        numbers = parse_pin_numbers(match[1].replace("–", "-")) if match else None
        if numbers:
            return [number for number in numbers if number in known]
    wanted = symbol.upper()
    if not wanted:
        return []
    return [n for n, pin in known.items() if pin.texts.get("symbol", "").upper() == wanted]
