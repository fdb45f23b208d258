"""Find a pin or a condition of a chip by the name a user types."""

from __future__ import annotations

from collections.abc import Sequence

from ..errors import Unknown
from .data import ChipData, Pin
from .expectation import Expectation


class UnknownPin(Unknown):
    """The chip has no such pin; the message names the nearest."""


class UnknownCondition(Unknown):
    """The chip file knows no such condition; the message names those it knows."""


def find_pin(chip: ChipData, name: str) -> Pin:
    """Return the pin with this number or symbol; raise UnknownPin naming the nearest."""
    pin = chip.pin(name)
    if pin is None:
        symbols = [p.symbol for p in chip.pins]
        nearest = _find_nearest(name.upper(), symbols)
        hint = f", nearest: {', '.join(nearest)}" if nearest else ""
        raise UnknownPin(f"no pin {name!r} on {chip.part}; it has pins 1 to {len(chip.pins)}{hint}")
    return pin


def find_condition(chip: ChipData, name: str) -> str:
    """Return the condition as the chip file spells it; raise UnknownCondition listing all."""
    for condition in chip.conditions:
        if condition.name.casefold() == name.strip().casefold():
            return condition.name
    known = ", ".join(condition.name for condition in chip.conditions)
    raise UnknownCondition(f"no condition {name!r} for {chip.part}; there are: {known}")


def _find_nearest(text: str, known: Sequence[str]) -> list[str]:
    from rapidfuzz import fuzz, process

    matches = process.extract(text, known, scorer=fuzz.WRatio, score_cutoff=50, limit=3)
    return [word for word, _, _ in matches]


def has_picture(expectation: Expectation) -> bool:
    """Return whether an oscilloscope shows more than a straight line."""
    return expectation.waveform is not None and expectation.waveform.period_s > 0


def rank_expectation(expectation: Expectation) -> tuple[bool, bool, bool]:
    """Return a sort key, larger where there is more to see.

    A signal tells more than DC, and colour bars more than a plain raster.
    """
    return has_picture(expectation), expectation.dc is not None, "bars" in expectation.condition
