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
from .effort import effort_of, may_measure
from .hypotheses import Hypothesis
from .points import Point
from .suspects import Posterior

Numbers = NDArray[np.float64]

_WORTH_BITS: Final = 0.1  # below this nothing more separates the suspects
_WORTH_SAYING: Final = 0.02  # an outcome less likely is not talked about
_SECOND: Final = 0.1  # what is said beside the one that leads
_LEADING: Final = 60  # hypotheses looked at for what would lead


@dataclass(frozen=True)
class Outcome:
    """One way a measurement may come out."""

    name: str
    chance: float
    then: tuple[tuple[Hypothesis, float], ...]
    """What would lead then, with the probability of each."""


@dataclass(frozen=True)
class Proposal:
    """One measurement worth taking."""

    point: Point
    bits: float
    """Expected information."""
    effort: float
    outcomes: tuple[Outcome, ...]
    """What it may show, likeliest first."""

    @property
    def merit(self) -> float:
        """Bits for the effort."""
        return self.bits / self.effort


def proposals(
    chip: Chip,
    found: Posterior,
    most: int = 5,
    tried: Set[Point] = frozenset(),
    is_off: bool = False,
) -> list[Proposal]:
    """The measurements that tell most for their effort, best first; none when none tells more.

    Points marked as hazardous are never among them, nor those measured already, nor those
    ``tried`` that gave no answer. ``is_off``: the set is off now, and has to be switched on again
    for what needs it.
    """
    weights = found.each / found.each.sum()
    bits = expected_bits(found.predictions.table, weights, found.predictions.entropy_bits)
    measured = {observation.point for observation in found.observations} | tried
    measured |= {
        Point(o.point.at, "frequency")  # of a signal that is not there
        for o in found.observations
        if o.point.quantity == "vpp" and o.outcome == "missing"
    }
    offered = [
        (column, effort_of(chip, point, is_off))
        for column, point in enumerate(found.predictions.points)
        if bits[column] >= _WORTH_BITS and point not in measured and may_measure(chip, point)
    ]
    offered.sort(key=lambda one: -bits[one[0]] / one[1])
    points = found.predictions.points
    return [
        Proposal(points[at], float(bits[at]), effort, _outcomes(found, at, weights))
        for at, effort in offered[:most]
    ]


def _outcomes(found: Posterior, column: int, weights: Numbers) -> tuple[Outcome, ...]:
    """What a measurement may show, likeliest first, and what each would make of the suspects."""
    shown = weights[:, None] * found.predictions.table[:, column]
    chances = shown.sum(axis=0)
    names = found.predictions.points[column].outcomes
    return tuple(
        Outcome(names[at], float(chances[at]), _leading(found, shown[:, at] / chances[at]))
        for at in np.argsort(-chances)
        if chances[at] >= _WORTH_SAYING
    )


def _leading(found: Posterior, weights: Numbers) -> tuple[tuple[Hypothesis, float], ...]:
    """The likeliest two things of these weights, and the way that each has failed."""
    together: dict[tuple[str, str], list[int]] = {}
    for row in np.argsort(-weights)[:_LEADING]:
        hypothesis = found.predictions.hypotheses[row]
        together.setdefault((hypothesis.sort, hypothesis.what), []).append(int(row))
    shares = [(rows[0], float(weights[rows].sum())) for rows in together.values()]
    shares.sort(key=lambda one: -one[1])
    second = (one for one in shares[1:2] if one[1] >= _SECOND)
    leading = (*shares[:1], *second)
    return tuple((found.predictions.hypotheses[row], share) for row, share in leading)


def expected_bits(table: Numbers, weights: Numbers, known_bits: Numbers | None = None) -> Numbers:
    """Mutual information of every point's outcome with the hypotheses, shape (points,).

    ``table`` has shape (hypotheses, points, outcomes), ``weights`` adds up to 1; ``known_bits`` is
    the entropy of the table's rows, where it is known already.
    """
    mixed = np.tensordot(weights, table, 1)
    within = entropy_bits(table) if known_bits is None else known_bits
    return np.maximum(entropy_bits(mixed) - weights @ within, 0.0)


def entropy_bits(chances: Numbers) -> Numbers:
    """Entropy along the last axis; what never happens adds nothing."""
    return np.asarray(-(chances * np.log2(np.where(chances > 0, chances, 1.0))).sum(axis=-1))
