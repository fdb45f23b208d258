"""Readings along one signal: where the model is wrong about the first, it is about the next ones.

Something that nobody thought of weakens a signal by some ratio; then every point along it shows
that ratio, and the second reading of it tells nothing new. Without this, three readings along one
signal would count three times against a fault the model knows only roughly.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from ..board.cloud import Cloud
from ..evidence.observations import Observation
from .likelihood import Weighed
from .normal import compute_normal_density
from .spreads import Spreads

_SHARE: Final = 0.4  # of the signals read before, those that it has in common with the next
_SPREAD: Final = 0.25  # of the ratio along one signal, natural logarithm
_LEAST_RATIO: Final = 0.15  # closer to 1, a signal is as in a good set, and tells nothing here


def weigh_company(
    cloud: Cloud, spreads: Spreads, readings: Sequence[Observation], weighed: Sequence[Weighed]
) -> list[Weighed]:
    """Return the weighed readings, each amplitude being likelier, where the model is wrong, to be
    off by a ratio that was read before."""
    before: list[float] = []
    found = []
    for observation, one in zip(readings, weighed, strict=True):
        ratio = _compute_ratio(cloud, spreads, observation)
        if ratio is not None and before:
            near = float(compute_normal_density(ratio, np.array(before), _SPREAD).max())
            shared = (1 - _SHARE) * one.otherwise + _SHARE * near
            one = replace(one, otherwise=max(one.otherwise, shared))
        if ratio is not None and abs(ratio) > _LEAST_RATIO:
            before.append(ratio)
        found.append(one)
    return found


def _compute_ratio(cloud: Cloud, spreads: Spreads, observation: Observation) -> float | None:
    """Return how far an amplitude is off, as a natural logarithm; None where none was read."""
    column = cloud.column[observation.point]
    good_v = float(cloud.healthy_vpp_v[column])
    floor_v = float(spreads.floor_v[column])
    if observation.quantity != "vpp" or observation.value is None or not good_v > floor_v:
        return None
    if observation.value <= floor_v:
        return None  # gone: a chance of its own, not a density
    return math.log(observation.value / good_v)
