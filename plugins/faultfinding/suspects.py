"""Given readings: how likely is each suspect, alone or with a second one?

Bayes' rule over every single hypothesis and every pair, without sampling: each reading is an
outcome at a point, and outcomes of different points are taken as independent once the fault is
known. Source: de Kleer and Williams, Diagnosing multiple faults, Artificial Intelligence 32 (1987).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .hypotheses import Hypothesis, usual_odds
from .outcomes import Predictions
from .points import OUT_OF_CIRCUIT, Point

Numbers = NDArray[np.float64]

_SETTLED: Final = 0.5
_FIRM: Final = 0.8  # what a clear suspect must keep without any one reading
_SURPRISE: Final = 0.08  # likelihood of one reading under the best suspect: below, it contradicts


@dataclass(frozen=True)
class Observation:
    """One reading, judged: what it said of a point."""

    point: Point
    outcome: str
    mistaken: float | None = None
    """Chance that it says nothing of the point: another pin, probe at x10, a slip of the pen; the
    usual one when None. 0 for what cannot be taken again, such as a symptom."""


def replaced(hypothesis: Hypothesis) -> tuple[str, str]:
    """What would be replaced: a hypothesis is one way that this has failed. All stages are the
    chip."""
    return ("chip", "") if hypothesis.sort == "stage" else (hypothesis.sort, hypothesis.what)


@dataclass(frozen=True, eq=False)
class Posterior:
    """What the readings leave of each hypothesis."""

    predictions: Predictions
    observations: tuple[Observation, ...]
    single: Numbers
    """Probability that a hypothesis is the only fault, shape (hypotheses,)."""
    paired: Numbers
    """Probability of each pair, upper triangle, shape (hypotheses, hypotheses)."""
    usually_mistaken: float
    """Chance that a reading is mistaken, where it does not say so itself."""

    @cached_property
    def each(self) -> Numbers:
        """Probability that a hypothesis holds, alone or in a pair."""
        return np.asarray(self.single + self.paired.sum(axis=0) + self.paired.sum(axis=1))

    def ranked(self, most: int = 10) -> list[tuple[Hypothesis, float]]:
        """The likeliest, with their probabilities."""
        order = np.argsort(-self.each, kind="stable")[:most]
        likeliest = (self.predictions.hypotheses[at] for at in order.tolist())
        return list(zip(likeliest, self.each[order].tolist(), strict=True))

    def because(self, hypothesis: Hypothesis) -> list[str]:
        """For each reading, how well the hypothesis explains it."""
        row = self.predictions.rows[hypothesis]
        told = []
        for found in self.observations:
            share = _explained(self.predictions, found)[row]
            told.append(
                f"{found.point.at} {found.point.quantity} {found.outcome}:"
                f" {share:.0%} of such faults read so"
            )
        return told

    @cached_property
    def contradictions(self) -> tuple[Observation, ...]:
        """Readings to be taken again: nothing explains them, or what explains all the rest does
        not. Of a point read more than once, the last reading counts."""
        likeliest, probability = self._likeliest
        found = []
        for observation in {o.point: o for o in self.observations}.values():
            likelihood = _explained(self.predictions, observation)
            explained = likelihood[likeliest].max()
            settled = probability >= _SETTLED or likelihood.max() < 4 * _SURPRISE
            if explained < _SURPRISE and settled:
                found.append(observation)
        return tuple(found)

    @cached_property
    def leading(self) -> tuple[tuple[str, str], float]:
        """What would be replaced first, and the probability that it is at fault in some way."""
        return max(self.shares.items(), key=lambda pair: pair[1])

    @cached_property
    def shares(self) -> dict[tuple[str, str], float]:
        """For all that might be replaced, the probability that it is at fault in some way."""
        things, numbers = numbered([replaced(h) for h in self.predictions.hypotheses])
        alike = numbers[:, None] == numbers[None, :]
        twice = np.einsum("ij,ij->i", self.paired, alike)  # a pair of one thing counts once
        return dict(zip(things, np.bincount(numbers, self.each - twice).tolist(), strict=True))

    @cached_property
    def rests_on(self) -> tuple[Observation, ...]:
        """What was read in one go, at one place, without which the clear suspect would not be
        clear; empty when it would be, or when there is no clear suspect.

        To be taken again before anything is soldered: a slip there would blame the wrong part.
        Readings that were taken again, and agreed, carry one another.
        """
        thing, share = self.leading
        goes = _in_one_go(self.observations)
        if share < _SETTLED or not goes:
            return ()
        without = self._without(goes, thing)
        return goes[int(np.argmin(without))] if min(without) < _FIRM else ()

    def _without(
        self, goes: Sequence[tuple[Observation, ...]], thing: tuple[str, str]
    ) -> list[float]:
        """Probability that a thing is at fault, for each go, were its readings not there."""
        weighed = _Weighed(self.predictions, self.observations, self.usually_mistaken)
        is_it = np.array([replaced(h) == thing for h in self.predictions.hypotheses])
        return [weighed.share(is_it, self, set_aside) for set_aside in goes]

    @cached_property
    def _likeliest(self) -> tuple[list[int], float]:
        """Rows of the likeliest fault, or of the likeliest two at once, and their probability."""
        alone = int(np.argmax(self.single))
        pair = np.unravel_index(int(np.argmax(self.paired)), self.paired.shape)
        if self.single[alone] >= self.paired[pair]:
            return [alone], float(self.single[alone])
        return [int(row) for row in pair], float(self.paired[pair])


def posterior(
    predicted: Predictions,
    observations: Sequence[Observation],
    odds: dict[str, Any] | None = None,
) -> Posterior:
    """Weigh every hypothesis, and every pair, by the observations.

    A point may be read more than once: it is one and the same, each reading mistaken or not.
    """
    known = odds or usual_odds()
    mistaken = float(known["mistaken reading"])
    single, paired = _before_anything(predicted, float(known["second fault"]))
    if observations:
        weighed = _Weighed(predicted, observations, mistaken)
        single, paired = single * weighed.single(), paired * weighed.paired()
    total = single.sum() + paired.sum()
    return Posterior(predicted, tuple(observations), single / total, paired / total, mistaken)


@lru_cache(maxsize=8)
def _before_anything(predicted: Predictions, second_fault: float) -> tuple[Numbers, Numbers]:
    """The odds of single hypotheses and of pairs before any reading; they are not to be changed."""
    odds = np.array([hypothesis.odds for hypothesis in predicted.hypotheses])
    odds /= odds.sum()
    pairs = second_fault * np.triu(np.outer(odds, odds), k=1)
    pairs[:, -1] = 0.0  # "none of these" pairs with nothing
    _, numbers = numbered([(h.sort, h.what) for h in predicted.hypotheses])
    pairs[numbers[:, None] == numbers[None, :]] = 0.0  # a thing fails in one way only
    return odds, pairs


def numbered(
    things: Sequence[tuple[str, str]],
) -> tuple[tuple[tuple[str, str], ...], NDArray[np.intp]]:
    """The different things in the order that they come, and for each the number of its own."""
    places = {thing: at for at, thing in enumerate(dict.fromkeys(things))}
    return tuple(places), np.array([places[thing] for thing in things], dtype=np.intp)


def _in_one_go(observations: Sequence[Observation]) -> list[tuple[Observation, ...]]:
    """The readings that one slip can have spoilt: of one place, the first of each point, then the
    second ones. What cannot be taken again is left out, and so is a part out of circuit: it lies in
    the hand."""
    goes: dict[tuple[str, int], list[Observation]] = {}
    times: dict[Point, int] = {}
    for found in observations:
        times[found.point] = times.get(found.point, 0) + 1
        if found.mistaken != 0 and found.point.quantity != OUT_OF_CIRCUIT:
            goes.setdefault((found.point.at, times[found.point]), []).append(found)
    return [tuple(go) for go in goes.values()]


def _explained(predicted: Predictions, found: Observation) -> Numbers:
    """The chance of an outcome under each hypothesis, mistakes left aside."""
    outcome = found.point.outcomes.index(found.outcome)
    return np.asarray(predicted.table[:, predicted.column[found.point], outcome])


class _Weighed:
    """Likelihoods of readings under every hypothesis, and every pair.

    A reading that is not mistaken says what its point shows; a mistaken one says anything. Of two
    faults, the one that upsets a point more decides what it shows; else either may. Pairs are
    worked out once for all hypotheses that read alike at the points observed: they are many.
    """

    def __init__(
        self, predicted: Predictions, observations: Sequence[Observation], mistaken: float
    ) -> None:
        self._predicted, self._mistaken = predicted, mistaken
        self._by_point: dict[Point, list[Observation]] = {}
        for found in observations:
            self._by_point.setdefault(found.point, []).append(found)
        self._columns = {point: predicted.column[point] for point in self._by_point}
        said = np.column_stack([self._said(p, told) for p, told in self._by_point.items()])
        right = predicted.table[:, list(self._columns.values()), 0]
        shown = np.column_stack([_explained(predicted, found) for found in observations])
        _, first, which = np.unique(
            np.hstack([right, shown]), axis=0, return_index=True, return_inverse=True
        )
        self._alike, self._which, self._said_by_all = first, which.ravel(), said

    def single(self) -> Numbers:
        """Shape (hypotheses,)."""
        return np.asarray(self._said_by_all.prod(axis=1))

    def paired(self) -> Numbers:
        """Shape (hypotheses, hypotheses)."""
        return np.asarray(self._product.take(self._which, 0).take(self._which, 1))

    def share(
        self, is_it: NDArray[np.bool_], found: Posterior, set_aside: Sequence[Observation]
    ) -> float:
        """What the marked hypotheses have together, alone or in pairs, with readings set aside."""
        alone = found.single.copy()
        among_pairs = np.ones_like(self._product)
        for at, (point, told) in enumerate(self._by_point.items()):
            left = list(told)
            for one in set_aside:
                if one in left:
                    left.remove(one)
            if len(left) == len(told):
                continue
            said = self._said(point, left)
            alone *= said / self._said_by_all[:, at]
            among_pairs *= self._decided(point, said) / self._each[at]
        total, its = self._pairs(found, is_it)
        whole = alone.sum() + (total * among_pairs).sum()
        return float((alone[is_it].sum() + (its * among_pairs).sum()) / whole)

    def _said(self, point: Point, told: Sequence[Observation]) -> Numbers:
        """Chance under each hypothesis that a point is read so, once or several times."""
        outcomes = point.outcomes
        weights = np.ones(len(outcomes))
        for found in told:
            slips = self._mistaken if found.mistaken is None else found.mistaken
            reads = np.full(len(outcomes), slips / len(outcomes))
            reads[outcomes.index(found.outcome)] += 1 - slips
            weights *= reads
        return np.asarray(self._predicted.table[:, self._columns[point]] @ weights)

    def _decided(self, point: Point, said: Numbers) -> Numbers:
        """Chance under each pair of hypotheses that read alike."""
        saids = said[self._alike]
        rights = self._predicted.table[self._alike, self._columns[point], 0]
        deciding = np.where(rights[:, None] < rights[None, :], saids[:, None], saids[None, :])
        either = (saids[:, None] + saids[None, :]) / 2
        return np.where(rights[:, None] == rights[None, :], either, deciding)

    @cached_property
    def _each(self) -> list[Numbers]:
        return [
            self._decided(point, self._said_by_all[:, at])
            for at, point in enumerate(self._by_point)
        ]

    @cached_property
    def _product(self) -> Numbers:
        return np.asarray(np.prod(self._each, axis=0))

    def _pairs(self, found: Posterior, is_it: NDArray[np.bool_]) -> tuple[Numbers, Numbers]:
        """Probability of the pairs, and of those with a marked one in, summed over what reads
        alike."""
        order = np.argsort(self._which, kind="stable")
        starts = np.searchsorted(self._which[order], np.arange(len(self._alike)))

        def summed(pairs: Numbers) -> Numbers:
            rows = np.add.reduceat(pairs[order], starts, axis=0)
            return np.asarray(np.add.reduceat(rows[:, order], starts, axis=1))

        marked = is_it[:, None] | is_it[None, :]
        return summed(found.paired), summed(found.paired * marked)
