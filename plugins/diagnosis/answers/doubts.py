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
    if not evidence.observations or (steps and steps[0].kind == "measure"):
        return ()
    if steps and steps[0].kind == "prove":
        return ()  # the part itself will tell
    times = Counter(
        (observation.point, observation.quantity) for observation in evidence.observations
    )
    once = [
        observation
        for observation in evidence.observations
        if times[observation.point, observation.quantity] == 1
    ]
    thing, share = posterior.ranked[0]
    if share < _SETTLED or thing[0] in ("none", "part"):
        return ()
    for observation in once:
        left = tuple(other for other in evidence.observations if other.line != observation.line)
        without = compute_posterior(
            board.chip, board.cloud, board.spreads, prior, symptoms,
            replace(evidence, observations=left), odds,
        )  # fmt: skip
        if without.share_of(thing) < _FALLS_TO * share:
            return ((observation.point, observation.quantity),)
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
