"""The next step: the one that makes the way to a working set shortest on average.

Every step costs minutes: a measurement, the proof of a part, a joint soldered again, the exchange
of the chip. A step that repairs is a step like any other (``expected_minutes.py``).
"""

from __future__ import annotations

from collections.abc import Iterable, Set
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..board.cloud import Cloud
from ..weighing.posterior import Posterior, Thing, order_by_chance
from ..weighing.spreads import Spreads
from .confirming import confirm_first
from .effort import Efforts
from .expected_minutes import ExpectedMinutes, compute_expected_bits
from .outcomes import (
    COUNT,
    QUANTITIES,
    pick_likely_boards,
    sort_into_steps,
    sum_step_chances,
)
from .steps import Meaning, Step

__all__ = ["Meaning", "Step", "Suspects", "Table", "choose_suspects", "next_steps"]

Numbers = NDArray[np.float64]

WRONG: Final = 0.12  # how often the model is wrong about what a measurement will show
_THINGS: Final = 36  # so many of the likeliest things are told apart; the rest is one
_LISTED: Final = 6  # measurements of one quantity that may be proposed
_OUT_OF_CIRCUIT: Final = "out of circuit"
_LOST: Final = ("open", "dried out", "value low")
_MOSTLY: Final = 0.8  # of a capacitor's ways to fail, those that a good one across it cures
_WORTH_SAYING: Final = 0.03
_LEAST_TOLD: Final = 0.02  # a measurement that tells less, in bits, is not proposed


@dataclass(frozen=True, eq=False)
class Suspects:
    """The things that are told apart, the rest as one."""

    things: tuple[Thing, ...]
    chances: Numbers
    minutes: Numbers
    bridged: tuple[bool, ...]
    """Whether a good part held across each thing would tell."""
    numbers: NDArray[np.intp]
    """For each hypothesis its place among the things."""


def next_steps(
    cloud: Cloud,
    spreads: Spreads,
    posterior: Posterior,
    efforts: Efforts,
    done: Set[tuple[str, str]],
    proved_bad: Set[str] = frozenset(),
    doubted: Posterior | None = None,
    proved_good: Set[str] = frozenset(),
) -> list[Step]:
    """Return the possible next steps, best first.

    ``done``: (place, quantity) of measurements taken already, or impossible. Points marked as
    hazardous are never among them, nor is a part replaced that was measured good (``proved_good``).
    ``doubted``: as ``confirm_first`` takes it.
    """
    suspects = choose_suspects(posterior, efforts)
    tables = _tabulate_measurements(cloud, spreads, posterior, efforts, done, suspects)
    cost = ExpectedMinutes(suspects.minutes, _find_best_bits_per_minute(tables), efforts.look_ahead)
    # Replacing a part that was measured good would be a waste.
    good_parts = {("part", ref) for ref in proved_good}
    steps = [
        _make_repair(suspects, number, cost, done, proved_bad, efforts)
        for number in _list_tried(suspects)
        if suspects.things[number] not in good_parts
    ]
    for table in tables:
        steps += table.list_steps(cost)
    steps.sort(key=lambda step: step.expected_minutes)

    def choose_best(points: frozenset[str]) -> Step | None:
        return _choose_best(tables, cost, points)

    return confirm_first(cloud, spreads, posterior, steps, choose_best, doubted)


def _choose_best(tables: Iterable[Table], cost: ExpectedMinutes, points: Set[str]) -> Step | None:
    """Return the measurement that tells most for its minutes at some points; None if none tells."""
    best, best_rate = None, 0.0
    for table in tables:
        rates = table.bits / table.minutes
        for number, point in enumerate(table.points):
            tells = point in points and table.bits[number] >= _LEAST_TOLD
            if tells and rates[number] > best_rate:
                best, best_rate = (table, number), float(rates[number])
    if best is None:
        return None
    best_table, best_number = best
    return best_table.make_step(best_number, cost)


def choose_suspects(posterior: Posterior, efforts: Efforts) -> Suspects:
    """Return the likeliest things with their chances and repair times; the rest as one."""
    order = order_by_chance(posterior.shares)[:_THINGS]
    things = tuple(posterior.things[number] for number in order.tolist())
    chances = posterior.shares[order]
    rest = max(float(posterior.shares.sum() - chances.sum()), 0.0)
    # A weakened capacitor need not be lifted: a good one held across it tells.
    bridged = tuple(
        efforts.may_bridge(thing) and _is_weakened(posterior, thing) for thing in things
    )
    minutes = [
        efforts.estimate_repairing(thing, by_bridge)
        for thing, by_bridge in zip(things, bridged, strict=True)
    ]
    rest_minutes = efforts.estimate_repairing(("none", ""))
    place_of_thing = np.full(len(posterior.things), len(things), dtype=np.intp)
    place_of_thing[order] = np.arange(len(things))
    return Suspects(
        things,
        np.append(chances, rest) / (chances.sum() + rest),
        np.append(minutes, rest_minutes),
        bridged,
        place_of_thing[posterior.number],
    )


def _is_weakened(posterior: Posterior, thing: Thing) -> bool:
    """Return whether a capacitor, if it failed, has most likely lost capacitance: open, dried."""
    ways = posterior.list_ways(thing)
    lost = sum(chance for way, chance in ways if way.failure.split(",")[0] in _LOST)
    return lost > _MOSTLY * sum(chance for _, chance in ways)


def _list_tried(suspects: Suspects) -> list[int]:
    return [at for at, chance in enumerate(suspects.chances[:-1]) if chance > _WORTH_SAYING / 2]


@dataclass(frozen=True, eq=False)
class Table:
    """All measurements of one quantity: joint chances, shape (points, steps, things)."""

    quantity: str
    points: tuple[str, ...]
    minutes: Numbers
    joint: Numbers
    suspects: Suspects

    @cached_property
    def bits(self) -> Numbers:
        """Information of each measurement on the things in bits, shape (points,)."""
        return compute_expected_bits(self.joint)

    def list_steps(self, cost: ExpectedMinutes) -> list[Step]:
        """Return the measurements worth taking."""
        expected = cost.expect_after_measuring(self.joint, self.minutes)
        bits = self.bits
        order = np.argsort(expected, kind="stable")[:_LISTED].tolist()
        return [self._make_step(at, float(expected[at])) for at in order if bits[at] >= _LEAST_TOLD]

    def make_step(self, at: int, cost: ExpectedMinutes) -> Step:
        """Return one of the measurements."""
        one = slice(at, at + 1)
        expected = cost.expect_after_measuring(self.joint[one], self.minutes[one])
        return self._make_step(at, float(expected[0]))

    def _make_step(self, at: int, expected_minutes: float) -> Step:
        return Step(
            "measure",
            self.points[at],
            self.quantity,
            None,
            float(self.minutes[at]),
            expected_minutes,
            self._list_meanings(at),
        )

    def _list_meanings(self, at: int) -> tuple[Meaning, ...]:
        chances = self.joint[at].sum(axis=1)
        meanings = []
        for step in np.argsort(-chances).tolist():
            if chances[step] < _WORTH_SAYING:
                break
            shares = self.joint[at, step] / chances[step]
            leading = np.argsort(-shares[:-1])[:2].tolist()
            likeliest = tuple((self.suspects.things[n], float(shares[n])) for n in leading)
            meanings.append(Meaning(step, float(chances[step]), likeliest))
        return tuple(meanings)


def _tabulate_measurements(
    cloud: Cloud,
    spreads: Spreads,
    posterior: Posterior,
    efforts: Efforts,
    done: Set[tuple[str, str]],
    suspects: Suspects,
) -> list[Table]:
    """Return the table of outcomes of every measurement that is possible and not yet done."""
    boards = pick_likely_boards(posterior.weights)
    thing_numbers = suspects.numbers[boards.rows]
    # After many readings that did not settle it, a further one counts as dearer.
    read_points = {place for place, _ in done if place in cloud.column}
    impatience = efforts.compute_impatience(len(read_points))
    tables = []
    for quantity in QUANTITIES:
        can_show = _can_show(cloud, spreads, quantity)
        columns = [
            column
            for column, point in enumerate(cloud.points)
            if can_show[column] and (point, quantity) not in done and efforts.may_measure(point)
        ]
        if not columns:
            continue
        steps = sort_into_steps(cloud, spreads, boards, quantity)[:, columns]  # boards x points
        doubt = spreads.doubt[columns] if quantity in ("vpp", "frequency") else 0.0
        wrong = WRONG + (1 - WRONG) * np.broadcast_to(doubt, len(columns))
        joint = sum_step_chances(steps, thing_numbers, boards.weights, len(suspects.chances), wrong)
        points = tuple(cloud.points[column] for column in columns)
        minutes = np.array([efforts.estimate_measuring(point, quantity) for point in points])
        tables.append(Table(quantity, points, minutes * impatience, joint, suspects))
    assert all(table.joint.shape[1] == COUNT for table in tables)
    return tables


def _can_show(cloud: Cloud, spreads: Spreads, quantity: str) -> NDArray[np.bool_]:
    """Return at which points a quantity is worth thinking of: a signal where there is to be one."""
    has_signal = np.nan_to_num(cloud.healthy_vpp_v.astype(float)) > spreads.floor_v
    if quantity == "vpp":
        return np.asarray(has_signal)
    if quantity == "frequency":
        is_countable = np.nan_to_num(cloud.healthy_vpp_v.astype(float)) > spreads.count_floor_v
        return np.asarray(is_countable & (cloud.healthy_frequency_hz > 0))
    if quantity == "ripple":
        return np.asarray(~has_signal)
    return np.isfinite(cloud.healthy_dc_v)


def _find_best_bits_per_minute(tables: list[Table]) -> float:
    """Return the most that any measurement tells for its minutes."""
    rates = [float((table.bits / table.minutes).max()) for table in tables]
    return max(rates, default=0.0)


def _make_repair(
    suspects: Suspects,
    number: int,
    cost: ExpectedMinutes,
    done: Set[tuple[str, str]],
    proved_bad: Set[str],
    efforts: Efforts,
) -> Step:
    """Return the try of one thing: a part is proved first, unless it was, or cannot be."""
    thing = suspects.things[number]
    kind, name = thing
    minutes = float(suspects.minutes[number])
    expected_minutes = cost.expect_after_repairing(suspects.chances, number)
    needs_proof = kind == "part" and name not in proved_bad and efforts.may_lift(name)
    # Lifting a lead costs minutes; fitting a part that was good costs the part as well.
    if needs_proof and (name, _OUT_OF_CIRCUIT) not in done:
        is_bridge = suspects.bridged[number]
        return Step(
            "prove", name, _OUT_OF_CIRCUIT, thing, minutes, expected_minutes, is_bridge=is_bridge
        )
    return Step("repair", "", "", thing, minutes, expected_minutes)
