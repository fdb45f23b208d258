"""What each hypothesis makes of each point: the probabilities of the ways it may read.

Parts act through the circuit; stages, supplies and outside signals act along the block diagram,
and what a part upsets is carried on along it. Loops need no care: a point once upset stays so.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ...schema import Chip, Expectation, Node, Part, Pin
from ...schema.chips.limits import find_limits
from .beside_the_circuit import beside_the_circuit, on_the_leg
from .diagram import pins_behind, silenced
from .failures import Effect, FaultDictionary
from .hypotheses import Hypothesis
from .outside import reached
from .points import OUTCOMES, Point, Upset

Numbers = NDArray[np.float64]

_AT: Final = {name: at for at, name in enumerate(OUTCOMES)}
_PARTS_SPREAD: Final = 0.04  # standard deviation of a value: two or three parts of 5 % bear on it
_HARDLY_MOVED: Final = 0.98  # within its limits so surely that nothing is upset
# The rest is left to anything: what no hypothesis knows of. Fitted to simulated boards, whose parts
# spread by 5 %: of a signal more than of a voltage or a frequency, since more bears on it.
_SURE: Final = 0.98  # of what the circuit says
_RIGHT: Final = {"dc": 0.99, "vpp": 0.975, "frequency": 0.99}  # of a point that nothing upsets

# What a point shows that lies behind something upset. Common practice, in shares of one.
_BEHIND: Final = {
    "missing": {"missing": 0.85, "too low": 0.08, "as expected": 0.05, "distorted": 0.02},
    "too low": {"too low": 0.45, "distorted": 0.15, "as expected": 0.3, "unstable": 0.1},
    "too high": {"too high": 0.3, "distorted": 0.25, "as expected": 0.35, "too low": 0.1},
    "off frequency": {"off frequency": 0.6, "unstable": 0.2, "as expected": 0.2},
    "unstable": {"unstable": 0.6, "as expected": 0.25, "off frequency": 0.15},
    "distorted": {"distorted": 0.55, "as expected": 0.3, "too low": 0.15},
}
# One of several signals gone: the others still come out. A stage starved of its supply is weak.
_IN_PART: Final = {"too low": 0.6, "missing": 0.15, "as expected": 0.15, "distorted": 0.1}
_IN_PART_ONLY: Final = 0.4  # how often, where the diagram says that nothing is left
_STARVED: Final = {"too low": 0.7, "distorted": 0.15, "as expected": 0.1, "missing": 0.05}
# Where nothing comes out there is nothing to count; where a little does, it counts right.
_LITTLE_TO_COUNT: Final = {"as expected": 0.7, "missing": 0.25, "off frequency": 0.05}
_WEAK_FREQUENCY: Final = {"as expected": 0.9, "off frequency": 0.1}
_CONTROLLED: Final = {  # amplitude behind a control voltage that is out
    "too low": {"too low": 0.4, "as expected": 0.25, "too high": 0.15, "distorted": 0.2},
    "too high": {"too high": 0.4, "as expected": 0.25, "too low": 0.15, "distorted": 0.2},
}
_STEERED: Final = {"off frequency": 0.5, "unstable": 0.3, "as expected": 0.2}
# What a resonator, or a part beside it, makes of its oscillator: the circuit cannot tell, since
# what keeps an oscillator going is not linear. Common practice.
_RESONATOR: Final[dict[str, dict[str, dict[str, float]]]] = {
    "dead": {
        "vpp": {"missing": 0.75, "too low": 0.15, "unstable": 0.1},
        "frequency": {"missing": 0.6, "off frequency": 0.4},
    },
    "off frequency": {"frequency": {"off frequency": 0.85, "unstable": 0.15}},
    "beside": {
        "frequency": {"off frequency": 0.6, "as expected": 0.3, "unstable": 0.1},
        "vpp": {"as expected": 0.6, "too low": 0.2, "missing": 0.2},
    },
}
# What signals show behind a pin that an electrolytic no longer steadies, by the pin's role: ripple
# and a loop that hunts are not in a linear network of one frequency. Common practice.
_HUM: Final = {"distorted": 0.5, "as expected": 0.4, "unstable": 0.1}
_STEADIED: Final[dict[str, dict[str, float]]] = {
    "supply": _HUM,
    "reference": _HUM,
    "decoupling": _HUM,
    "filter": {"unstable": 0.5, "as expected": 0.4, "distorted": 0.1},
}
# How often stages carry on a point that is missing, or out otherwise. Common practice.
_CARRIED_ON: Final = {"missing": 0.9, "out": 0.6}
_SENDING: Final = ("output", "oscillator")
_RESONATORS: Final = ("crystal", "ceramic resonator")
_OSCILLATOR: Final = {"off frequency": 0.45, "missing": 0.25, "unstable": 0.15, "too low": 0.15}


@dataclass(frozen=True, eq=False)
class Predictions:
    """Probabilities of the outcomes of every point under every hypothesis."""

    hypotheses: tuple[Hypothesis, ...]
    points: tuple[Point, ...]
    table: Numbers
    """Shape (hypotheses, points, outcomes); the last axis adds up to 1."""

    @cached_property
    def column(self) -> dict[Point, int]:
        """The column of each point in the table."""
        return {point: at for at, point in enumerate(self.points)}

    @cached_property
    def rows(self) -> dict[Hypothesis, int]:
        """The row of each hypothesis; of two that are alike, the first."""
        return {h: len(self.hypotheses) - at for at, h in enumerate(reversed(self.hypotheses), 1)}


def predictions(
    chip: Chip, dictionary: FaultDictionary, among: tuple[Hypothesis, ...]
) -> Predictions:
    """Work out every hypothesis.

    What the stages make of an upset point is not known: they carry it on to all that lies behind,
    or a lost signal in part, since others still come in; or they put up with it. Such a hypothesis
    has a row for each, which share its odds; so that ten good readings behind it speak against the
    first, and not ten times against all.
    """
    points = tuple(_points(chip, dictionary.condition))
    worked_out = [
        row for hypothesis in among for row in _rows(chip, dictionary, hypothesis, set(points))
    ]
    table = np.empty((len(worked_out), len(points), len(OUTCOMES)))
    for row, (_, upset) in enumerate(worked_out):
        for column, point in enumerate(points):
            table[row, column] = _probabilities(upset.get(point), point.quantity)
    return Predictions(tuple(hypothesis for hypothesis, _ in worked_out), points, table)


def _rows(
    chip: Chip, dictionary: FaultDictionary, hypothesis: Hypothesis, points: set[Point]
) -> Iterator[tuple[Hypothesis, Upset]]:
    """The hypothesis with what it upsets, carried on, in part, or put up with."""
    upset = _upset_by(chip, dictionary, hypothesis)
    spread = {**_unsteadied(chip, hypothesis), **_spread(chip, upset)}
    gone = any(shares.get("missing", 0) > 0.5 for shares in upset.values())
    carried = _CARRIED_ON["missing" if gone else "out"]
    rows = [(carried, spread), (1 - carried, upset)]
    if not (spread.keys() - upset.keys()) & points:
        rows = [(1.0, upset)]
    share, whole = rows[0]
    weakened = _in_part(chip, hypothesis, upset, whole)
    if weakened.items() != whole.items():
        rows[:1] = [((1 - _IN_PART_ONLY) * share, whole), (_IN_PART_ONLY * share, weakened)]
    for share, shown in rows:
        yield replace(hypothesis, odds=share * hypothesis.odds), shown


def _in_part(chip: Chip, hypothesis: Hypothesis, upset: Upset, spread: Upset) -> Upset:
    """With the signals that are lost behind the first point lost in part."""
    first = {point.at for point in upset}
    if hypothesis.sort == "stage":
        first = set(next(b.outputs for b in chip.blocks if b.id == hypothesis.what))
    return {
        point: dict(_IN_PART)
        if point.quantity == "vpp" and point.at not in first and shares.get("missing", 0) > 0.5
        else shares
        for point, shares in spread.items()
    }


def places(chip: Chip, condition: str) -> Iterator[tuple[str, Pin | Node, Expectation]]:
    """The pins and nodes that show something in the condition, grounds and idle pins left out."""
    for pin in chip.pins:
        expectation = pin.expectation(condition)
        if expectation is not None and pin.role not in ("ground", "unused"):
            yield f"pin {pin.number}", pin, expectation
    for node in chip.application.nodes:
        for expectation in node.expectations:
            if expectation.condition == condition:
                yield node.id, node, expectation


def _points(chip: Chip, condition: str) -> Iterator[Point]:
    for at, place, expectation in places(chip, condition):
        for quantity in find_limits(place, expectation):
            if quantity != "resistance":
                yield Point(at, quantity)


def _upset_by(chip: Chip, dictionary: FaultDictionary, hypothesis: Hypothesis) -> Upset:
    """The points that the hypothesis upsets directly."""
    beside = beside_the_circuit(chip, hypothesis)
    if hypothesis.sort in ("part", "joint"):
        effects = next(
            (
                effects
                for failure, effects in dictionary.failed.items()
                if (failure.ref, failure.mode) == (hypothesis.what, hypothesis.failure)
            ),
            {},
        )
        upset = {**beside, **_through_the_circuit(chip, dictionary, effects)}
        if hypothesis.sort == "joint":
            return on_the_leg(upset, hypothesis.what)
        return {**upset, **_at_the_resonator(chip, hypothesis)}
    if beside:
        return beside
    if hypothesis.sort == "stage":
        outcome = "missing" if hypothesis.failure == "dead" else "too low"
        ends = next(b.outputs for b in chip.blocks if b.id == hypothesis.what)
        return _at_the_stage(chip, hypothesis.what, ends, outcome)
    if hypothesis.sort == "supply":
        supply = next(s for s in chip.supplies if s.name == hypothesis.what)
        outcome = "missing" if hypothesis.failure == "missing" else "too low"
        return {Point(f"pin {number}", "dc"): {outcome: 1.0} for number in supply.pins}
    if hypothesis.sort == "outside":
        outputs = {f"pin {pin.number}" for pin in chip.pins if pin.role in _SENDING}
        joined = reached(chip, {hypothesis.what}) - outputs
        gone = {Point(hypothesis.what, "vpp"): {"missing": 1.0}}
        return {**_at(joined, "missing", quantities=("vpp",)), **gone}
    return {}


def _through_the_circuit(
    chip: Chip, dictionary: FaultDictionary, effects: Mapping[str, Effect]
) -> Upset:
    """What the solved network shows out of its limits."""
    upset: Upset = {}
    for at, place, expectation in places(chip, dictionary.condition):
        effect, healthy = effects.get(at), dictionary.healthy.get(at)
        if effect is None or healthy is None:
            continue
        values = {"dc": (effect.dc_v, healthy.dc_v), "vpp": (effect.vpp_v, healthy.vpp_v)}
        moved = {quantity: pair[0] for quantity, pair in values.items() if _moved(*pair)}
        if not moved:
            continue
        limits = find_limits(place, expectation)
        for quantity, value in moved.items():
            if quantity in limits and value is not None:
                shares = _outcomes(value, limits[quantity].low, limits[quantity].high)
                if shares["as expected"] < _HARDLY_MOVED:
                    upset[Point(at, quantity)] = shares
        amplitude = upset.get(Point(at, "vpp"), {})
        if amplitude.get("missing", 0) > 0.5:
            upset[Point(at, "frequency")] = {"missing": 1.0}
        shifted = "dc" in moved or amplitude.get("as expected", 1) < 0.5
        if isinstance(place, Pin) and place.role == "oscillator" and shifted:
            upset.setdefault(Point(at, "frequency"), dict(_OSCILLATOR))
    return upset


def _at_the_resonator(chip: Chip, hypothesis: Hypothesis) -> Upset:
    """What a resonator that fails, or a part that shares a node with one, does to its pin."""
    parts = {part.ref: part for part in chip.application.parts}
    failed = parts[hypothesis.what]
    if failed.kind in _RESONATORS:
        way = hypothesis.failure if hypothesis.failure in _RESONATOR else "dead"
        told, ends = _RESONATOR[way], set(failed.joins)
    else:
        beside = [p for p in parts.values() if p.kind in _RESONATORS and _share(p, failed)]
        told, ends = _RESONATOR["beside"], {end for part in beside for end in part.joins}
    pins = {f"pin {pin.number}" for pin in chip.pins if pin.role == "oscillator"}
    return {Point(at, q): dict(shares) for at in ends & pins for q, shares in told.items()}


def _share(first: Part, second: Part) -> bool:
    """Whether two parts meet at a point that is neither ground nor a supply."""
    meeting = set(first.joins) & set(second.joins) - {"ground"}
    return any(not end.startswith("rail") for end in meeting)


def _moved(value: float | None, healthy: float | None) -> bool:
    """Whether a failure changed a value by more than rounding."""
    if value is None or healthy is None:
        return False
    return abs(value - healthy) > 0.02 * max(abs(healthy), 0.05)


def _outcomes(value: float, low: float, high: float) -> dict[str, float]:
    """Where a value that spreads with the parts comes to lie: below its limits, within, above."""
    spread = NormalDist(value, _PARTS_SPREAD * abs(value) + 1e-6)
    below, above = spread.cdf(low), 1 - spread.cdf(high)
    down = "missing" if low > 0 and abs(value) < 0.1 * low else "too low"
    return {"as expected": max(1 - below - above, 0.0), down: below, "too high": above}


def _at_the_stage(chip: Chip, stage: str, ends: Sequence[str], outcome: str) -> Upset:
    """What comes out of a stage, and of those behind it; DC shifts where it comes out itself."""
    behind = pins_behind(chip, ends)
    upset = _at(behind, outcome, quantities=("vpp", "frequency")) | _at(
        behind & set(ends), outcome, quantities=("dc",)
    )
    if outcome == "missing":
        for at in behind - silenced(chip, [stage]):
            upset[Point(at, "vpp")] = dict(_IN_PART)
    return upset


def _at(
    ends: Iterable[str],
    outcome: str,
    quantities: tuple[str, ...] = ("vpp", "dc", "frequency"),
) -> Upset:
    """An outcome at the signals of points; their DC shifts with it sometimes."""
    gone = outcome == "missing"
    shares = {
        "vpp": {outcome: 0.7, **_scaled(_BEHIND[outcome], 0.3, without=outcome)},
        "dc": {"as expected": 0.6, "too low": 0.2, "too high": 0.2},
        "frequency": _LITTLE_TO_COUNT if gone else _WEAK_FREQUENCY,
    }
    return {Point(end, q): dict(shares[q]) for end in ends for q in quantities}


def _scaled(shares: Mapping[str, float], by: float, without: str) -> dict[str, float]:
    """The other shares, made to add up to ``by``."""
    others = {name: share for name, share in shares.items() if name != without}
    total = sum(others.values())
    return {name: by * share / total for name, share in others.items()}


def _unsteadied(chip: Chip, hypothesis: Hypothesis) -> Upset:
    """The signals behind a pin whose electrolytic no longer steadies it."""
    part = next((p for p in chip.application.parts if p.ref == hypothesis.what), None)
    if part is None or part.kind != "electrolytic capacitor":
        return {}
    if hypothesis.failure not in ("dried out", "open", "joint open"):
        return {}
    upset: Upset = {}
    for pin in chip.pins:
        end = f"pin {pin.number}"
        if end not in part.joins or pin.role not in _STEADIED:
            continue
        for block in chip.blocks:
            if end in (*block.inputs, *block.needs):
                behind = pins_behind(chip, block.outputs) - {end}
                upset |= {Point(at, "vpp"): dict(_STEADIED[pin.role]) for at in behind}
    return upset


def _spread(chip: Chip, upset: Upset) -> Upset:
    """Carry what is upset on along the block diagram to the pins behind it."""
    spread = dict(upset)
    gone = silenced(chip, _without_signal(chip, upset))
    for point, shares in upset.items():
        worst = max(shares, key=lambda outcome: shares[outcome])
        if worst == "as expected":
            continue
        for block in chip.blocks:
            if point.at not in (*block.inputs, *block.needs):
                continue
            carried = _carried(chip, point, worst)
            for at in pins_behind(chip, block.outputs) - {point.at}:
                for quantity, shares_behind in carried.items():
                    in_part = shares_behind is _BEHIND["missing"] and at not in gone
                    told = _IN_PART if in_part else shares_behind
                    spread.setdefault(Point(at, quantity), dict(told))
    return spread


def _without_signal(chip: Chip, upset: Upset) -> set[str]:
    """The points that have lost their signal, and the pins that have lost their supply."""
    supplies = {f"pin {pin.number}" for pin in chip.pins if pin.role == "supply"}
    return {
        point.at
        for point, shares in upset.items()
        if shares.get("missing", 0) > 0.5 and (point.quantity == "vpp" or point.at in supplies)
    }


def _carried(chip: Chip, point: Point, outcome: str) -> dict[str, Mapping[str, float]]:
    """What a stage makes of an upset point, by quantity of what comes out.

    A frequency is passed on as it is; a control or filter that is off upsets what it steers.
    """
    if point.quantity == "frequency":
        return {"frequency": _BEHIND[outcome]}
    pin = chip.pin(point.at.removeprefix("pin ")) if point.at.startswith("pin ") else None
    role = pin.role if pin is not None else ""
    if role == "control" and outcome in _CONTROLLED:
        return {"vpp": _CONTROLLED[outcome], "frequency": _WEAK_FREQUENCY}
    if role in ("filter", "control") and outcome != "missing":
        return {"vpp": _BEHIND["distorted"], "frequency": _STEERED}
    if outcome == "missing":
        return {"vpp": _BEHIND["missing"], "frequency": _LITTLE_TO_COUNT}
    if role == "supply" and outcome == "too low":
        return {"vpp": _STARVED}
    return {"vpp": _BEHIND[outcome]}


def _probabilities(shares: Mapping[str, float] | None, quantity: str) -> Numbers:
    """A row that adds up to one, and leaves a little for everything."""
    sure = _RIGHT[quantity] if shares is None else _SURE
    row = np.full(len(OUTCOMES), (1 - sure) / len(OUTCOMES))
    for name, share in (shares or {"as expected": 1.0}).items():
        row[_AT[name]] += sure * share
    return np.asarray(row / row.sum())
