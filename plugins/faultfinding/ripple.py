"""Ripple on a supply: what an oscilloscope shows at a supply pin that has no signal of its own."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from ...schema import Chip, Pin, print_value
from ...schema.chips.data import Supply
from ...schema.reading import Reading
from .hypotheses import Hypothesis
from .points import Point

_MOST: Final = 0.01  # of the supply, peak to peak: what small-signal stages bear. Common practice.
_NOT_STEADIED: Final = {"too high": 0.6, "as expected": 0.4}
_WORDS: Final = ("hum", "unstable", "distorted")


def points(chip: Chip, condition: str) -> Iterator[Point]:
    """The supply pins that should show DC and nothing else in the condition."""
    for pin in chip.pins:
        expectation = pin.expectation(condition)
        if pin.role == "supply" and expectation is not None and expectation.waveform is None:
            yield Point(f"pin {pin.number}", "ripple")


def upset_by(chip: Chip, hypothesis: Hypothesis) -> dict[Point, dict[str, float]]:
    """A noisy supply ripples; so does one whose electrolytic no longer holds."""
    if hypothesis.sort == "supply" and hypothesis.failure == "noisy":
        supply = next(s for s in chip.supplies if s.name == hypothesis.what)
        return {Point(f"pin {number}", "ripple"): {"too high": 1.0} for number in supply.pins}
    part = next((p for p in chip.application.parts if p.ref == hypothesis.what), None)
    failed = hypothesis.failure in ("dried out", "open", "joint open")
    if part is None or part.kind != "electrolytic capacitor" or not failed:
        return {}
    return {Point(end, "ripple"): _NOT_STEADIED for end in part.joins if end.startswith("pin ")}


def most_v(chip: Chip, point: Point) -> float | None:
    """The ripple that a supply pin may show, in volts peak to peak; None at any other point."""
    supply = _supply_at(chip, point.at)
    return None if supply is None else _most_v(supply)


def judged(chip: Chip, pin: Pin, reading: Reading) -> tuple[str, str] | None:
    """Whether a supply pin is quiet, and why; None where nothing was read that says so."""
    supply = _supply_at(chip, f"pin {pin.number}")
    if supply is None:
        return None
    if any(word in reading.seen for word in _WORDS):
        return "too high", f"{', '.join(reading.seen)} seen on {supply.name}"
    if reading.vpp_v is None:
        return None
    most = _most_v(supply)
    told = f"{print_value(reading.vpp_v, 'Vpp')}, up to {print_value(most, 'Vpp')} is quiet"
    return ("as expected" if reading.vpp_v <= most else "too high"), told


def _supply_at(chip: Chip, at: str) -> Supply | None:
    return next((s for s in chip.supplies if at in (f"pin {n}" for n in s.pins)), None)


def _most_v(supply: Supply) -> float:
    return _MOST * abs(supply.voltage.nominal)
