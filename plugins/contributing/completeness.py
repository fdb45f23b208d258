"""Measure how complete a chip file is, and which gaps matter most.

A useful card needs, one point each: DC of every pin in every condition, resistances where a
condition is for the ohmmeter, a waveform where signals pass, the absolute maximum, a part at the
pin, a block that uses it, and the place where each value was read.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from ...schema import Chip, Expectation, Pin
from ...schema.chips.places import walk_expectations
from ...schema.model import pin_number

_SIGNAL_ROLES: Final = frozenset({"input", "output", "oscillator"})
_QUIET_ROLES: Final = frozenset({"ground", "unused"})

Point = tuple[str, bool]
"""A wanted value, and whether the file has it."""


@dataclass(frozen=True)
class Gap:
    """A missing sort of value: its name, its number, the percent it would add."""

    what: str
    missing: int
    raises_percent: float


@dataclass(frozen=True)
class Completeness:
    """Percent of the wanted values that the file has, and the gaps, largest first."""

    percent: float
    gaps: tuple[Gap, ...]

    def document(self) -> dict[str, Any]:
        """Return the figure and the gaps as plain data."""
        return {"percent": self.percent, "gaps": [vars(gap) for gap in self.gaps]}


def measure_completeness(chip: Chip) -> Completeness:
    """Return the completeness of one chip."""
    points = [*_check_readings(chip), *_check_surroundings(chip), *_check_origins(chip)]
    missing = Counter(name for name, present in points if not present)
    gaps = (
        Gap(name, count, round(100 * count / len(points), 1))
        for name, count in missing.most_common()
    )
    return Completeness(round(100 * (1 - missing.total() / len(points)), 1), tuple(gaps))


def list_unmeasured(chip: Chip) -> list[int]:
    """Return the numbers of the pins of which nothing is known yet."""
    return [pin.number for pin in chip.pins if pin.symbol == f"?{pin.number}"]


def _check_readings(chip: Chip) -> Iterator[Point]:
    """Yield DC or resistance in each condition, and a waveform in one of them."""
    used_pins = [pin for pin in chip.pins if pin.role != "unused"]
    for condition in chip.conditions:
        expectations = [pin.expectation(condition.name) for pin in used_pins]
        is_for_ohms = _is_for_ohms([stated for stated in expectations if stated is not None])
        key, name = ("resistance", "resistance") if is_for_ohms else ("dc", "DC")
        is_stated = [getattr(stated, key, None) is not None for stated in expectations]
        stated_count = sum(is_stated)
        # A condition with values for a few pins only was measured at those alone.
        if stated_count == 0 or stated_count > len(used_pins) / 2:
            yield from ((f"{name} in '{condition.name}'", stated) for stated in is_stated)
    for pin in used_pins:
        if pin.role in _SIGNAL_ROLES:
            has_waveform = any(e.waveform is not None for e in pin.expectations)
            yield "a waveform where signals pass (kind: steady where none does)", has_waveform


def _is_for_ohms(shown: list[Expectation]) -> bool:
    """Return whether a condition is for the ohmmeter: it has resistances and no DC."""
    return any(e.resistance is not None for e in shown) and all(e.dc is None for e in shown)


def _check_surroundings(chip: Chip) -> Iterator[Point]:
    """Yield the absolute maximum, the parts around, the blocks inside, and the cautions."""
    joined = {pin_number(end) for part in chip.application.parts for end in part.joins}
    inside = {
        pin_number(end)
        for block in chip.blocks
        for end in (*block.inputs, *block.outputs, *block.needs)
    }
    for pin in _list_active_pins(chip):
        yield "an absolute maximum", pin.absolute_maximum is not None
        yield "a part at the pin", pin.number in joined
        yield "a block that uses the pin", pin.number in inside
    yield "what can hurt, under hazards", bool(chip.hazards)


def _list_active_pins(chip: Chip) -> list[Pin]:
    return [pin for pin in chip.pins if pin.role not in _QUIET_ROLES]


def _check_origins(chip: Chip) -> Iterator[Point]:
    """Yield the page of data-sheet values, and the number of sets of measured ones."""
    kinds = {source.id: source.kind for source in chip.sources}
    for _, expectation in walk_expectations(chip):
        source = expectation.source
        if kinds[source.id] == "data sheet":
            yield "the page of the source", source.page is not None or source.note is not None
        elif kinds[source.id] == "measured":
            yield "the number of sets measured", source.sets is not None
