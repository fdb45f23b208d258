"""Readings to take again: those that nothing explains, and those that everything hangs on."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..deciding.next_step import Step
from ..evidence.observations import Evidence, Observation
from ..symptoms.catalogue import Symptom
from ..weighing.known_board import KnownBoard
from ..weighing.likelihood import weigh
from ..weighing.posterior import Posterior, compute_posterior
from .wording import describe_measurement

Numbers = NDArray[np.float64]

_SETTLED: Final = 0.6  # a suspect that something would be replaced for
_SURPRISE: Final = 0.05  # of the likelihood where the model is wrong: nothing explains it
_FALLS_TO: Final = 0.15  # what a suspect that hangs on one reading is left with without it


def list_contradictions(
    board: KnownBoard, posterior: Posterior, evidence: Evidence
) -> tuple[str, ...]:
    """Return, in words, the readings that no suspect explains together with the rest."""
    return tuple(
        f"{describe_measurement(board.chip, observation.point, observation.quantity)}:"
        " nothing that is known here explains it with the rest; take this reading again."
        for observation in _list_unexplained(board, posterior, evidence)
    )


def choose_repeats(
    board: KnownBoard,
    posterior: Posterior,
    evidence: Evidence,
    prior: Numbers,
    symptoms: Sequence[Symptom],
    odds: Mapping[str, Any] | None,
    steps: Sequence[Step],
) -> tuple[tuple[str, str], ...]:
    """Return the readings to take again before anything is replaced, each read once so far.

    Only where the next step would be one with the soldering iron.
    """
    first_kind = steps[0].kind if steps else "repair"
    # A further measurement, or the part itself once it is lifted, will tell.
    if not evidence.observations or first_kind in ("measure", "prove"):
        return ()
    leading, share = posterior.ranked[0]
    if share < _SETTLED or leading[0] in ("none", "part"):
        return ()
    times_read = Counter((one.point, one.quantity) for one in evidence.observations)
    for observation in evidence.observations:
        reading = (observation.point, observation.quantity)
        if times_read[reading] > 1:
            continue
        others = tuple(one for one in evidence.observations if one.line != observation.line)
        without_it = compute_posterior(
            board.chip, board.cloud, board.spreads, prior, symptoms,
            replace(evidence, observations=others), odds,
        )  # fmt: skip
        if without_it.share_of(leading) < _FALLS_TO * share:
            return (reading,)
    return ()


def _list_unexplained(
    board: KnownBoard, posterior: Posterior, evidence: Evidence
) -> list[Observation]:
    unexplained = []
    for observation in evidence.observations:
        if observation.point not in board.cloud.column:
            continue
        weighed = weigh(board.chip, board.cloud, board.spreads, observation)
        explained = float((posterior.weights * weighed.predicted).sum())
        if explained < _SURPRISE * weighed.otherwise:
            unexplained.append(observation)
    return unexplained
