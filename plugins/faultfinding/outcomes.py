"""What each hypothesis makes of each point: the probabilities of the ways it may read.

Parts act through the circuit; stages, supplies and outside signals act along the block diagram,
and what a part upsets is carried on along it. Loops need no care: a point once upset stays so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ...schema import Chip, Pin
from ..readings.expected import limits_of
from .failures import Effect, FaultDictionary
from .hypotheses import Hypothesis

Numbers = NDArray[np.float64]

OUTCOMES: Final = (
    "as expected",
    "too low",
    "too high",
    "missing",
    "off frequency",
    "unstable",
    "distorted",
)
_AT: Final = {name: at for at, name in enumerate(OUTCOMES)}
_SURE: Final = 0.9  # of what the circuit says: parts spread, and pins are not quite linear
_RIGHT: Final = 0.95  # of a point that nothing upsets

# What a point shows that lies behind something upset. Common practice, in shares of one.
_BEHIND: Final = {
    "missing": {"missing": 0.55, "too low": 0.2, "as expected": 0.15, "distorted": 0.1},
    "too low": {"too low": 0.45, "distorted": 0.15, "as expected": 0.3, "unstable": 0.1},
    "too high": {"too high": 0.3, "distorted": 0.25, "as expected": 0.35, "too low": 0.1},
    "off frequency": {"off frequency": 0.6, "unstable": 0.2, "as expected": 0.2},
    "unstable": {"unstable": 0.6, "as expected": 0.25, "off frequency": 0.15},
    "distorted": {"distorted": 0.55, "as expected": 0.3, "too low": 0.15},
}
_OSCILLATOR: Final = {"off frequency": 0.45, "missing": 0.25, "unstable": 0.15, "too low": 0.15}


@dataclass(frozen=True)
class Point:
    """Something that can be measured: a pin's DC, its signal, or its frequency."""

    pin: int
    quantity: str
    """``dc``, ``vpp`` or ``frequency``."""


@dataclass(frozen=True, eq=False)
class Predictions:
    """Probabilities of the outcomes of every point under every hypothesis."""

    hypotheses: tuple[Hypothesis, ...]
    points: tuple[Point, ...]
    table: Numbers
    """Shape (hypotheses, points, outcomes); the last axis adds up to 1."""


def predictions(
    chip: Chip, dictionary: FaultDictionary, among: tuple[Hypothesis, ...]
) -> Predictions:
    """Work out every hypothesis."""
    points = tuple(_points(chip, dictionary.condition))
    table = np.empty((len(among), len(points), len(OUTCOMES)))
    for row, hypothesis in enumerate(among):
        upset = _spread(chip, _upset_by(chip, dictionary, hypothesis))
        for column, point in enumerate(points):
            table[row, column] = _probabilities(upset.get(point))
    return Predictions(among, points, table)


def _points(chip: Chip, condition: str) -> Iterable[Point]:
    for pin in chip.pins:
        expectation = pin.expectation(condition)
        if expectation is None or pin.role in ("ground", "unused"):
            continue
        for quantity in limits_of(pin, expectation):
            if quantity != "resistance":
                yield Point(pin.number, quantity)


Upset = dict[Point, dict[str, float]]
"""For a point that is not as it should be: shares of the outcomes."""


def _upset_by(chip: Chip, dictionary: FaultDictionary, hypothesis: Hypothesis) -> Upset:
    """The points that the hypothesis upsets directly."""
    if hypothesis.sort == "part":
        effects = next(
            effects
            for failure, effects in dictionary.failed.items()
            if (failure.ref, failure.mode) == (hypothesis.what, hypothesis.failure)
        )
        return _through_the_circuit(chip, dictionary, effects)
    if hypothesis.sort == "stage":
        outcome = "missing" if hypothesis.failure == "dead" else "too low"
        ends = next(b.outputs for b in chip.blocks if b.id == hypothesis.what)
        return _at_pins(chip, _pins_behind(chip, ends), outcome)
    if hypothesis.sort == "supply":
        supply = next(s for s in chip.supplies if s.name == hypothesis.what)
        outcome = "missing" if hypothesis.failure == "missing" else "too low"
        return {Point(number, "dc"): {outcome: 1.0} for number in supply.pins}
    if hypothesis.sort == "outside":
        joined = {
            end
            for part in chip.application.parts
            if hypothesis.what in part.joins
            for end in part.joins
        }
        return _at_pins(chip, _numbers(joined), "missing", quantities=("vpp",))
    return {}


def _through_the_circuit(
    chip: Chip, dictionary: FaultDictionary, effects: Mapping[str, Effect]
) -> Upset:
    """What the solved network shows out of its limits."""
    upset: Upset = {}
    for pin in chip.pins:
        expectation = pin.expectation(dictionary.condition)
        effect = effects.get(f"pin {pin.number}")
        healthy = dictionary.healthy.get(f"pin {pin.number}")
        if expectation is None or effect is None or healthy is None:
            continue
        limits = limits_of(pin, expectation)
        moved_dc = _moved(effect.dc_v, healthy.dc_v)
        if "dc" in limits and effect.dc_v is not None and moved_dc:
            outcome = _outcome(effect.dc_v, limits["dc"].low, limits["dc"].high)
            if outcome:
                upset[Point(pin.number, "dc")] = {outcome: 1.0}
        if "vpp" in limits and effect.vpp_v is not None and _moved(effect.vpp_v, healthy.vpp_v):
            outcome = _outcome(effect.vpp_v, limits["vpp"].low, limits["vpp"].high)
            if outcome:
                upset[Point(pin.number, "vpp")] = {outcome: 1.0}
        if pin.role == "oscillator" and (moved_dc or Point(pin.number, "vpp") in upset):
            upset[Point(pin.number, "frequency")] = dict(_OSCILLATOR)
    return upset


def _moved(value: float | None, healthy: float | None) -> bool:
    """Whether a failure changed a value by more than rounding."""
    if value is None or healthy is None:
        return False
    return abs(value - healthy) > 0.02 * max(abs(healthy), 0.05)


def _outcome(value: float, low: float, high: float) -> str | None:
    if low <= value <= high:
        return None
    if value < low:
        return "missing" if low > 0 and abs(value) < 0.1 * low else "too low"
    return "too high"


def _at_pins(
    chip: Chip,
    numbers: Iterable[int],
    outcome: str,
    quantities: tuple[str, ...] = ("vpp", "dc", "frequency"),
) -> Upset:
    """An outcome at the signals of pins; their DC shifts with it sometimes."""
    upset: Upset = {}
    for number in numbers:
        shares = _BEHIND[outcome]
        for quantity in quantities:
            if quantity == "dc":
                upset[Point(number, "dc")] = {"as expected": 0.5, "too low": 0.25, "too high": 0.25}
            elif quantity == "frequency":
                upset[Point(number, "frequency")] = {"missing": 0.6, "as expected": 0.4}
            else:
                upset[Point(number, quantity)] = {outcome: 0.7, **_scaled(shares, 0.3)}
    return upset


def _scaled(shares: Mapping[str, float], by: float) -> dict[str, float]:
    return {name: share * by for name, share in shares.items()}


def _numbers(ends: Iterable[str]) -> list[int]:
    return [int(end[4:]) for end in ends if end.startswith("pin ")]


def _pins_behind(chip: Chip, ends: Iterable[str]) -> set[int]:
    """The pins that a signal comes out at, however many stages on."""
    blocks = {block.id: block for block in chip.blocks}
    seen: set[str] = set()
    todo = list(ends)
    while todo:
        end = todo.pop()
        if end not in seen:
            seen.add(end)
            todo += blocks[end].outputs if end in blocks else ()
    return set(_numbers(seen))


def _spread(chip: Chip, upset: Upset) -> Upset:
    """Carry what is upset on along the block diagram to the pins behind it."""
    spread = dict(upset)
    for point, shares in upset.items():
        worst = max(shares, key=lambda outcome: shares[outcome])
        if worst == "as expected":
            continue
        end = f"pin {point.pin}"
        for block in chip.blocks:
            if end not in (*block.inputs, *block.needs):
                continue
            carried = _carried(chip.pin(point.pin), worst)
            for number in _pins_behind(chip, block.outputs):
                for quantity in ("vpp", "frequency"):
                    behind = Point(number, quantity)
                    if behind not in spread and number != point.pin:
                        spread[behind] = dict(_BEHIND[carried])
    return spread


def _carried(pin: Pin | None, outcome: str) -> str:
    """What a stage makes of an upset pin: a control or filter that is off upsets what it steers."""
    if pin is not None and pin.role in ("filter", "control") and outcome != "missing":
        return "unstable" if outcome == "too low" else "distorted"
    return outcome


def _probabilities(shares: Mapping[str, float] | None) -> Numbers:
    """A row that adds up to one, and leaves a little for everything."""
    sure = _RIGHT if shares is None else _SURE
    row = np.full(len(OUTCOMES), (1 - sure) / len(OUTCOMES))
    for name, share in (shares or {"as expected": 1.0}).items():
        row[_AT[name]] += sure * share
    return np.asarray(row / row.sum())
