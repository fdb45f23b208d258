"""Can one chip stand in for another? Pin by pin, supplies, package, and what it would need.

Good for two part numbers and for two revisions of one chip file. Only what both files tell can be
compared; what could not be is listed, never passed over.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

from ...schema import Chip, Pin, parse_quantity
from ...schema.chips.expectation import ASSUMED_DC_PERCENT
from ..cards.chip_sheet import build_chip_sheet
from .difference import Difference
from .pin_differences import can_be_compared, differing_pins
from .same_function import same_function

Verdict = Literal["stands in", "stands in with changes", "does not"]

_ORDER: Final = ("stops", "change", "mind")
_SUPPLY_PERCENT: Final = 5.0  # taken where a supply has no limits: common practice
_HOLE_MM: Final = 0.3  # rows this far apart still go into the same holes
# Parts that set a frequency or a delay: with another value the chip does not run there.
_TUNED: Final = {"crystal": "Hz", "ceramic resonator": "Hz", "ceramic filter": "Hz"}
_TUNED_PERCENT: Final = 0.05
_MOST_NAMED: Final = 3


@dataclass(frozen=True)
class Comparison:
    """What there is to know before ``other`` goes into the holes of ``fitted``."""

    fitted: Chip
    """The chip that is in the set."""
    other: Chip
    """The chip that is to stand in for it."""
    differences: tuple[Difference, ...]
    """Differences, the gravest first, then by pin."""
    not_compared: tuple[str, ...]
    """What one of the two files does not tell."""

    @property
    def verdict(self) -> Verdict:
        """The answer, from the gravest difference."""
        weights = {difference.weight for difference in self.differences}
        if "stops" in weights:
            return "does not"
        return "stands in with changes" if "change" in weights else "stands in"

    @property
    def stands_in(self) -> bool:
        """True when it goes in as it is."""
        return self.verdict == "stands in"

    @property
    def same_pins(self) -> int:
        """How many pins there are without a difference that needs anything."""
        numbers = {d.pin for d in self.differences if d.weight != "mind"}
        there = {pin.number for pin in self.other.pins}
        return sum(pin.number in there - numbers for pin in self.fitted.pins)

    @property
    def sentence(self) -> str:
        """The verdict in one sentence."""
        count = f"{self.same_pins} of {len(self.fitted.pins)} pins agree"
        words = {
            "stands in": "stands in for",
            "stands in with changes": "stands in, with changes, for",
            "does not": "does not stand in for",
        }
        return f"{self.other.part} {words[self.verdict]} {self.fitted.part}: {count}."

    @property
    def cautions(self) -> tuple[str, ...]:
        """What can hurt in the set that the chip is changed in."""
        return build_chip_sheet(self.fitted).cautions

    def document(self) -> dict[str, Any]:
        """The comparison as plain data."""
        return {
            "fitted": self.fitted.part,
            "other": self.other.part,
            "verdict": self.verdict,
            "sentence": self.sentence,
            "pins": len(self.fitted.pins),
            "same_pins": self.same_pins,
            "differences": [difference.document() for difference in self.differences],
            "not_compared": list(self.not_compared),
            "cautions": list(self.cautions),
        }


def compare(fitted: Chip, other: Chip) -> Comparison:
    """Whether ``other`` can stand in for ``fitted``, and what that would need."""
    found = [
        *_package(fitted, other),
        *_job(fitted, other),
        *_supplies(fitted, other),
        *(d for one, also in _pairs(fitted, other) for d in differing_pins(one, also)),
        *_tuned_parts(fitted, other),
    ]
    found = [_where_it_went(d, fitted, other) for d in _once_for_all_conditions(found)]
    found.sort(key=lambda d: (_ORDER.index(d.weight), d.pin or 0))
    return Comparison(fitted, other, tuple(found), tuple(_not_compared(fitted, other)))


def _pairs(fitted: Chip, other: Chip) -> Iterator[tuple[Pin, Pin]]:
    there = {pin.number: pin for pin in other.pins}
    return ((pin, there[pin.number]) for pin in fitted.pins if pin.number in there)


def _package(fitted: Chip, other: Chip) -> Iterator[Difference]:
    here, there = fitted.package, other.package
    told = (here.name, there.name)
    if here.pins != there.pins:
        needs = f"another chip: {there.pins} legs do not go into {here.pins} holes"
        yield Difference("stops", "package", told, needs)
        return
    if here.family != there.family:
        yield Difference("change", "package", told, "an adapter board")
        return
    pitches, rows = (here.pitch_mm, there.pitch_mm), (here.row_spacing_mm, there.row_spacing_mm)
    if abs(pitches[0] - pitches[1]) > _HOLE_MM / 10:
        told = (f"pitch {pitches[0]:g} mm", f"{pitches[1]:g} mm")
        yield Difference("change", "package", told, "an adapter board")
    if abs(rows[0] - rows[1]) > _HOLE_MM:
        told = (f"rows {rows[0]:g} mm apart", f"{rows[1]:g} mm")
        yield Difference("change", "package", told, "an adapter, or legs bent with care")


def _job(fitted: Chip, other: Chip) -> Iterator[Difference]:
    """What it is, and the television systems it knows."""
    if fitted.kind != other.kind:
        told = (fitted.kind, other.kind)
        yield Difference("mind", "kind", told, "see that every function of the set is there")
    missing = [system for system in fitted.systems if system not in other.systems]
    if missing and other.systems:
        known = (", ".join(fitted.systems), ", ".join(other.systems))
        whole = len(missing) == len(fitted.systems)
        needs = f"another chip for {', '.join(missing)}"
        yield Difference("stops" if whole else "mind", "system", known, needs)


def _supplies(fitted: Chip, other: Chip) -> Iterator[Difference]:
    """Every supply pin of the other chip gets the voltage that the board has there."""
    board = {number: supply for supply in fitted.supplies for number in supply.pins}
    symbols = {pin.number: pin.symbol for pin in fitted.pins}
    for supply in other.supplies:
        low_v, high_v = supply.voltage.limits(_SUPPLY_PERCENT)
        for number in supply.pins:
            fed = board.get(number)
            if fed is not None and not low_v <= fed.voltage.nominal <= high_v:
                told = (f"{fed.name} {fed.voltage}", f"{supply.name} {supply.voltage}")
                needs = f"a supply of {supply.voltage} at this pin"
                yield Difference("change", "supply", told, needs, number, symbols.get(number, ""))
    yield from _current(fitted, other)


def _current(fitted: Chip, other: Chip) -> Iterator[Difference]:
    drawn = [[s.current for s in chip.supplies if s.current] for chip in (fitted, other)]
    if not all(drawn):
        return
    here_a, there_a = (sum(current.nominal for current in currents) for currents in drawn)
    if there_a > here_a * (1 + ASSUMED_DC_PERCENT / 100):
        told = (f"draws {here_a * 1e3:.3g} mA", f"{there_a * 1e3:.3g} mA")
        yield Difference("mind", "supply", told, "see what the regulator gives, and its heat")


def _tuned_parts(fitted: Chip, other: Chip) -> Iterator[Difference]:
    """Crystals, resonators and ceramic filters at the same pin with another frequency."""
    symbols = {pin.number: pin.symbol for pin in fitted.pins}
    here, there = _tuned_at(fitted), _tuned_at(other)
    for number in sorted(here.keys() & there.keys()):
        (hz, told_here), (other_hz, told_there) = here[number], there[number]
        if abs(hz - other_hz) > hz * _TUNED_PERCENT / 100:
            told, needs = (told_here, told_there), f"a {told_there}"
            yield Difference("change", "part", told, needs, number, symbols[number])


def _tuned_at(chip: Chip) -> dict[int, tuple[float, str]]:
    """For every pin with such a part: its frequency in hertz, and the part in words."""
    found: dict[int, tuple[float, str]] = {}
    for part in chip.application.parts:
        if part.kind in _TUNED and part.value is not None:
            hz = parse_quantity(part.value, _TUNED[part.kind]).nominal
            for pin in chip.pins:
                if f"pin {pin.number}" in part.joins:
                    found[pin.number] = hz, f"{part.kind} {part.value}"
    return found


def _once_for_all_conditions(found: list[Difference]) -> Iterator[Difference]:
    """A difference that shows the same in several conditions is told once, without condition."""
    plain = [replace(difference, condition=None) for difference in found]
    for place, difference in enumerate(found):
        if plain.count(plain[place]) == 1:
            yield difference
        elif plain.index(plain[place]) == place:
            yield plain[place]


def _where_it_went(difference: Difference, fitted: Chip, other: Chip) -> Difference:
    """A function that another pin has there is told with that pin."""
    pin = fitted.pin(difference.pin) if difference.pin is not None else None
    if difference.what != "function" or difference.weight != "stops" or pin is None:
        return difference
    there = [p for p in other.pins if p.role == pin.role and same_function(pin, p) == "same"]
    if not there:
        return difference
    named = " or ".join(f"{p.number} {p.symbol}" for p in there[:_MOST_NAMED])
    return replace(difference, needs=f"an adapter board: this is pin {named} there")


def _not_compared(fitted: Chip, other: Chip) -> Iterator[str]:
    blind = [pin.number for pin, also in _pairs(fitted, other) if not can_be_compared(pin, also)]
    if blind:
        names = ", ".join(map(str, blind))
        yield f"levels of pin {names}: no condition that both files tell of"
    if not other.systems and fitted.systems:
        yield f"television systems: the file of {other.part} names none"
    if not (all(s.current for s in fitted.supplies) and all(s.current for s in other.supplies)):
        yield "supply current: not told of every supply"
    if fitted.package.pins == other.package.pins and not fitted.application.parts:
        yield f"parts around the chip: the file of {fitted.part} tells of none"
