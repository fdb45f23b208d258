"""Compare two chips: can one stand in for the other, and with which changes?

The two may be part numbers or revisions of one chip file. Only values that both files state can be
compared; the rest is listed as not compared, and a chip stands in only if levels, thresholds,
impedances, waveform levels and loads were.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

from ...schema import Chip, Pin, parse_quantity
from ...schema.chips.data import Supply
from ...schema.chips.expectation import ASSUMED_DC_PERCENT
from ..cards.chip_sheet import build_chip_sheet
from .comparison_gaps import Gap, list_gaps
from .difference import Difference, Weight
from .parameter_differences import compare_parameters
from .pin_differences import compare_pins
from .same_function import compare_functions

Verdict = Literal["stands in", "stands in with changes", "may stand in", "does not"]

_ORDER: Final = ("stops", "change", "mind")
_SUPPLY_PERCENT: Final = 5.0  # where a supply states no limits: common practice
# A regulator is chosen with about this room: common practice.
_OVERLOAD: Final = 1.5
_HOLE_MM: Final = 0.3  # rows off by this much still fit the same holes
_PITCH_MM: Final = _HOLE_MM / 10  # an error of pitch adds up along a row
# Parts that set a frequency: with another value the chip runs elsewhere.
_TUNED: Final = {"crystal": "Hz", "ceramic resonator": "Hz", "ceramic filter": "Hz"}
_TUNED_PERCENT: Final = 0.05
_MOST_NAMED: Final = 3


@dataclass(frozen=True)
class Comparison:
    """The differences to know before ``other`` replaces ``fitted``."""

    fitted: Chip
    """The chip in the set."""
    other: Chip
    """The chip that is to replace it."""
    differences: tuple[Difference, ...]
    """Differences, most serious first, then by pin."""
    gaps: tuple[Gap, ...]
    """Values that one of the two files does not state, or neither."""

    @property
    def not_compared(self) -> tuple[str, ...]:
        """The values that were not compared, in words."""
        return tuple(gap.text for gap in self.gaps)

    @property
    def verdict(self) -> Verdict:
        """The answer, from the most serious difference and the values that are missing."""
        weights = {difference.weight for difference in self.differences}
        if "stops" in weights:
            return "does not"
        if any(gap.decisive for gap in self.gaps):
            return "may stand in"
        return "stands in with changes" if "change" in weights else "stands in"

    @property
    def stands_in(self) -> bool:
        """Whether it fits without changes, as far as every value that matters was compared."""
        return self.verdict == "stands in"

    @property
    def same_pins(self) -> int:
        """Number of pins without a difference that needs a change."""
        numbers = {d.pin for d in self.differences if d.weight != "mind"}
        present = {pin.number for pin in self.other.pins}
        return sum(pin.number in present - numbers for pin in self.fitted.pins)

    @property
    def sentence(self) -> str:
        """The verdict in one sentence."""
        count = f"{self.same_pins} of {len(self.fitted.pins)} pins agree"
        if self.verdict == "may stand in":
            count += " as far as compared; see the values not compared"
        words = {
            "stands in": "stands in for",
            "stands in with changes": "stands in, with changes, for",
            "may stand in": "may stand in for",
            "does not": "does not stand in for",
        }
        return f"{self.other.part} {words[self.verdict]} {self.fitted.part}: {count}."

    @property
    def cautions(self) -> tuple[str, ...]:
        """Cautions for work on the set."""
        return build_chip_sheet(self.fitted).cautions

    def select_differences(self, weight: Weight) -> list[Difference]:
        """Return the differences of one weight, in order."""
        return [difference for difference in self.differences if difference.weight == weight]

    def document(self) -> dict[str, Any]:
        """Return the comparison as plain data."""
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
    """Return whether ``other`` can stand in for ``fitted``, and with which changes."""
    differences = [
        *_compare_packages(fitted, other),
        *_compare_kinds(fitted, other),
        *_compare_supplies(fitted, other),
        *(d for pins in _pair_pins(fitted, other) for d in compare_pins(*pins)),
        *compare_parameters(fitted, other),
        *_compare_tuned_parts(fitted, other),
    ]
    differences = [_name_other_pin(d, fitted, other) for d in _merge_conditions(differences)]
    differences.sort(key=lambda d: (_ORDER.index(d.weight), d.pin or 0))
    return Comparison(fitted, other, tuple(differences), tuple(list_gaps(fitted, other)))


def _pair_pins(fitted: Chip, other: Chip) -> Iterator[tuple[Pin, Pin]]:
    there = {pin.number: pin for pin in other.pins}
    return ((pin, there[pin.number]) for pin in fitted.pins if pin.number in there)


def _compare_packages(fitted: Chip, other: Chip) -> Iterator[Difference]:
    """Yield the differences of number of pins, family, pitch and rows; none where both fit."""
    fitted_package, other_package = fitted.package, other.package
    names = (fitted_package.name, other_package.name)
    # With other numbers of pins, or another family, pitch and rows need no comparison.
    if fitted_package.pins != other_package.pins:
        needs = (
            f"another chip: {other_package.pins} legs do not go into {fitted_package.pins} holes"
        )
        yield Difference("stops", "package", names, needs)
        return
    if fitted_package.family != other_package.family:
        yield Difference("change", "package", names, "an adapter board")
        return
    fitted_pitch_mm, other_pitch_mm = fitted_package.pitch_mm, other_package.pitch_mm
    if abs(fitted_pitch_mm - other_pitch_mm) > _PITCH_MM:
        pitches = (f"pitch {fitted_pitch_mm:g} mm", f"{other_pitch_mm:g} mm")
        yield Difference("change", "package", pitches, "an adapter board")
    fitted_rows_mm, other_rows_mm = fitted_package.row_spacing_mm, other_package.row_spacing_mm
    if abs(fitted_rows_mm - other_rows_mm) > _HOLE_MM:
        spacings = (f"rows {fitted_rows_mm:g} mm apart", f"{other_rows_mm:g} mm")
        yield Difference("change", "package", spacings, "an adapter, or legs bent with care")


def _compare_kinds(fitted: Chip, other: Chip) -> Iterator[Difference]:
    """Yield differences of kind and television systems."""
    if fitted.kind != other.kind:
        sides = (fitted.kind, other.kind)
        yield Difference("mind", "kind", sides, "see that every function of the set is there")
    missing = [system for system in fitted.systems if system not in other.systems]
    if missing and other.systems:
        known = (", ".join(fitted.systems), ", ".join(other.systems))
        lacks_all = len(missing) == len(fitted.systems)
        needs = f"another chip for {', '.join(missing)}"
        yield Difference("stops" if lacks_all else "mind", "system", known, needs)


def _compare_supplies(fitted: Chip, other: Chip) -> Iterator[Difference]:
    """Yield supply pins of the other chip to which the board does not give their voltage."""
    board_supply_at = {number: supply for supply in fitted.supplies for number in supply.pins}
    symbol_of = {pin.number: pin.symbol for pin in fitted.pins}
    for supply in other.supplies:
        low_v, high_v = supply.voltage.limits(_SUPPLY_PERCENT)
        for number in supply.pins:
            board_supply = board_supply_at.get(number)
            # A supply where the board has a signal is a difference of role.
            if board_supply is None:
                continue
            symbol = symbol_of.get(number, "")
            if not low_v <= board_supply.voltage.nominal <= high_v:
                sides = (
                    f"{board_supply.name} {board_supply.voltage}",
                    f"{supply.name} {supply.voltage}",
                )
                needs = f"a supply of {supply.voltage} at this pin"
                yield Difference("change", "supply", sides, needs, number, symbol)
            elif _overloads(board_supply, supply):
                sides = (
                    f"{board_supply.name} {board_supply.current}",
                    f"{supply.name} {supply.current}",
                )
                needs = "a supply that can give this current"
                yield Difference("change", "load", sides, needs, number, symbol)
    yield from _compare_currents(fitted, other)


def _overloads(fed: Supply, supply: Supply) -> bool:
    """Return whether a supply draws so much more than the board was made for."""
    if fed.current is None or supply.current is None:
        return False
    return supply.current.nominal > fed.current.nominal * _OVERLOAD


def _compare_currents(fitted: Chip, other: Chip) -> Iterator[Difference]:
    currents_drawn = [[s.current for s in chip.supplies if s.current] for chip in (fitted, other)]
    if not all(currents_drawn):
        return
    here_a, there_a = (sum(current.nominal for current in currents) for currents in currents_drawn)
    if there_a > here_a * (1 + ASSUMED_DC_PERCENT / 100):
        sides = (f"draws {here_a * 1e3:.3g} mA", f"{there_a * 1e3:.3g} mA")
        yield Difference("mind", "supply", sides, "see what the regulator gives, and its heat")


def _compare_tuned_parts(fitted: Chip, other: Chip) -> Iterator[Difference]:
    """Yield crystals, resonators and ceramic filters of another frequency at the same pin."""
    symbols = {pin.number: pin.symbol for pin in fitted.pins}
    here, there = _find_tuning(fitted), _find_tuning(other)
    for number in sorted(here.keys() & there.keys()):
        (hz, part_here), (other_hz, part_there) = here[number], there[number]
        if abs(hz - other_hz) > hz * _TUNED_PERCENT / 100:
            sides, needs = (part_here, part_there), f"a {part_there}"
            yield Difference("change", "part", sides, needs, number, symbols[number])


def _find_tuning(chip: Chip) -> dict[int, tuple[float, str]]:
    """Return, for each pin with such a part, its frequency in hertz and the part in words."""
    tuned: dict[int, tuple[float, str]] = {}
    for part in chip.application.parts:
        if part.kind in _TUNED and part.value is not None:
            hz = parse_quantity(part.value, _TUNED[part.kind]).nominal
            for pin in chip.pins:
                if f"pin {pin.number}" in part.joins:
                    tuned[pin.number] = hz, f"{part.kind} {part.value}"
    return tuned


def _merge_conditions(differences: list[Difference]) -> Iterator[Difference]:
    """Yield each difference once; one that shows in several conditions loses its condition."""
    plain = [replace(difference, condition=None) for difference in differences]
    for index, difference in enumerate(differences):
        if plain.count(plain[index]) == 1:
            yield difference
        elif plain.index(plain[index]) == index:
            yield plain[index]


def _name_other_pin(difference: Difference, fitted: Chip, other: Chip) -> Difference:
    """Return a missing function's difference with the pin that has the function instead."""
    pin = fitted.pin(difference.pin) if difference.pin is not None else None
    if difference.aspect != "function" or difference.weight != "stops" or pin is None:
        return difference
    same_pins = [
        p for p in other.pins if p.role == pin.role and compare_functions(pin, p) == "same"
    ]
    if not same_pins:
        return difference
    named = " or ".join(f"{p.number} {p.symbol}" for p in same_pins[:_MOST_NAMED])
    return replace(difference, needs=f"an adapter board: this is pin {named} there")
