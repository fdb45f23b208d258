"""Read one row of a pin table: texts, DC voltages with their limits, resistance, capacitance.

A voltage becomes the DC of a pin only if its heading or its row calls it so; a threshold, a supply
or the level of a waveform never does.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Final

from ...schema.quantities import QuantityError
from ..scans.scanned_page import ScannedCell
from .cell_values import (
    is_blank,
    join_limits,
    read_quantity,
    replace_decimal_commas,
    split_mark,
)
from .heading_words import (
    BY_HEADING,
    Column,
    find_states,
    heading_states_dc,
    name_states,
    names_other_voltage,
    names_ratings,
    states_dc,
)
from .pin_table import DcValue, TablePin
from .signal_headings import SIGNAL_KEYS
from .text_table import Grid, Place, Unread

TEXT_KEYS: Final = ("symbol", "function", "role", "waveform", "ac")
_WORD_KEYS: Final = frozenset({"number", *TEXT_KEYS, "unit", "parameter", "test_condition"})
_UNNAMED_GLYPH: Final = re.compile(r"[\x00-\x1f\ufffd\ue000-\uf8ff]|\(cid:[0-9]+\)")
_BARE_NUMBER: Final = re.compile(r"[-+]?[0-9.,]+")
_BASE_UNITS: Final = {
    "resistance": "Ω", "capacitance": "F", "vpp": "Vpp", "frequency": "Hz", "red_on_pin": "Ω",
    "black_on_pin": "Ω",
}  # fmt: skip
_USUAL_UNITS: Final = {"resistance": "Ω", "capacitance": "pF", "vpp": "Vpp"}
_ABSOLUTE: Final = ("absolute_minimum", "absolute_maximum")
_BOTH_LEADS: Final = ("red_on_pin", "black_on_pin")
_STATES_IN_A_CELL: Final = 2
_VOLTS: Final = re.compile(r"[mµu]?V", re.IGNORECASE)


@dataclass(frozen=True)
class RowFormat:
    """How the rows of a table are read: the columns of one pin, and the marks of the table."""

    columns: tuple[Column, ...]
    decimal_commas: bool
    title_states_dc: bool = False
    """True if the words above the table call its values DC voltages."""
    title_state: str = ""
    """The one state of the set that such words name."""
    is_characteristics: bool = False
    """True if each row describes a characteristic, so its symbol is not that of a pin."""
    is_ratings: bool = False
    """True if the words above the table call its values absolute maximum ratings."""

    def column(self, key: str) -> Column | None:
        """Return the first column with this key, or None."""
        return next((column for column in self.columns if column.key == key), None)


def choose_row_format(grid: Grid, columns: Sequence[Column], first_row: int) -> RowFormat:
    """Return how to read the rows of ``grid`` below its headings."""
    keys = {column.key for column in columns}
    unit = next((column for column in columns if column.key == "unit"), None)
    limits = [c for c in columns if c.key.startswith("dc") and not heading_states_dc(c.heading)]
    has_other_units = unit is not None and any(
        not is_blank(row[unit.index]) and not _VOLTS.fullmatch(row[unit.index].strip())
        for row in grid.rows[first_row:]
        if unit.index < len(row)
    )
    # Bare min, typ and max with units that change from row to row head any quantity.
    is_characteristics = (
        "number" not in keys or "parameter" in keys or bool(limits and has_other_units)
    )
    above = " ".join(" ".join(row) for row in grid.rows[:first_row][:-1])
    title = f"{grid.title} {above}"
    is_dc, states = states_dc(title), find_states(title)
    return RowFormat(
        tuple(columns),
        uses_decimal_commas(grid, columns),
        title_states_dc=is_dc,
        title_state=states[0] if is_dc and len(states) == 1 else "",
        is_characteristics=is_characteristics,
        is_ratings=names_ratings(title),
    )


def uses_decimal_commas(grid: Grid, columns: Sequence[Column]) -> bool:
    """Return True if values are written 4,2: some have a decimal comma and none a point."""
    valued = [c.index for c in columns if c.key not in _WORD_KEYS]
    cells = [row[index] for row in grid.rows for index in valued if index < len(row)]
    has_commas = any(re.search(r"[0-9],[0-9]", cell) for cell in cells)
    has_points = any(re.search(r"[0-9]\.[0-9]", cell) for cell in cells)
    return has_commas and not has_points


def read_pin_row(
    number: int, place: Place, cells: dict[int, str], row_format: RowFormat
) -> tuple[TablePin, list[Unread]]:
    """Return a pin with the values of its row, and the cells that are not used.

    ``cells`` are the texts of the row by the index of their column.
    """
    row = _PinRow(TablePin(number, place), cells, row_format)
    row.keep_number()
    if not row_format.is_characteristics:
        row.read_texts()
        row.read_quantities()
    row.read_dc()
    return row.pin, row.unread


class _PinRow:
    """Reads the cells of one row into one pin."""

    def __init__(self, pin: TablePin, cells: dict[int, str], row_format: RowFormat) -> None:
        self.pin = pin
        self.unread: list[Unread] = []
        self._cells = cells
        self._format = row_format

    def keep_number(self) -> None:
        """Keep the recognised cell of the pin number of a scanned row."""
        self._keep_scan("number", [c for c in self._format.columns if c.key == "number"])

    def read_texts(self) -> None:
        """Read symbol, function and role; two functions are joined, the first role is kept."""
        texts = self.pin.texts
        for column in self._format.columns:
            cell = self._get_cell(column)
            if column.key not in TEXT_KEYS or is_blank(cell):
                continue
            text = split_mark(cell)[0]
            if doubt := self._keep_scan(column.key, [column]):
                self._refuse(column.key, cell, doubt)
            elif _UNNAMED_GLYPH.search(cell):
                self._refuse(column.key, cell, "characters that the font does not name")
            elif column.key == "symbol" and _BARE_NUMBER.fullmatch(text):
                self._refuse("symbol", cell, f"a number is no symbol, at pin {self.pin.number}")
            elif column.key == "function" and texts.get("function", text) != text:
                texts["function"] = f"{texts['function']}; {text}"
            elif texts.setdefault(column.key, text) != text:
                reason = f"{column.key} of pin {self.pin.number} again; kept {texts[column.key]!r}"
                self.unread.append(Unread(self.pin.place, text, reason))

    def read_quantities(self) -> None:
        """Read resistance, capacitance, and the absolute maximum with its lower end."""
        self._read_absolute_maximum()
        for key, base_unit in _BASE_UNITS.items():
            column = self._format.column(key)
            if column is None or is_blank(self._get_cell(column)):
                continue
            if doubt := self._keep_scan(key, [column]):
                self._refuse(key, self._get_cell(column), doubt)
            else:
                unit = column.unit or _USUAL_UNITS.get(key, "")
                self._read_quantity(key, self._get_cell(column), unit, base_unit)
        self._read_both_leads()
        if any(key in SIGNAL_KEYS for key in (*self.pin.quantities, *self.pin.texts)):
            self.pin.signal_place = self.pin.place

    def _read_absolute_maximum(self) -> None:
        """Read the absolute maximum, with the minimum as its lower end where there is one."""
        low, high = (self._find_cell(key) for key in _ABSOLUTE)
        columns = [column for column in self._format.columns if column.key in _ABSOLUTE]
        if doubt := self._keep_scan("absolute_maximum", columns):
            self._refuse("absolute_maximum", f"{low} {high}".strip(), doubt)
            return
        if is_blank(low) and is_blank(high):
            return
        column = self._format.column("absolute_maximum")
        unit = (column.unit if column else "") or "V"
        is_range = not (is_blank(low) or is_blank(high))
        text = f"{low} {unit} .. {high} {unit}" if is_range else low + high
        self._read_quantity("absolute_maximum", text, unit, "V")

    def _read_both_leads(self) -> None:
        """Read the resistances of one cell: red lead on the pin, then black: ``5.6/7.2``."""
        column = self._format.column("red_and_black")
        if column is None or is_blank(self._get_cell(column)):
            return
        doubts = [self._keep_scan(key, [column]) for key in _BOTH_LEADS]
        if doubts[0]:
            self._refuse("red_and_black", self._get_cell(column), doubts[0])
            return
        ends = re.split(r"\s*/\s*", self._get_cell(column))
        if len(ends) != len(_BOTH_LEADS):
            reason = f"resistances of pin {self.pin.number}: expected two, such as 5.6/7.2"
            self._refuse("red_and_black", self._get_cell(column), reason)
            return
        for key, text in zip(_BOTH_LEADS, ends, strict=True):
            if not is_blank(text):
                self._read_quantity(key, text, column.unit, "Ω")

    def read_dc(self) -> None:
        """Read the DC of each state: one cell, or minimum, typical and maximum side by side."""
        dc_columns = [c for c in self._format.columns if c.key.startswith("dc")]
        for states in dict.fromkeys(column.conditions for column in dc_columns):
            columns = [c for c in dc_columns if c.conditions == states]
            filled = [c for c in columns if not is_blank(self._get_cell(c))]
            if filled and not self._is_dc(filled):
                # The words of a row decide for all its columns.
                self._list_unused()
                return
            if filled:
                unit = self._find_cell("unit") or next((c.unit for c in columns if c.unit), "V")
                self._read_dc_columns(states, filled, unit)

    def _read_dc_columns(
        self, states: tuple[str, ...], filled: Sequence[Column], unit: str
    ) -> None:
        """Read the filled columns of the same states: two where a cell has a voltage for each."""
        state = (states[0] if states else "") or self._find_state()
        unit_columns = [column for column in self._format.columns if column.key == "unit"]
        if doubt := self._keep_scan(f"dc@{state}", [*filled, *unit_columns]):
            words = " | ".join(self._get_cell(column) for column in filled)
            self._refuse(f"dc@{state}", words, f"DC of pin {self.pin.number}: {doubt}")
            return
        text_of: dict[str, str] = {}
        footnote_marks: list[str] = []
        for column in filled:
            text_of[column.key], mark = split_mark(self._get_cell(column), of_number=True)
            footnote_marks += [mark] if mark else []
        marks = " ".join(footnote_marks)
        typical = text_of.get("dc", "")
        # A column with signal and without has both voltages in a cell: 4.2/4.8.
        if len(states) == _STATES_IN_A_CELL and "/" in typical:
            for state, text in zip(states, typical.split("/", 1), strict=True):
                self._read_dc_value(state, {"dc": text.strip()}, unit, marks)
        else:
            self._read_dc_value(state, text_of, unit, marks)

    def _find_state(self) -> str:
        """Return the state that the test condition of a characteristic names, or the title."""
        condition = self._find_cell("test_condition")
        if not self._format.is_characteristics or is_blank(condition):
            return self._format.title_state
        return ", ".join(name_states(condition))

    def _is_dc(self, columns: Sequence[Column]) -> bool:
        """Return True if the row, its headings or the title call the values DC voltages."""
        parameter = self._find_cell("parameter")
        row_words = f"{parameter} {self._find_cell('function')}"
        # The words of a characteristic decide: a threshold in a column "DC" is still a threshold.
        if self._format.is_characteristics:
            return states_dc(row_words)
        if names_other_voltage(parameter):
            return False
        # A column that the user named, or with a unit in its cells, needs no heading.
        is_headed_dc = all(
            heading_states_dc(column.heading) or column.reason != BY_HEADING for column in columns
        )
        return is_headed_dc or self._format.title_states_dc or states_dc(row_words)

    def _list_unused(self) -> None:
        """List the whole row as unread: its voltages may be thresholds or supplies."""
        text = " | ".join(cell for cell in self._cells.values() if not is_blank(cell))
        reason = f"not used: nothing says that it is the DC voltage of pin {self.pin.number}"
        self.unread.append(Unread(self.pin.place, text, reason))

    def _read_dc_value(self, state: str, text_of: dict[str, str], unit: str, marks: str) -> None:
        """Add a DC value to the pin, or list it as unread; nothing where all texts are blank.

        ``state`` is that of the set, empty where none is named; ``text_of`` has the texts by their
        columns, ``dc``, ``dc_min``, ``dc_typ`` and ``dc_max``; ``marks`` are those of footnotes.
        """
        filled = {key: text for key, text in text_of.items() if not is_blank(text)}
        if not filled:
            return
        text = self._join_dc_texts(filled, unit)
        try:
            quantity = read_quantity(text, unit, self._format.decimal_commas, "V")
        except QuantityError as error:
            reason = f"DC of pin {self.pin.number}: expected {error.expected}"
            self._refuse(f"dc@{state}", text, reason)
        else:
            self.pin.dc[state] = DcValue(quantity, self.pin.place, marks)

    def _join_dc_texts(self, text_of: dict[str, str], unit: str) -> str:
        """Return the texts of a value as one quantity, such as ``min 3.8`` or its three limits."""
        if len(text_of) == 1:
            ((key, text),) = text_of.items()
            # A bare number under "min" or "max" is a limit, not a typical value.
            is_limit = key in ("dc_min", "dc_max") and _BARE_NUMBER.fullmatch(text)
            return f"{key.removeprefix('dc_')} {text}" if is_limit else text
        minimum, typical, maximum, plain = (
            replace_decimal_commas(text_of.get(key, ""), self._format.decimal_commas)
            for key in ("dc_min", "dc_typ", "dc_max", "dc")
        )
        # A column without a word between min and max is that of typical values.
        return join_limits(minimum, typical or plain, maximum, unit)

    def _read_quantity(self, key: str, cell: str, unit: str, base_unit: str) -> None:
        """Add a quantity to the pin, or list its cell as unread."""
        text = split_mark(cell, of_number=True)[0]
        commas = self._format.decimal_commas
        try:
            self.pin.quantities[key] = read_quantity(text, unit, commas, base_unit)
        except QuantityError as error:
            reason = f"{key} of pin {self.pin.number}: expected {error.expected}"
            self._refuse(key, cell, reason)

    def _keep_scan(self, field: str, columns: Sequence[Column]) -> str:
        """Keep the recognised cells of a value; return the doubt that forbids it, if any."""
        scan = self.pin.place.scan
        cells = [scan[c.index] for c in columns if c.index < len(scan) and scan[c.index].words]
        if not cells:
            return ""
        self.pin.scanned[field] = reduce(ScannedCell.join, cells)
        doubt = next((cell.doubt for cell in cells if cell.doubt), "")
        return f"scanned, to be compared: {doubt}" if doubt else ""

    def _refuse(self, field: str, text: str, reason: str) -> None:
        """List a cell that cannot be read; its field stays blank."""
        self.pin.unreadable[field] = text
        self.unread.append(Unread(self.pin.place, text, reason))

    def _get_cell(self, column: Column) -> str:
        return self._cells.get(column.index, "")

    def _find_cell(self, key: str) -> str:
        column = self._format.column(key)
        return self._get_cell(column) if column is not None else ""
