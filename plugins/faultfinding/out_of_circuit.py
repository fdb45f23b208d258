"""A part measured out of circuit, one lead lifted: good, or how it has failed.

Common practice.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from ...schema import Chip, Part, QuantityError, parse_quantity, print_value
from ...schema.reading import BadReading
from ..readings.part_reading import PART_OUTCOMES, WORDS
from .elements import CAPACITIVE, RESISTIVE
from .hypotheses import Hypothesis
from .points import OUT_OF_CIRCUIT, Point

# How far a part may be off that still does: its tolerance where it is stated, else by kind.
_TOLERANCE: Final = {
    "electrolytic capacitor": (0.3, 0.6),
    "trimmer capacitor": (0.6, 0.6),
    "potentiometer": (0.25, 0.25),
    "resistor": (0.1, 0.1),
    "coil": (0.25, 0.25),
    "crystal": (2e-4, 2e-4),
    "ceramic resonator": (5e-3, 5e-3),
    "ceramic filter": (0.02, 0.02),
}
_ORDINARY: Final = (0.2, 0.2)
_UNITS: Final = {
    **dict.fromkeys(CAPACITIVE, "F"),
    **dict.fromkeys(RESISTIVE, "Ω"),
    **dict.fromkeys(("crystal", "ceramic resonator", "ceramic filter"), "Hz"),
    "coil": "H",
}
_NOTHING: Final = 0.05  # of its value: a capacitor that is open, a resistor that is shorted
_FAR_BEYOND: Final = 50.0  # times its value: a resistor that is open
# What the test shows of a part that failed so, in shares; and how sure it is.
_SHOWN: Final[dict[str, dict[str, float]]] = {
    "open": {"open": 1.0},
    "joint open": {"good": 1.0},
    "shorted": {"shorted": 1.0},
    "leaky": {"leaky": 0.9, "good": 0.1},
    "dried out": {"value too low": 0.85, "leaky": 0.05, "good": 0.1},
    "drifted up": {"value too high": 0.9, "open": 0.1},
    "shorted turns": {"value too low": 0.6, "good": 0.4},
    "dead": {"open": 1.0},
    "off frequency": {"off frequency": 0.9, "good": 0.1},
}
SURE: Final = 0.97


def outcome_of(part: Part, found: str) -> tuple[str, str]:
    """How a part turned out, and why. Raises BadReading where a value is not one of its kind."""
    if found in WORDS:
        return WORDS[found], f"found {found}"
    unit = _UNITS.get(part.kind)
    try:
        value = parse_quantity(found, unit).nominal if unit is not None else None
    except QuantityError:
        value = None
    if value is None or part.quantity is None:
        words = ", ".join(PART_OUTCOMES)
        value_too = f", or the value it measures, such as {part.value}" if unit else ""
        raise BadReading(f"{part.ref}: found {found!r}, expected one of {words}{value_too}")
    return _by_value(part, value, part.quantity.nominal)


def _by_value(part: Part, value: float, marked: float) -> tuple[str, str]:
    unit = _UNITS[part.kind]
    low, high = (marked * share for share in _share(part))
    shown = {"F": 3, "Hz": 7}.get(unit, 3)
    span = f"{print_value(low, unit, shown)} to {print_value(high, unit, shown)}"
    told = f"{print_value(value, unit, shown)}, {span} is good"
    if low <= value <= high:
        return "good", told
    if unit == "Hz":
        return "off frequency", told
    if value < _NOTHING * marked:
        return ("open" if unit == "F" else "shorted"), told
    if unit == "Ω" and value > _FAR_BEYOND * marked:
        return "open", told
    return ("value too low" if value < low else "value too high"), told


def _share(part: Part) -> tuple[float, float]:
    """The least and the most a good one measures, in shares of its value."""
    below, above = _TOLERANCE.get(part.kind, _ORDINARY)
    if part.tolerance is not None:
        below = above = part.tolerance.nominal / 100
    return 1 - below, 1 + above


def points(chip: Chip) -> Iterator[Point]:
    """The parts that can be lifted and measured; a plug is looked at, not measured."""
    for part in chip.application.parts:
        if part.kind != "connector":
            yield Point(part.ref, OUT_OF_CIRCUIT)


def upset_by(hypothesis: Hypothesis) -> dict[Point, dict[str, float]]:
    """What the test of the suspect part shows; every other part is good."""
    shares = _SHOWN.get(hypothesis.failure.split(",")[0])
    if hypothesis.sort != "part" or shares is None:
        return {}
    return {Point(hypothesis.what, OUT_OF_CIRCUIT): shares}
