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
    steps = [
        _make_repair(suspects, at, cost, done, proved_bad, efforts)
        for at in _list_tried(suspects)
        if suspects.things[at] not in {("part", ref) for ref in proved_good}
    ]
    for table in tables:
        steps += table.list_steps(cost)
    steps.sort(key=lambda step: step.expected_minutes)

    def choose_best(points: frozenset[str]) -> Step | None:
        return _choose_best(tables, cost, points)

    return confirm_first(cloud, spreads, posterior, steps, choose_best, doubted)


def _choose_best(tables: Iterable[Table], cost: ExpectedMinutes, points: Set[str]) -> Step | None:
    """Return the measurement that tells most for its minutes at some points; None if none tells."""
    best, most = None, 0.0
    for table in tables:
        rates = table.bits / table.minutes
        for at, point in enumerate(table.points):
            if point in points and table.bits[at] >= _LEAST_TOLD and rates[at] > most:
                best, most = (table, at), float(rates[at])
    return None if best is None else best[0].make_step(best[1], cost)


def choose_suspects(posterior: Posterior, efforts: Efforts) -> Suspects:
    """Return the likeliest things with their chances and repair times; the rest as one."""
    order = order_by_chance(posterior.shares)[:_THINGS]
    things = tuple(posterior.things[at] for at in order.tolist())
    place = np.full(len(posterior.things), len(things), dtype=np.intp)
    place[order] = np.arange(len(things))
    rest = max(float(posterior.shares.sum() - posterior.shares[order].sum()), 0.0)
    bridged = tuple(
        efforts.may_bridge(thing) and _is_weakened(posterior, thing) for thing in things
    )
    minutes = [
        efforts.estimate_repairing(thing, by) for thing, by in zip(things, bridged, strict=True)
    ]
    return Suspects(
        things,
        np.append(posterior.shares[order], rest) / (posterior.shares[order].sum() + rest),
        np.append(minutes, efforts.estimate_repairing(("none", ""))),
        bridged,
        place[posterior.number],
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
    numbers = suspects.numbers[boards.rows]
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
        steps = sort_into_steps(cloud, spreads, boards, quantity)[:, columns]
        doubt = spreads.doubt[columns] if quantity in ("vpp", "frequency") else 0.0
        wrong = WRONG + (1 - WRONG) * np.broadcast_to(doubt, len(columns))
        joint = sum_step_chances(steps, numbers, boards.weights, len(suspects.chances), wrong)
        points = tuple(cloud.points[column] for column in columns)
        minutes = np.array([efforts.estimate_measuring(point, quantity) for point in points])
        minutes = minutes * efforts.compute_impatience(
            len({at for at, _ in done if at in cloud.column})
        )
        tables.append(Table(quantity, points, minutes, joint, suspects))
    assert all(table.joint.shape[1] == COUNT for table in tables)
    return tables


def _can_show(cloud: Cloud, spreads: Spreads, quantity: str) -> NDArray[np.bool_]:
    """Return at which points a quantity is worth thinking of: a signal where there is to be one."""
    has_signal = np.nan_to_num(cloud.healthy_vpp_v.astype(float)) > spreads.floor_v
    if quantity == "vpp":
        return np.asarray(has_signal)
    if quantity == "frequency":
        return np.asarray(has_signal & (cloud.healthy_frequency_hz > 0))
    if quantity == "ripple":
        return np.asarray(~has_signal)
    return np.isfinite(cloud.healthy_dc_v)


def _find_best_bits_per_minute(tables: list[Table]) -> float:
    """Return the most that any measurement tells for its minutes."""
    rates = [float((table.bits / table.minutes).max()) for table in tables]
    return max(rates, default=0.0)


def _make_repair(
    suspects: Suspects,
    at: int,
    cost: ExpectedMinutes,
    done: Set[tuple[str, str]],
    proved_bad: Set[str],
    efforts: Efforts,
) -> Step:
    """Return the try of one thing: a part is proved first, unless it was, or cannot be."""
    thing = suspects.things[at]
    kind, what = thing
    minutes = float(suspects.minutes[at])
    expected = cost.expect_after_repairing(suspects.chances, at)
    to_prove = kind == "part" and what not in proved_bad and efforts.may_lift(what)
    if to_prove and (what, _OUT_OF_CIRCUIT) not in done:
        across = suspects.bridged[at]
        return Step("prove", what, _OUT_OF_CIRCUIT, thing, minutes, expected, is_bridge=across)
    return Step("repair", "", "", thing, minutes, expected)
