"""Read tables of characteristics: parameters of pins, of a supply, or of the whole chip.

A row is a parameter with its limits, never the DC of a pin, unless its words say so. A row without
values heads the rows below it. The layouts are those of public data sheets; common practice.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import reduce
from typing import Final

from ...schema.quantities import Quantity, QuantityError
from ...schema.quantities.any_unit import find_unit_in
from ..scans.scanned_page import ScannedCell
from .cell_values import (
    is_blank,
    join_limits,
    parse_pin_numbers,
    read_quantity,
    replace_decimal_commas,
    split_mark,
)
from .heading_words import states_dc
from .pin_rows import RowFormat
from .pin_table import TableParameter
from .text_table import Place, Unread
from .trade_words import find_unit

_LIMIT_OF: Final = {"dc_min": "min", "dc": "typ", "dc_typ": "typ", "value": "typ", "dc_max": "max"}
_SIGNS: Final = ("%", "°")  # units that are no words
_BARE_NUMBER: Final = re.compile(r"[-+]?[0-9.,]+")
_PEAK_TO_PEAK: Final = re.compile(r"peak[- ]to[- ]peak|\bp-?p\b", re.IGNORECASE)
_RMS: Final = re.compile(r"\brms\b|root[- ]mean[- ]square", re.IGNORECASE)
_CONTINUES: Final = re.compile(r"[a-z(\[]")
_PIN_LIST: Final = r"[1-9][0-9]{0,2}(?:\s*(?:,|;|&|-|–|to|and)\s*[1-9][0-9]{0,2})*"
_NAMED_PINS: Final = re.compile(rf"\b(?:pins?|terminals?)\s+({_PIN_LIST})", re.IGNORECASE)
_INDEXED_PIN: Final = re.compile(r"\bV\(?([1-9][0-9]{0,2})(?:\s*[-–]\s*[0-9]+)?\)?(?![0-9.])")
# Spellings of units in the column of units, with the right one; the first that matches counts.
_UNIT_SPELLINGS: Final = (
    (r"([µumk]?)v(?:olts?)?[ _(]*(?:p ?- ?p|pp|p/p|ss|cc)\)?", r"\1Vpp"),
    (r"([µumk]?)v(?:olts?)?[ _(]*(?:rms|eff)\.?\)?", r"\1Vrms"),
    (r"([µumk]?)v(?:olts?|dc)?", r"\1V"),
    (r"([kKM]?) ?(?:ohms?|Ω)", r"\1Ω"),
    (r"([µumnp]?)s(?:ec)?\.?", r"\1s"),
    (r"(?:°|º|deg\.?) ?c", "°C"),
    (r"degrees?|deg\.?|º", "°"),
    (r"percent|pct", "%"),
)


@dataclass(frozen=True)
class _Head:
    """The last row without values, and the last row with a name, for the rows below them."""

    words: str = ""
    pins: tuple[int, ...] = ()
    name: str = ""


class CharacteristicRows:
    """Reads the rows of one table of characteristics, from the top to the bottom."""

    def __init__(self, row_format: RowFormat) -> None:
        self._format = row_format
        self._prefix = "absolute maximum: " if row_format.is_ratings else ""
        self._head = _Head()

    def read(self, cells: Mapping[int, str], place: Place) -> list[TableParameter | Unread]:
        """Return the parameters of a row, or the row as not used; empty if it heads other rows.

        ``cells`` are the texts of the row by the index of their column. A row has one parameter for
        each state of the set that the headings name.
        """
        texts = self._sort_cells(cells)
        name = next((texts[key] for key in ("parameter", "function") if key in texts), "")
        by_state = self._find_limits(cells)
        if not by_state:
            unused = self._begin_group(name or texts.get("symbol", ""), cells, place)
            return [unused] if unused else []
        read: list[TableParameter | Unread] = []
        for state, columns in by_state.items():
            condition = "; ".join(filter(None, (state, texts.get("test_condition", ""))))
            own = {**texts, "test_condition": condition}
            limits = dict(columns)
            if len(limits) < len(columns):
                read.append(_list_unused(cells, place, "two values for one limit"))
            else:
                read.append(self._read_values(name, own, limits, cells, place))
        return read

    def find_dc_pins(self, cells: Mapping[int, str]) -> tuple[int, ...]:
        """Return the pins whose DC the words of a row call its values; empty if they do not."""
        texts = self._sort_cells(cells)
        words = f"{texts.get('parameter', '')} {texts.get('function', '')}"
        if not states_dc(words):
            return ()
        numbers_found = self._find_pins(texts, words, ())
        return numbers_found[0] if numbers_found and not numbers_found[1] else ()

    def _read_values(
        self,
        name: str,
        texts: dict[str, str],
        limits: dict[str, str],
        cells: Mapping[int, str],
        place: Place,
    ) -> TableParameter | Unread:
        """Return the parameter of a row with values, or the row as not used.

        ``texts`` are the cells of words by the keys of their columns, ``limits`` those of values
        by ``min``, ``typ`` and ``max``.
        """
        own_name, name_mark = split_mark(name, of_number=True)
        symbol = texts.get("symbol", "")
        own_words = own_name or symbol
        head = self._head
        # A row with neither name nor symbol is a further value of the row above.
        is_inherited = not own_words and bool(head.name)
        words = own_words or head.name
        if not words:
            return _list_unused(cells, place, "a value without a name")
        # Words in brackets are the second line of a name, not one of several rows below it.
        ends_head = words.startswith("(")
        self._head = _Head("" if ends_head else head.words, () if ends_head else head.pins, words)
        found_pins = self._find_pins(texts, own_name, head.pins)
        if found_pins is None:
            return _list_unused(cells, place, "not a pin number")
        pins, pins_remark = found_pins
        limit_marks = [split_mark(text, of_number=True)[1] for text in limits.values()]
        words_of_row = f"{own_name} {symbol} {texts['test_condition']}"
        try:
            value = self._read_value(limits, self._find_unit(texts, words_of_row))
        except QuantityError as error:
            return _list_unused(cells, place, f"a parameter; expected {error.expected}")
        # A head that names pins heads only the rows of these pins.
        is_of_head = not head.pins or bool({*head.pins} & {*pins})
        group = f"{head.words}: " if head.words and is_of_head and not is_inherited else ""
        return TableParameter(
            name=f"{self._prefix}{group}{words}",
            symbol=symbol if own_name else "",
            pins=pins,
            value=value,
            test_condition=texts["test_condition"],
            place=place,
            mark=" ".join(mark for mark in (name_mark, *limit_marks) if mark),
            review="name of a row above" if is_inherited else pins_remark,
            scanned=reduce(ScannedCell.join, place.scan) if place.scan else None,
        )

    def _sort_cells(self, cells: Mapping[int, str]) -> dict[str, str]:
        """Return the first filled cell of each key that holds words."""
        texts: dict[str, str] = {}
        for column in self._format.columns:
            text = cells.get(column.index, "")
            is_filled = not is_blank(text) or (column.key == "unit" and text in _SIGNS)
            if column.key not in _LIMIT_OF and is_filled:
                texts.setdefault(column.key, text)
        return texts

    def _find_limits(self, cells: Mapping[int, str]) -> dict[str, list[tuple[str, str]]]:
        """Return the filled limits by the state of the set that their headings name."""
        limit_texts: dict[str, list[tuple[str, str]]] = {}
        for column in self._format.columns:
            text = cells.get(column.index, "")
            if column.key in _LIMIT_OF and not is_blank(text):
                state = ", ".join(column.conditions)
                limit_texts.setdefault(state, []).append((_LIMIT_OF[column.key], text))
        return limit_texts

    def _begin_group(self, words: str, cells: Mapping[int, str], place: Place) -> Unread | None:
        """Keep the words of a row without values for the rows below; list what is more than words.

        Words that begin small go on with the name above them.
        """
        if not words:
            return _list_unused(cells, place, "a row without values")
        if self._head.name and _CONTINUES.match(words):
            return _list_unused(cells, place, "goes on with the row above; add it to its name")
        numbers = _find_named_pins(words) or ()
        self._head = _Head(words.rstrip(" :;"), numbers)
        return None

    def _find_pins(
        self, texts: Mapping[str, str], name: str, of_head: tuple[int, ...]
    ) -> tuple[tuple[int, ...], str] | None:
        """Return the pins of a row and the remark for their review; None if they are unclear."""
        if (cell := texts.get("number")) is not None:
            pins = parse_pin_numbers(split_mark(cell, of_number=True)[0])
            return None if pins is None else (tuple(dict.fromkeys(pins)), "")
        if numbers := _find_named_pins(name):
            return numbers, ""
        indexed = _INDEXED_PIN.search(texts.get("symbol", "")) or _INDEXED_PIN.search(name)
        if indexed:
            return (int(indexed[1]),), "pin by its symbol"
        return of_head, "pin of a row above" if of_head else ""

    def _find_unit(self, texts: Mapping[str, str], about: str) -> str:
        """Return the unit of a row; volts called peak to peak or rms in its words are those."""
        column_units = (column.unit for column in self._format.columns if column.unit)
        unit = spell_unit(texts.get("unit", "") or next(column_units, ""))
        if unit.endswith("V") and not unit.startswith(("A", "H")):
            unit += "pp" if _PEAK_TO_PEAK.search(about) else "rms" if _RMS.search(about) else ""
        return unit

    def _read_value(self, limits: Mapping[str, str], unit: str) -> Quantity:
        """Return the value of a row from its limits. Raises QuantityError, also for no unit."""
        text_of = {
            word: replace_decimal_commas(
                split_mark(text, of_number=True)[0], self._format.decimal_commas
            )
            for word, text in limits.items()
        }
        # Without a column of units, the first value that has one tells it.
        units = map(find_unit_in, (f"1 {unit}", *text_of.values()))
        base_unit = next((known for known in units if known), None)
        if base_unit is None:
            found_text = unit or " ".join(text_of.values())
            expected = f"a known unit, not '{unit}'" if unit else "a unit"
            raise QuantityError(found_text, expected)
        if len(text_of) > 1:
            low, typical, high = (text_of.get(word, "") for word in ("min", "typ", "max"))
            text = join_limits(low, typical, high, unit)
        else:
            ((word, text),) = text_of.items()
            # A bare number under "min" or "max" is a limit, not a typical value.
            if word != "typ" and _BARE_NUMBER.fullmatch(text):
                text = f"{word} {text} {unit}"
        # Decimal commas are replaced above.
        return read_quantity(text, unit, False, base_unit)


def spell_unit(cell: str) -> str:
    """Return the unit of a cell in its right spelling; another text comes back as it is.

    >>> spell_unit("V (p-p)"), spell_unit("kohm"), spell_unit("[mA]")
    ('Vpp', 'kΩ', 'mA')
    """
    text = cell.strip().strip("[]").strip()
    text = text[1:-1] if text.startswith("(") and text.endswith(")") else text
    if unit := find_unit(text):
        return unit
    for pattern, right in _UNIT_SPELLINGS:
        match = re.fullmatch(pattern, text, re.IGNORECASE)
        if match:
            return match.expand(right)
    return text


def _find_named_pins(words: str) -> tuple[int, ...] | None:
    """Return the pins that words name: ``pin 9``, ``pins 20, 21 and 22``; None without any."""
    match = _NAMED_PINS.search(words)
    return parse_pin_numbers(match[1].replace("–", "-")) if match else None


def _list_unused(cells: Mapping[int, str], place: Place, reason: str) -> Unread:
    text = " | ".join(cell for cell in cells.values() if not is_blank(cell))
    return Unread(place, text, f"not used: {reason}")
