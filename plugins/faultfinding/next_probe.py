"""Where to probe next: the point that tells most for the trouble it takes.

The expected information of a measurement is the mutual information between its outcome and the
hypotheses: entropy of the outcome less its mean entropy once the hypothesis is known, in bits.
Source: Shannon (1948); for diagnosis, de Kleer and Williams (1987), section 4.
"""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ...schema import Chip
from ..cards.cautions import may_probe
from .points import OUTCOMES, Point
from .suspects import Posterior

Numbers = NDArray[np.float64]

# Trouble of one measurement, against a DC voltage on a pin. Common practice.
EFFORT: Final = {"dc": 1.0, "vpp": 1.5, "frequency": 1.7}
_WORTH_BITS: Final = 0.1  # below this nothing more separates the suspects


@dataclass(frozen=True)
class Proposal:
    """One measurement worth taking."""

    point: Point
    bits: float
    """Expected information."""
    effort: float
    outcomes: tuple[tuple[str, float], ...]
    """What it may show, likeliest first, with the probability of each."""

    @property
    def merit(self) -> float:
        """Bits for the effort."""
        return self.bits / self.effort


def proposals(
    chip: Chip, found: Posterior, most: int = 5, tried: Set[Point] = frozenset()
) -> list[Proposal]:
    """The measurements that tell most for their effort, best first; none when none tells more.

    Points marked as hazardous are never among them, nor those measured already, nor those
    ``tried`` that gave no answer.
    """
    bits = expected_bits(found.predictions.table, found.each / found.each.sum())
    measured = {observation.point for observation in found.observations} | tried
    chances = _chances(found)
    offered = []
    for column, point in enumerate(found.predictions.points):
        if point in measured or not may_probe(chip, point.at):
            continue
        if bits[column] >= _WORTH_BITS:
            row = chances[column]
            order = np.argsort(-row)
            outcomes = tuple((OUTCOMES[at], float(row[at])) for at in order if row[at] >= 0.02)
            effort = EFFORT[point.quantity]
            offered.append(Proposal(point, float(bits[column]), effort, outcomes))
    return sorted(offered, key=lambda proposal: -proposal.merit)[:most]


def expected_bits(table: Numbers, weights: Numbers) -> Numbers:
    """Mutual information of every point's outcome with the hypotheses, shape (points,).

    ``table`` has shape (hypotheses, points, outcomes), ``weights`` adds up to 1.
    """
    mixed = np.einsum("h,hpo->po", weights, table)
    return np.maximum(_entropy_bits(mixed) - weights @ _entropy_bits(table), 0.0)


def _entropy_bits(chances: Numbers) -> Numbers:
    """Entropy along the last axis; what never happens adds nothing."""
    return np.asarray(-(chances * np.log2(np.where(chances > 0, chances, 1.0))).sum(axis=-1))


def _chances(found: Posterior) -> Numbers:
    weights = found.each / found.each.sum()
    return np.asarray(np.einsum("h,hpo->po", weights, found.predictions.table))
