"""Where to probe next: the point that tells most for the trouble it takes.

The expected information of a measurement is the mutual information between its outcome and what
is at fault: entropy of the outcome less its mean entropy once that is known, in bits. What is at
fault is what would be replaced: which stage of the chip has died, or how a capacitor failed, does
not matter to whoever has to fit another.
Source: Shannon (1948); for diagnosis, de Kleer and Williams (1987), section 4.
"""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ...schema import Chip
from .effort import Efforts
from .hypotheses import Hypothesis
from .points import OUT_OF_CIRCUIT, Point
from .suspects import Posterior, numbered, replaced

Numbers = NDArray[np.float64]

_WORTH_BITS: Final = 0.08  # below this nothing more separates the suspects
_LIKELY: Final = 1e-4  # of the likeliest one's weight: what is less cannot change what is proposed
_CLEAR: Final = 0.5  # a suspect likelier than all the others is proved before it is replaced
_WORTH_SAYING: Final = 0.02  # an outcome less likely is not talked about
_SECOND: Final = 0.1  # what is said beside the one that leads


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
    measured = {observation.point for observation in found.observations} | tried
    measured |= {
        Point(o.point.at, "frequency")  # of a signal that is not there
        for o in found.observations
        if o.point.quantity == "vpp" and o.outcome == "missing"
    }
    efforts, points = Efforts(chip), found.predictions.points

    def worth(bits: Numbers) -> list[tuple[int, float, float]]:
        """Column, bits and effort of what is worth measuring, best first."""
        offered = [
            (at, float(bits[at]), efforts.of(points[at], is_off))
            for at in np.flatnonzero(bits >= _WORTH_BITS).tolist()
            if points[at] not in measured and efforts.may_measure(points[at])
        ]
        return sorted(offered, key=lambda one: -one[1] / one[2])

    offered = worth(bits_of_things(found, weights))
    if not offered and all(o.mistaken == 0 for o in found.observations):
        # Nothing is replaced unmeasured: how the suspect failed is asked, and so whether it did.
        offered = worth(expected_bits(found.predictions.table, weights))
    if not offered:
        proof = _proof(found)
        if proof is not None and proof not in measured and efforts.may_measure(proof):
            at = found.predictions.column[proof]
            told = expected_bits(found.predictions.table[:, at : at + 1], weights)
            offered = [(at, float(told[0]), efforts.of(proof, is_off))]
    leading = _Leading(found.predictions.hypotheses)
    return [
        Proposal(points[at], bits, effort, _outcomes(found, at, weights, leading))
        for at, bits, effort in offered[:most]
    ]


def _proof(found: Posterior) -> Point | None:
    """The suspect part itself, out of circuit: it is to be lifted anyway before another is
    fitted."""
    (sort, what), share = found.leading
    point = Point(what, OUT_OF_CIRCUIT)
    known = sort == "part" and point in found.predictions.column
    return point if known and share >= _CLEAR else None


def _outcomes(
    found: Posterior, column: int, weights: Numbers, leading: _Leading
) -> tuple[Outcome, ...]:
    """What a measurement may show, likeliest first, and what each would make of the suspects."""
    shown = weights[:, None] * found.predictions.table[:, column]
    chances = shown.sum(axis=0)
    names = found.predictions.points[column].outcomes
    return tuple(
        Outcome(names[at], float(chances[at]), leading.of(shown[:, at] / chances[at]))
        for at in np.argsort(-chances).tolist()
        if chances[at] >= _WORTH_SAYING
    )


class _Leading:
    """The likeliest two things of any weights, and the way that each has failed."""

    def __init__(self, among: tuple[Hypothesis, ...]) -> None:
        self._among = among
        self._things, self._numbers = numbered([(h.sort, h.what) for h in among])

    def of(self, weights: Numbers) -> tuple[tuple[Hypothesis, float], ...]:
        """The second one only where it is worth saying."""
        shares = np.bincount(self._numbers, weights, minlength=len(self._things))
        first, second = np.argsort(-shares, kind="stable")[:2].tolist()
        leading = [first, second] if shares[second] >= _SECOND else [first]
        return tuple((self._way(thing, weights), float(shares[thing])) for thing in leading)

    def _way(self, thing: int, weights: Numbers) -> Hypothesis:
        return self._among[int(np.where(self._numbers == thing, weights, -1.0).argmax())]


def bits_of_things(found: Posterior, weights: Numbers) -> Numbers:
    """Mutual information of every point's outcome with what would be replaced, shape (points,)."""
    table = found.predictions.table
    _, numbers = numbered([replaced(h) for h in found.predictions.hypotheses])
    likely = np.flatnonzero(weights > _LIKELY * weights.max())
    likely = likely[np.argsort(numbers[likely], kind="stable")]
    starts = np.flatnonzero(np.diff(numbers[likely], prepend=-1))
    shown = np.add.reduceat(weights[likely, None, None] * table[likely], starts, axis=0)
    of_each = np.add.reduceat(weights[likely], starts)
    return expected_bits(shown / of_each[:, None, None], of_each / of_each.sum())


def expected_bits(table: Numbers, weights: Numbers) -> Numbers:
    """Mutual information of every point's outcome with the rows of a table, shape (points,).

    ``table`` has shape (rows, points, outcomes), ``weights`` adds up to 1. Sums are left to
    ``einsum``: the threads of a matrix product wait for each other longer than this takes where
    others work too.
    """
    mixed = np.einsum("h,hpo->po", weights, table)
    within = np.einsum("h,hp->p", weights, entropy_bits(table))
    return np.asarray(np.maximum(entropy_bits(mixed) - within, 0.0))


def entropy_bits(chances: Numbers) -> Numbers:
    """Entropy along the last axis; what never happens adds nothing."""
    return np.asarray(-(chances * np.log2(np.where(chances > 0, chances, 1.0))).sum(axis=-1))
