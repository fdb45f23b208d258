"""A first chip file from tables of pins: what was read with its source, the rest as blanks.

Every pin names the place it was read at, every DC voltage its source with page and row. What the
words only suggest is marked ``review``; what is missing stands as a blank with what to write; what
could not be read is listed at the end.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Final

import yaml
from pydantic import ValidationError

from ...schema.chips.package import Package
from ...schema.quantities import print_value
from ...schema.text import visible
from ...schema.vocabulary import KINDS
from ..chip_files.canonical_text import EXPLAINS, format_chip_file
from .pin_table import PinTable, Read, TablePin
from .role_guesses import suggested_role, suggested_waveform
from .text_table import Place, Unread

_LONGEST: Final = {"symbol": 80, "function": 2000}
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
_FAMILIES: Final = (
    ("SDIP", r"shrink (?:dual|dil|dip)|sdip|sdil"),
    ("SSOP", r"shrink small|ssop"),
    ("DIP", r"dual[- ]in|dip|dil"),
    ("SIP", r"single[- ]in|sip|sil"),
    ("ZIP", r"zig[- ]?zag|zip"),
    ("QFP", r"quad flat|qfp"),
    ("SO", r"small outline|sop?"),
)
_PART: Final = re.compile(r"\b(?=[A-Z0-9-]*[0-9]{2})(?=[0-9-]*[A-Z])[A-Z0-9][A-Z0-9-]{3,19}\b")


@dataclass(frozen=True)
class Identity:
    """What the chip is, as far as it is known; what is None becomes a blank."""

    part: str | None = None
    maker: str | None = None
    kind: str | None = None
    package: Package | None = None
    summary: str | None = None
    suggested: frozenset[str] = frozenset()
    """Names of those that were taken from the words of the sheet, not given."""


@dataclass(frozen=True)
class Origin:
    """What the tables come from."""

    id: str
    kind: str
    title: str


@dataclass(frozen=True)
class Draft:
    """The chip file, and what the tables held that is not in it."""

    text: str
    unread: tuple[Unread, ...]
    pins: int
    blanks: int
    """How many values have to be written by hand before the file is whole."""


def with_suggestions(identity: Identity, table: PinTable, stem: str) -> Identity:
    """Fill what is not known from the words around the tables, else from the file's name."""
    words = f"{table.title} {table.words}"
    part = _PART.search(table.title) or _PART.search(stem.upper()) or _PART.search(table.words)
    about = table.title or table.words[:200]
    title = " ".join(table.title.split()).strip(" -:,")
    guesses: dict[str, Any] = {
        "part": part[0] if part else None,
        "kind": next((kind for kind in KINDS if kind.lower() in about.lower()), None),
        "package": _package_in(words, max((pin.number for pin in table.pins), default=0)),
        "summary": title if len(title.split()) > 2 else None,
    }
    new = {k: v for k, v in guesses.items() if getattr(identity, k) is None and v is not None}
    return replace(identity, **new, suggested=frozenset(new))


def _package_in(words: str, most: int) -> Package | None:
    """The first package in the words that has room for the pins."""
    small = words.lower()
    for family, sign in _FAMILIES:
        before = rf"\b([0-9]{{1,3}})[- ](?:pin|lead)\w*\b[^.;]{{0,30}}\b(?:{sign})"
        pattern = rf"\b(?:{sign})[- ]?([0-9]{{1,3}})\b|{before}"
        for match in re.finditer(pattern, small):
            pins = int(match[1] or match[2])
            try:
                if pins >= most:
                    return Package.model_validate({"family": family, "pins": pins})
            except ValidationError:
                continue
    return None


def draft_chip(table: PinTable, identity: Identity, origin: Origin) -> Draft:
    """The chip file for the pins of ``table``, every value with where it was read."""
    writer = _Writer(table, identity, origin)
    lines = [*writer.head(), *writer.supplies(), *writer.states(), *writer.pins(), *writer.rest()]
    count = identity.package.pins if identity.package else len(table.pins)
    text = format_chip_file("\n".join(lines))
    return Draft(text, tuple(writer.unread), count, writer.blanks)


class _Writer:
    """Writes one draft part by part, counting the blanks."""

    def __init__(self, table: PinTable, identity: Identity, origin: Origin) -> None:
        self.blanks = 0
        self.unread = list(table.unread)
        self._table, self._identity, self._origin = table, identity, origin
        self._pins = self._all_pins()
        self._roles = {pin.number: _role(pin) for pin in self._pins}

    def head(self) -> Iterator[str]:
        """Who and what the chip is."""
        identity = self._identity
        yield f"# Drafted from {visible(self._origin.title)}: look over each 'review' and blank."
        yield "file_format: pinfolio chip 1"
        yield self._known("part", identity.part, "the part number")
        yield self._known("maker", identity.maker, "who makes or made it")
        yield self._known("kind", identity.kind, f"one of {', '.join(KINDS)}")
        summary = (
            identity.summary or f"{len(self._pins)}-pin chip, drafted from a table of its pins."
        )
        yield f"summary: {_yaml(visible(summary))}  # review: the chip in a sentence or two"
        if identity.package is None:
            self.blanks += 1
            yield f"package: {{family: , pins: {len(self._pins)}}}  {EXPLAINS} such as SDIP or QFP"
        else:
            stated = {"family": identity.package.family, "pins": identity.package.pins}
            review = "  # review: by the words of the source" * ("package" in identity.suggested)
            yield f"package: {_flow(stated)}{review}"

    def supplies(self) -> Iterator[str]:
        """A supply for each pin that seems to be one, with the voltage read there."""
        fed = [pin for pin in self._pins if self._roles[pin.number] == "supply"]
        if not fed:
            self.blanks += 1
            yield f"supplies:  {EXPLAINS} such as - {{name: VCC, pins: [9], voltage: 8 V ± 5 %}}"
            return
        yield "supplies:  # review"
        for pin in fed:
            name = _yaml(pin.texts.get("symbol", f"VCC{pin.number}"))
            voltage = _supply_voltage(pin)
            self.blanks += voltage is None
            rest = (
                f"voltage: {_yaml(voltage)}}}"
                if voltage
                else f"voltage: }}  {EXPLAINS} such as 8 V"
            )
            yield f"  - {{name: {name}, pins: [{pin.number}], {rest}"

    def states(self) -> Iterator[str]:
        """The source, and the states of the set that the values hold in."""
        origin = self._origin
        stated = {"id": origin.id, "kind": origin.kind, "title": visible(origin.title)}
        yield f"sources:\n  - {_flow(stated)}  # review: kind, title, revision, date"
        yield "conditions:  # review: how to bring the set into each"
        states = dict.fromkeys(state for pin in self._pins for state in pin.dc)
        for state in states or ("no signal",):
            name, means = _state(state)
            yield f"  - {_flow({'name': name, 'means': means})}"

    def pins(self) -> Iterator[str]:
        """The pins, each with where it was read."""
        yield "pins:"
        seen: set[str] = set()
        for pin in self._pins:
            yield from self._pin(pin, seen)

    def rest(self) -> Iterator[str]:
        """What could not be read."""
        if self.unread:
            yield "# Not read; see to each by hand:"
        for unread in self.unread:
            yield f"#   {visible(str(unread))}"

    def _all_pins(self) -> list[TablePin]:
        """The pins read and, where the package is known, the ones of it that are missing."""
        pins = {pin.number: pin for pin in self._table.pins}
        count = self._identity.package.pins if self._identity.package else max(pins)
        for number in range(1, count + 1):
            if number not in pins:
                self.unread.append(Unread(None, f"pin {number}", "in none of the tables"))
                pins[number] = TablePin(number, Place(0))
        return [pins[number] for number in sorted(pins)]

    def _pin(self, pin: TablePin, seen: set[str]) -> Iterator[str]:
        place = str(pin.at) if pin.at.row else "in none of the tables"
        yield f"  - number: {pin.number}  # {place}"
        symbol, note = self._text(pin, "symbol"), ""
        if symbol.upper() in seen:
            note, symbol = f"  # review: {visible(symbol)} in the source", f"{symbol}{pin.number}"
        seen.add(symbol.upper())
        yield self._known("symbol", symbol, "its short name", "    ") + note
        yield self._known("function", self._text(pin, "function"), "what it does", "    ")
        role = self._roles[pin.number]
        said = pin.texts.get("role", "").strip().lower() == role
        review = "" if said or role is None else "  # review: suggested by the words"
        yield (
            self._known(
                "role", role, "what sort of pin: input, output, control, filter ...", "    "
            )
            + review
        )
        kind = suggested_waveform(pin.texts.get("symbol", ""), pin.texts.get("function", ""), role)
        if kind:
            yield f"    # review: the words suggest a waveform of kind '{kind}'"
        for key in ("absolute_maximum", "resistance", "capacitance"):
            if key in pin.quantities:
                yield f"    {key}: {_yaml(str(pin.quantities[key]))}"
        if pin.dc:
            yield "    expectations:"
        for state, read in pin.dc.items():
            yield from self._expectation(state, read)

    def _expectation(self, state: str, read: Read) -> Iterator[str]:
        yield f"      - condition: {_yaml(_state(state)[0])}"
        yield f"        dc: {_yaml(str(read.quantity))}"
        source: dict[str, Any] = {"id": self._origin.id}
        if read.at.page is not None:
            source["page"] = read.at.page
        yield f"        source: {_flow({**source, 'note': f'row {read.at.row}'})}"
        if read.mark:
            told = self._table.footnotes.get(read.mark, "its text was not found")
            yield f"        note: {_yaml(visible(f'Footnote {read.mark} of the source: {told}'))}"

    def _text(self, pin: TablePin, key: str) -> str:
        """The text, or nothing (and a line in the list) where it is too long to be one."""
        text = visible(pin.texts.get(key, ""))
        if len(text) > _LONGEST[key]:
            self.unread.append(Unread(pin.at, text[:60] + "…", f"too long for a {key}"))
            return ""
        return text

    def _known(self, key: str, value: str | None, blank: str, indent: str = "") -> str:
        """A line with the value, or a blank with what to write."""
        if not value:
            self.blanks += 1
            return f"{indent}{key}:  {EXPLAINS} {blank}"
        review = "  # review: by the words of the source" * (key in self._identity.suggested)
        return f"{indent}{key}: {_yaml(visible(value))}{review if not indent else ''}"


def _role(pin: TablePin) -> str | None:
    symbol, function, said = (pin.texts.get(key, "") for key in ("symbol", "function", "role"))
    return suggested_role(symbol, function, said)


def _state(state: str) -> tuple[str, str]:
    """Name and meaning of a state of the set."""
    state = visible(state)
    return _MEANINGS.get(state, (state[:80], f"Set on, {state[:200]}"))


def _supply_voltage(pin: TablePin) -> str | None:
    """The voltage at a supply pin: the highest that was read there, else what its words say."""
    read = [r.quantity for r in pin.dc.values() if r.quantity.nominal]
    if read:
        return str(max(read, key=lambda quantity: abs(quantity.nominal)))
    said = re.search(r"([0-9]+(?:\.[0-9]+)?) ?V\b", pin.texts.get("function", ""))
    return print_value(float(said[1]), "V") if said else None


def _yaml(value: str) -> str:
    """A text as a scalar that stands in a block and between braces."""
    return _flow([value])[1:-1]


def _flow(value: Any) -> str:
    text = yaml.safe_dump(
        value, default_flow_style=True, allow_unicode=True, sort_keys=False, width=float("inf")
    )
    return str(text).strip()
