"""Write a first chip file from tables of pins: values with their source, the rest as blanks.

Every pin names its place in the tables, every DC voltage its source with page and row. Suggestions
are marked ``review``. A missing value is a blank with a hint, a cell that cannot be read a blank
with its text, and everything unused is listed at the end.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import yaml

from ...schema.quantities import print_value
from ...schema.text import visible
from ...schema.vocabulary import KINDS, SHARED_SYMBOL_ROLES
from ..chip_files.canonical_text import EXPLAINS, format_chip_file
from ..scans.scanned_page import ScannedCell
from .draft_identity import Identity
from .drafted_parameters import (
    SupplyOfPin,
    describe_parameter,
    find_supply,
    find_supply_voltage,
    select_writable,
    suggest_levels,
)
from .drafted_signals import OFF, DraftedSignal, draft_resistance, draft_signal
from .pin_table import MOST_PINS, PinTable, TableParameter, TablePin
from .role_guesses import suggest_role, suggest_waveform
from .text_table import Place, Unread

_LONGEST_TEXT: Final = {"symbol": 80, "function": 2000}
_LONGEST_SHOWN: Final = 60
_LONGEST_STATE: Final = 80
_LONGEST_MEANING: Final = 200
_FEWEST_SUMMARY_WORDS: Final = 3
_QUANTITY_KEYS: Final = ("absolute_maximum", "resistance", "capacitance")
_MEANINGS: Final = {
    "": ("as in the source", "The state of the set that the source gives its values for"),
    "no signal": ("no signal", "Set on, no signal at the aerial socket"),
    "with signal": ("with signal", "Set on, with the signal that the source names"),
    "colour bars": ("colour bars", "Set on, colour bars at the aerial socket"),
    "standby": ("standby", "Set in standby"),
    "off": ("off", "Mains plug out"),
    "recording": ("recording", "Recording a signal"),
    "playback": ("playback", "Playing back a tape"),
}


@dataclass(frozen=True)
class Origin:
    """The source of the tables."""

    id: str
    kind: str
    title: str


@dataclass(frozen=True)
class Draft:
    """A drafted chip file, and the text of the tables that is not in it."""

    text: str
    unread: tuple[Unread, ...]
    pins: int
    blanks: int
    """Number of values to be written by hand before the file is complete."""


def draft_chip(table: PinTable, identity: Identity, origin: Origin) -> Draft:
    """Return the chip file for the pins of ``table``, every value with its place as source."""
    writer = _Writer(table, identity, origin)
    lines = [
        *writer.list_identity(),
        *writer.list_supplies(),
        *writer.list_conditions(),
        *writer.list_parameters(),
        *writer.list_pins(),
        *writer.list_unread(),
    ]
    text = format_chip_file("\n".join(lines))
    return Draft(text, tuple(writer.unread), writer.pins, writer.blanks)


class _Writer:
    """Writes one draft section by section and counts the blanks."""

    def __init__(self, table: PinTable, identity: Identity, origin: Origin) -> None:
        self.blanks = 0
        self.unread = list(table.unread)
        self._table, self._identity, self._origin = table, identity, origin
        self._pins = self._complete_pins()
        self._roles = {pin.number: _suggest_role(pin) for pin in self._pins}
        self._supplies = tuple(
            SupplyOfPin(pin.number, pin.texts.get("symbol", ""))
            for pin in self._pins
            if self._roles[pin.number] == "supply"
        )
        self._parameters = list(self._select_parameters())

    @property
    def pins(self) -> int:
        """Number of pins of the draft."""
        return len(self._pins)

    def list_identity(self) -> Iterator[str]:
        """Yield part, maker, kind, summary and package."""
        identity = self._identity
        yield f"# Drafted from {visible(self._origin.title)}: look over each 'review' and blank."
        yield "file_format: pinfolio chip 1"
        yield self._select_known("part", identity.part, "the part number")
        yield self._select_known("maker", identity.maker, "who makes or made it")
        yield self._select_known("kind", identity.kind, f"one of {', '.join(KINDS)}")
        summary = (
            identity.summary or f"{len(self._pins)}-pin chip, drafted from a table of its pins."
        )
        yield f"summary: {_quote(visible(summary))}  # review: the chip in a sentence or two"
        if identity.package is None:
            self.blanks += 1
            yield f"package: {{family: , pins: {len(self._pins)}}}  {EXPLAINS} such as SDIP or QFP"
        else:
            package = {"family": identity.package.family, "pins": identity.package.pins}
            review = "  # review: by the words of the source" * ("package" in identity.suggested)
            yield f"package: {_format_flow(package)}{review}"

    def list_supplies(self) -> Iterator[str]:
        """Yield a supply for each pin with that role, with the voltage read there."""
        if not self._supplies:
            self.blanks += 1
            yield f"supplies:  {EXPLAINS} such as - {{name: VCC, pins: [9], voltage: 8 V ± 5 %}}"
            return
        yield "supplies:  # review"
        pins = {pin.number: pin for pin in self._pins}
        for supply in self._supplies:
            symbol, pin = supply.name, pins[supply.pin]
            voltage = _find_supply_voltage(pin) or find_supply_voltage(
                supply, self._supplies, self._parameters
            )
            missing = [name for name, text in (("name", symbol), ("voltage", voltage)) if not text]
            self.blanks += len(missing)
            hint = f"  {EXPLAINS} {' and '.join(missing)} of the supply" if missing else ""
            name, value = (_quote(text) if text else "" for text in (symbol, voltage))
            yield f"  - {{name: {name}, pins: [{pin.number}], voltage: {value}}}{hint}"

    def list_conditions(self) -> Iterator[str]:
        """Yield the source, and the states of the set that the values hold in."""
        origin = self._origin
        source = {"id": origin.id, "kind": origin.kind, "title": visible(origin.title)}
        yield f"sources:\n  - {_format_flow(source)}  # review: kind, title, revision, date"
        yield "conditions:  # review: how to bring the set into each"
        states = dict.fromkeys(state for pin in self._pins for state in _list_states(pin))
        for state in states or ("no signal",):
            name, means = _describe_state(state)
            yield f"  - {_format_flow({'name': name, 'means': means})}"

    def list_parameters(self) -> Iterator[str]:
        """Yield the characteristics of the tables, each with its place."""
        if self._parameters:
            yield "parameters:"
        for parameter in self._parameters:
            supply = find_supply(parameter, self._supplies)
            note = self._describe_footnote(parameter.mark)
            keys = describe_parameter(parameter, supply, self._list_citation(parameter.place), note)
            scan = _mark_scan(parameter.scanned)
            if parameter.review or scan:
                words = "; ".join(filter(None, (parameter.review, scan)))
                yield f"  # review: {words}"
            yield f"  - {_format_flow(keys)}"

    def _select_parameters(self) -> Iterator[TableParameter]:
        numbers = (pin.number for pin in self._pins)
        for parameter in select_writable(self._table.parameters, numbers):
            if isinstance(parameter, Unread):
                self.unread.append(parameter)
            else:
                yield parameter

    def list_pins(self) -> Iterator[str]:
        """Yield the pins, each with its place."""
        if not self._pins:
            self.blanks += 1
            yield f"pins:  {EXPLAINS} none is named; give --package, or draft a table of pins too"
            return
        yield "pins:"
        role_of: dict[str, str | None] = {}
        for pin in self._pins:
            yield from self._list_pin(pin, role_of)

    def list_unread(self) -> Iterator[str]:
        """Yield everything that was not read or not used."""
        if self.unread:
            yield "# Not read or not used; check each by hand:"
        for unread in self.unread:
            yield f"#   {visible(str(unread))}"

    def _complete_pins(self) -> list[TablePin]:
        """Return the pins of the tables and, if the package is known, those missing there."""
        pins = {pin.number: pin for pin in self._table.pins}
        named = [number for parameter in self._table.parameters for number in parameter.pins]
        highest = max([*pins, *(n for n in named if n <= MOST_PINS)], default=0)
        count = self._identity.package.pins if self._identity.package else highest
        missing = [number for number in range(1, count + 1) if number not in pins]
        if missing and not pins:
            found_text = f"pins 1 to {count}"
            self.unread.append(Unread(None, found_text, "not numbered in any table"))
        elif missing:
            self.unread += [Unread(None, f"pin {n}", "in none of the tables") for n in missing]
        pins |= {number: TablePin(number, Place(0)) for number in missing}
        return [pins[number] for number in sorted(pins)]

    def _list_pin(self, pin: TablePin, role_of: dict[str, str | None]) -> Iterator[str]:
        """Yield the lines of one pin; ``role_of`` has earlier pins' roles by symbol in capitals."""
        place = str(pin.place) if pin.place.row else "in none of the tables"
        scan = _mark_scan(pin.scanned.get("number"))
        yield f"  - number: {pin.number}  # {'; review: '.join(filter(None, (place, scan)))}"
        symbol, review = self._read_text(pin, "symbol"), ""
        role = self._roles[pin.number]
        earlier = role_of.get(symbol.upper())
        # Only grounds, supplies and unused pins may share a symbol; others are numbered for review.
        if symbol and earlier is not None and not (earlier == role and role in SHARED_SYMBOL_ROLES):
            review = f"  # review: {visible(symbol)} in the source"
            symbol = f"{symbol}{pin.number}"
        role_of.setdefault(symbol.upper(), role)
        hint = f"its short name{_quote_unreadable(pin, 'symbol')}"
        review = _add_scan(review, pin, "symbol") if symbol else ""
        yield self._select_known("symbol", symbol, hint, "    ") + review
        hint = f"its purpose{_quote_unreadable(pin, 'function')}"
        function = self._read_text(pin, "function")
        review = _add_scan("", pin, "function") if function else ""
        yield self._select_known("function", function, hint, "    ") + review
        is_stated = pin.texts.get("role", "").strip().lower() == role
        review = "" if is_stated or role is None else "  # review: suggested by the words"
        hint = "the sort of pin: input, output, control, filter ..."
        review = _add_scan(review, pin, "role") if is_stated else review
        yield self._select_known("role", role, hint, "    ") + review
        kind = suggest_waveform(pin.texts.get("symbol", ""), pin.texts.get("function", ""), role)
        levels = suggest_levels(kind, pin, self._parameters) if kind else {}
        signal = draft_signal(pin, kind, levels)
        if kind and not (signal and signal.fields):
            yield f"    # review: the words suggest a waveform of kind '{kind}'"
        if levels:
            fields = _format_flow({"kind": kind, **levels})
            yield f"    # review: its levels as stated: {fields}"
        if signal and signal.remark:
            yield f"    # review: its signal as stated: {signal.remark}"
        for key in _QUANTITY_KEYS:
            if key in pin.quantities:
                yield f"    {key}: {_quote(str(pin.quantities[key]))}{_add_scan('', pin, key)}"
            elif key in pin.unreadable:
                self.blanks += 1
                yield f"    {key}:  {EXPLAINS} a value{_quote_unreadable(pin, key)}"
        yield from self._list_expectations(pin, signal)

    def _list_expectations(self, pin: TablePin, signal: DraftedSignal | None) -> Iterator[str]:
        """Yield DC, signal and resistance by state; an unreadable DC is a blank with its text."""
        states = _list_states(pin)
        if signal is not None and signal.fields:
            states = list(dict.fromkeys([*states, signal.state]))
        if states:
            yield "    expectations:"
        for state in states:
            yield f"      - condition: {_quote(_describe_state(state)[0])}"
            yield from self._list_dc(pin, state)
            if signal is not None and signal.fields and state == signal.state:
                yield self._write_waveform(signal)
            resistance = draft_resistance(pin) if state == OFF else {}
            if resistance:
                fields = _format_flow(resistance)
                yield f"        resistance: {fields}  # review: which lead is on the pin"
            shows_more = bool(resistance) or (signal is not None and state == signal.state)
            yield from self._list_origin(pin, state, shows_more)

    def _list_origin(self, pin: TablePin, state: str, shows_more: bool) -> Iterator[str]:
        """Yield the source of an expectation, and its note; ``shows_more`` is more than the DC."""
        dc, of_signal = pin.dc.get(state), pin.signal_place if shows_more else None
        place = dc.place if dc else of_signal or pin.place
        notes = [self._describe_footnote(dc.mark)] if dc and dc.mark else []
        if of_signal not in (None, place):
            notes.append(f"Signal and resistance: {of_signal} of the source")
        yield f"        source: {self._cite(place)}"
        if notes:
            yield f"        note: {_quote(visible('; '.join(notes)))}"

    def _list_dc(self, pin: TablePin, state: str) -> Iterator[str]:
        if state in pin.dc:
            scan = _add_scan("", pin, f"dc@{state}")
            yield f"        dc: {_quote(str(pin.dc[state].quantity))}{scan}"
        elif f"dc@{state}" in pin.unreadable:
            self.blanks += 1
            yield f"        dc:  {EXPLAINS} a voltage{_quote_unreadable(pin, f'dc@{state}')}"

    def _write_waveform(self, signal: DraftedSignal) -> str:
        """Return the line of a waveform for review, with blanks for the fields that are missing."""
        self.blanks += len(signal.blanks)
        pairs = [f"{key}: {_quote(value) if value else ''}" for key, value in signal.fields.items()]
        missing = f"  {EXPLAINS} {', '.join(signal.blanks)}; review: kind by the words"
        review = missing if signal.blanks else "  # review: kind by the words"
        return f"        waveform: {{{', '.join(pairs)}}}{review}"

    def _describe_footnote(self, mark: str) -> str:
        """Return the text of a footnote; empty without a mark."""
        footnote = self._table.footnotes.get(mark, "its text was not found")
        return f"Footnote {mark} of the source: {footnote}" if mark else ""

    def _cite(self, place: Place) -> str:
        """Return the source of a value with page and row, as YAML."""
        return _format_flow(self._list_citation(place))

    def _list_citation(self, place: Place) -> dict[str, Any]:
        page = {} if place.page is None else {"page": place.page}
        return {"id": self._origin.id, **page, "note": place.row_words}

    def _read_text(self, pin: TablePin, key: str) -> str:
        """Return the text; if it is too long, list it as unread and return an empty one."""
        text = visible(pin.texts.get(key, ""))
        if len(text) > _LONGEST_TEXT[key]:
            shown = text[:_LONGEST_SHOWN] + "…"
            self.unread.append(Unread(pin.place, shown, f"too long for a {key}"))
            return ""
        return text

    def _select_known(self, key: str, value: str | None, hint: str, indent: str = "") -> str:
        """Return a line with the value, or a blank with a hint."""
        if not value:
            self.blanks += 1
            return f"{indent}{key}:  {EXPLAINS} {hint}"
        review = "  # review: by the words of the source" * (key in self._identity.suggested)
        return f"{indent}{key}: {_quote(visible(value))}{review if not indent else ''}"


def _suggest_role(pin: TablePin) -> str | None:
    symbol, function, pin_type = (pin.texts.get(key, "") for key in ("symbol", "function", "role"))
    return suggest_role(symbol, function, pin_type)


def _list_states(pin: TablePin) -> list[str]:
    """Return the states in which the pin has a DC cell, readable or not, or resistances."""
    unreadable = [key.partition("@")[2] for key in pin.unreadable if key.startswith("dc@")]
    off = [OFF] if draft_resistance(pin) else []
    return list(dict.fromkeys([*pin.dc, *unreadable, *off]))


def _quote_unreadable(pin: TablePin, key: str) -> str:
    """Return the text of a cell that could not be read, for the hint beside its blank."""
    text = visible(pin.unreadable.get(key, ""))
    shown = f"{text[:_LONGEST_SHOWN]}…" if len(text) > _LONGEST_SHOWN else text
    scan = pin.scanned.get(key)
    place = f", scanned, {scan}" if scan else ""
    return f"; the source has '{shown}'{place}" if text else ""


def _mark_scan(cell: ScannedCell | None) -> str:
    """Return confidence and place of a recognised value for its review; empty without any."""
    if cell is None or not cell.words:
        return ""
    if cell.is_confirmed:
        return f"compared with the scan, {cell.place}"
    return "; ".join(filter(None, (f"scanned, {cell}", visible(cell.proof))))


def _add_scan(review: str, pin: TablePin, key: str) -> str:
    """Return the comment of a line with confidence and place of a recognised value."""
    scan = _mark_scan(pin.scanned.get(key))
    return f"{review}; {scan}" if review and scan else f"  # review: {scan}" if scan else review


def _describe_state(state: str) -> tuple[str, str]:
    """Return name and meaning of a state of the set."""
    state = visible(state)
    meaning = f"Set on, {state[:_LONGEST_MEANING]}"
    return _MEANINGS.get(state, (state[:_LONGEST_STATE], meaning))


def _find_supply_voltage(pin: TablePin) -> str | None:
    """Return the highest voltage read at a supply pin, else the one in its function, else None."""
    quantities = [dc.quantity for dc in pin.dc.values() if dc.quantity.nominal]
    if quantities:
        return str(max(quantities, key=lambda quantity: abs(quantity.nominal)))
    match = re.search(r"([0-9]{1,6}(?:\.[0-9]{1,6})?) ?V\b", pin.texts.get("function", ""))
    return print_value(float(match[1]), "V") if match else None


def _quote(value: str) -> str:
    """Return a text as a YAML scalar that is valid in a block and between braces."""
    return _format_flow([value])[1:-1]


def _format_flow(value: Any) -> str:
    text = yaml.safe_dump(
        value, default_flow_style=True, allow_unicode=True, sort_keys=False, width=float("inf")
    )
    return str(text).strip()
