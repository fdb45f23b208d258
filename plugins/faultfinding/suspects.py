"""Given readings: how likely is each suspect, alone or with a second one?

Bayes' rule over every single hypothesis and every pair, without sampling: each reading is an
outcome at a point, and outcomes of different points are taken as independent once the fault is
known. Source: de Kleer and Williams, Diagnosing multiple faults, Artificial Intelligence 32 (1987).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .hypotheses import Hypothesis, usual_odds
from .outcomes import Predictions
from .points import Point

Numbers = NDArray[np.float64]

_SETTLED: Final = 0.5
_SURPRISE: Final = 0.08  # likelihood of one reading under the best suspect: below, it contradicts


@dataclass(frozen=True)
class Observation:
    """One reading, judged: what it said of a point."""

    point: Point
    outcome: str


@dataclass(frozen=True, eq=False)
class Posterior:
    """What the readings leave of each hypothesis."""

    predictions: Predictions
    observations: tuple[Observation, ...]
    single: Numbers
    """Probability that a hypothesis is the only fault, shape (hypotheses,)."""
    paired: Numbers
    """Probability of each pair, upper triangle, shape (hypotheses, hypotheses)."""

    @cached_property
    def each(self) -> Numbers:
        """Probability that a hypothesis holds, alone or in a pair."""
        return np.asarray(self.single + self.paired.sum(axis=0) + self.paired.sum(axis=1))

    def ranked(self, most: int = 10) -> list[tuple[Hypothesis, float]]:
        """The likeliest, with their probabilities."""
        order = np.argsort(-self.each, kind="stable")[:most]
        return [(self.predictions.hypotheses[at], float(self.each[at])) for at in order]

    def because(self, hypothesis: Hypothesis) -> list[str]:
        """For each reading, how well the hypothesis explains it."""
        row = self.predictions.hypotheses.index(hypothesis)
        told = []
        for found in self.observations:
            share = _likelihood(self.predictions, found)[row]
            told.append(
                f"{found.point.at} {found.point.quantity} {found.outcome}:"
                f" {share:.0%} of such faults read so"
            )
        return told

    @cached_property
    def contradictions(self) -> tuple[Observation, ...]:
        """Readings to be taken again: nothing explains them, or what explains all the rest does
        not."""
        likeliest, probability = self._likeliest
        found = []
        for observation in self.observations:
            likelihood = _likelihood(self.predictions, observation)
            explained = likelihood[likeliest].max()
            settled = probability >= _SETTLED or likelihood.max() < 4 * _SURPRISE
            if explained < _SURPRISE and settled:
                found.append(observation)
        return tuple(found)

    @cached_property
    def rests_on(self) -> Observation | None:
        """The one reading without which the clear suspect would not be clear, if there is one.

        To be taken again before anything is soldered: a slip there would blame the wrong part.
        """
        best = int(np.argmax(self.each))
        if self.each[best] < _SETTLED:
            return None
        without = [self._without(observation, best) for observation in self.observations]
        if not without or min(without) >= _SETTLED:
            return None
        return self.observations[int(np.argmin(without))]

    def _without(self, left_out: Observation, row: int) -> float:
        """Probability of a hypothesis, were one reading not there: Bayes' rule undone."""
        single = self.single / _likelihood(self.predictions, left_out)
        paired = self.paired / _likelihood_of_pairs(self.predictions, [left_out])
        holds = single[row] + paired[row].sum() + paired[:, row].sum()
        return float(holds / (single.sum() + paired.sum()))

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
    """Weigh every hypothesis, and every pair, by the observations."""
    prior = np.array([hypothesis.odds for hypothesis in predicted.hypotheses])
    prior = prior / prior.sum()
    single, paired = prior.copy(), np.triu(np.outer(prior, prior), k=1)
    none = len(prior) - 1  # "none of these" pairs with nothing
    paired[:, none] = 0.0
    paired[_of_one_thing(predicted.hypotheses)] = 0.0  # it fails in one way only
    paired *= float((odds or usual_odds())["second fault"])
    for found in observations:
        single *= _likelihood(predicted, found)
    if observations:
        paired *= _likelihood_of_pairs(predicted, observations)
    total = single.sum() + paired.sum()
    return Posterior(predicted, tuple(observations), single / total, paired / total)


def _of_one_thing(among: Sequence[Hypothesis]) -> NDArray[np.bool_]:
    things = {thing: at for at, thing in enumerate(dict.fromkeys((h.sort, h.what) for h in among))}
    numbers = np.array([things[h.sort, h.what] for h in among])
    return np.asarray(numbers[:, None] == numbers[None, :])


def _likelihood(predicted: Predictions, found: Observation) -> Numbers:
    column = predicted.points.index(found.point)
    return np.asarray(predicted.table[:, column, found.point.outcomes.index(found.outcome)])


def _likelihood_of_pairs(predicted: Predictions, observations: Sequence[Observation]) -> Numbers:
    """Of two faults, the one that upsets the point more decides what it reads; else either may.

    Worked out once for all hypotheses that read alike at the points observed: they are many.
    """
    columns = [predicted.points.index(found.point) for found in observations]
    right = predicted.table[:, columns, 0]
    said = np.column_stack([_likelihood(predicted, found) for found in observations])
    alike, which = np.unique(np.hstack([right, said]), axis=0, return_inverse=True)
    product = np.ones((len(alike), len(alike)))
    for rights, saids in zip(*np.split(alike.T, 2), strict=True):
        deciding = np.where(rights[:, None] < rights[None, :], saids[:, None], saids[None, :])
        either = (saids[:, None] + saids[None, :]) / 2
        product *= np.where(rights[:, None] == rights[None, :], either, deciding)
    return np.asarray(product[np.ix_(which, which)])
