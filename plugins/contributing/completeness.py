"""How complete a chip is, and what would bring it furthest.

What a card needs to be of use is counted, one point each: DC of every pin in every condition,
resistances where a condition is for the ohmmeter, a waveform where signals pass, the absolute
maximum, a part at the pin, a block that uses it, and where each value was read.
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
"""What is looked for, and whether it is there."""


@dataclass(frozen=True)
class Gap:
    """Something that is missing: what, how often, and how many percent it would bring."""

    what: str
    missing: int
    raises_percent: float


@dataclass(frozen=True)
class Completeness:
    """Share of the points that are there, in percent, and the gaps, the greatest first."""

    percent: float
    gaps: tuple[Gap, ...]

    def document(self) -> dict[str, Any]:
        """As JSON: the figure, and each gap with what it would bring."""
        return {"percent": self.percent, "gaps": [vars(gap) for gap in self.gaps]}


def completeness(chip: Chip) -> Completeness:
    """The figure of one chip."""
    points = [*_readings(chip), *_surroundings(chip), *_origins(chip)]
    missing = Counter(what for what, there in points if not there)
    gaps = (Gap(w, n, round(100 * n / len(points), 1)) for w, n in missing.most_common())
    return Completeness(round(100 * (1 - missing.total() / len(points)), 1), tuple(gaps))


def _readings(chip: Chip) -> Iterator[Point]:
    """DC or resistance in each condition, and a waveform in one of them."""
    used = [pin for pin in chip.pins if pin.role != "unused"]
    for condition in chip.conditions:
        shown = [pin.expectation(condition.name) for pin in used]
        ohms = _is_for_ohms([e for e in shown if e is not None])
        values = [e and (e.resistance if ohms else e.dc) for e in shown]
        known = sum(value is not None for value in values)
        if known == 0 or known > len(used) / 2:  # else it is for a few pins only
            what = f"{'resistance' if ohms else 'DC'} in '{condition.name}'"
            yield from ((what, value is not None) for value in values)
    for pin in used:
        if pin.role in _SIGNAL_ROLES:
            there = any(e.waveform is not None for e in pin.expectations)
            yield "a waveform where signals pass (kind: steady where none does)", there


def _is_for_ohms(shown: list[Expectation]) -> bool:
    """Whether a condition is for the ohmmeter: resistances are known there, and no DC."""
    return any(e.resistance is not None for e in shown) and all(e.dc is None for e in shown)


def _surroundings(chip: Chip) -> Iterator[Point]:
    """The absolute maximum, the parts around, the blocks inside, and the cautions."""
    joined = {pin_number(end) for part in chip.application.parts for end in part.joins}
    inside = {
        pin_number(end)
        for block in chip.blocks
        for end in (*block.inputs, *block.outputs, *block.needs)
    }
    for pin in _not_quiet(chip):
        yield "an absolute maximum", pin.absolute_maximum is not None
        yield "a part at the pin", pin.number in joined
        yield "a block that uses the pin", pin.number in inside
    yield "what can hurt, under hazards", bool(chip.hazards)


def _not_quiet(chip: Chip) -> list[Pin]:
    return [pin for pin in chip.pins if pin.role not in _QUIET_ROLES]


def _origins(chip: Chip) -> Iterator[Point]:
    """Values from a data sheet with their place in it, measured ones with the number of sets."""
    kinds = {source.id: source.kind for source in chip.sources}
    for _, expectation in walk_expectations(chip):
        source = expectation.source
        if kinds[source.id] == "data sheet":
            yield "the page of the source", source.page is not None or source.note is not None
        elif kinds[source.id] == "measured":
            yield "the number of sets measured", source.sets is not None
