"""The verdict on a resistance with the set off, between any two points of the drawing.

Simulated good boards tell the resistance that the parts and the chip make there. They leave out the
junctions, which are named beside it: an ohmmeter reads less through them with its leads one way.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from ....schema import Chip, Part, Pin, print_value
from ....schema.chips.limits import find_limits
from ....schema.chips.usual_faults import describe_endpoint
from ....schema.model import pin_number
from ...readings.verdict import AS_EXPECTED, CANNOT_TELL
from ..evidence.observations import Resistance
from ..weighing.known_board import KnownBoard
from ..weighing.resistances import list_good_ohms

TOO_LOW, TOO_HIGH = "too low", "too high"
_GROUND: Final = "ground"
_JUNCTIONS: Final = ("diode", "zener diode", "transistor")
_CARRYING: Final = ("resistor", "coil", "potentiometer", *_JUNCTIONS)
_MOST_PARTS: Final = 3  # of a path: a longer one adds little beside the others
_DIGITS: Final = 2
_NOTHING_OHM: Final = 5e6  # more is as good as open, to an ordinary meter. Common practice.
_SLACK: Final = 0.15  # beyond the good boards that were drawn: more may be good as well
# Through a junction an ordinary ohmmeter reads some hundred ohms or more. Common practice.
_LEAST_JUNCTION_OHM: Final = 200.0


@dataclass(frozen=True)
class ResistanceCheck:
    """A resistance that was read, the span of good boards, and the verdict."""

    reading: Resistance
    low_ohm: float
    high_ohm: float
    verdict: str
    why: tuple[str, ...]

    @property
    def span(self) -> str:
        """The span of good boards in words."""
        low, high = (print_value(ohm, "Ω", _DIGITS) for ohm in (self.low_ohm, self.high_ohm))
        if self.low_ohm >= _NOTHING_OHM:
            return f"more than {print_value(_NOTHING_OHM, 'Ω', _DIGITS)}"
        return f"more than {low}" if self.high_ohm >= _NOTHING_OHM else f"{low} to {high}"

    def document(self, part: str) -> dict[str, Any]:
        """Return the check as plain data; ``part`` is the chip's number."""
        return {
            "part": part,
            "at": self.reading.first,
            "to": self.reading.second,
            "quantity": "resistance",
            "reading": print_value(self.reading.ohm, "Ω"),
            "expected": self.span,
            "verdict": self.verdict,
            "why": list(self.why),
        }


def check_resistances(
    board: KnownBoard, readings: tuple[Resistance, ...]
) -> tuple[ResistanceCheck, ...]:
    """Return the check of each resistance, in the order of the readings."""
    good_ohms = list_good_ohms(board, readings)  # readings x draws
    checks = []
    for reading, ohms in zip(readings, good_ohms, strict=True):
        stated = _find_stated_span(board.chip, reading)
        drawn = float(ohms.min()) * (1 - _SLACK), float(ohms.max()) * (1 + _SLACK)
        checks.append(_check(board.chip, reading, stated or drawn))
    return tuple(checks)


def _check(chip: Chip, reading: Resistance, span_ohm: tuple[float, float]) -> ResistanceCheck:
    low, high = span_ohm
    paths = list(dict.fromkeys(list_junctions(chip, reading.first, reading.second)))
    why: tuple[str, ...] = (f"Junctions lie between them: {'; '.join(paths)}.",) if paths else ()
    verdict = AS_EXPECTED
    if reading.ohm > high and high < _NOTHING_OHM:
        verdict = TOO_HIGH
    elif reading.ohm < min(low, _NOTHING_OHM):
        verdict = TOO_LOW
        if paths and reading.ohm > _LEAST_JUNCTION_OHM:
            verdict = CANNOT_TELL
            why += ("A junction conducts one way: read it with the leads the other way round.",)
    return ResistanceCheck(reading, low, high, verdict, why)


def _find_stated_span(chip: Chip, reading: Resistance) -> tuple[float, float] | None:
    """Return the limits that the chip file states; None between two points besides ground."""
    number = pin_number(reading.first)
    pin = chip.pin(number) if number is not None else None
    if pin is None or reading.second != _GROUND:
        return None
    for expectation in pin.expectations:
        limits = find_limits(pin, expectation).get("resistance")
        if limits is not None:
            return limits.low, limits.high
    return None


def list_junction_parts(chip: Chip) -> frozenset[str]:
    """Return the parts that have a diode or transistor beside them, or are one.

    An ohmmeter across one of them may read the junction.
    """
    return frozenset(
        part.ref
        for part in chip.application.parts
        if part.kind in _JUNCTIONS or _has_junction_across(chip, part)
    )


def _has_junction_across(chip: Chip, part: Part) -> bool:
    """Return whether a way through a junction joins the two leads of a part."""
    if len(part.joins) != 2:
        return False
    paths = _walk_paths(chip, *part.joins, ())
    return any(other.kind in _JUNCTIONS for path in paths for other in path)


def list_junctions(chip: Chip, first: str, second: str) -> Iterator[str]:
    """Yield the ways from one point to another through a junction, in words.

    A diode, zener diode or transistor lies on each, with at most two other parts; or the chip's own
    diodes from a pin to ground.
    """
    for path in _walk_paths(chip, first, second, ()):
        if any(part.kind in _JUNCTIONS for part in path):
            yield " and ".join(_name_junction(part) for part in path)
    for end, other in ((first, second), (second, first)):
        number = pin_number(end)
        pin = chip.pin(number) if number is not None else None
        if pin is not None and other == _GROUND and _has_diodes(pin):
            yield f"the chip's own diodes at {describe_endpoint(chip, end)}"


def _walk_paths(
    chip: Chip, at: str, goal: str, behind: tuple[Part, ...]
) -> Iterator[tuple[Part, ...]]:
    """Yield the paths of parts from one point to another that pass neither ground nor a pin."""
    for part in chip.application.parts:
        if part.kind not in _CARRYING or at not in part.joins or part in behind:
            continue
        path = (*behind, part)
        for end in part.joins:
            if end == goal:
                yield path
            elif end not in (at, _GROUND) and pin_number(end) is None and len(path) < _MOST_PARTS:
                yield from _walk_paths(chip, end, goal, path)


def _name_junction(part: Part) -> str:
    return f"{part.kind} {part.ref}" if part.kind in _JUNCTIONS else part.ref


def _has_diodes(pin: Pin) -> bool:
    """Return whether the chip clamps a pin to its rails by diodes. Common practice."""
    return pin.role not in ("supply", "ground", "unused")
