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
    """Return the weighed readings, each amplitude judged in the company of those before it.

    Where the model is wrong, a signal is likelier off by a ratio that was read before: one weak
    stage weakens all the signals behind it alike.
    """
    ratios_before: list[float] = []
    in_company = []
    for observation, one in zip(readings, weighed, strict=True):
        ratio = _compute_ratio(cloud, spreads, observation)
        if ratio is not None and ratios_before:
            densities = compute_normal_density(ratio, np.array(ratios_before), _SPREAD)
            otherwise = (1 - _SHARE) * one.otherwise + _SHARE * float(densities.max())
            one = replace(one, otherwise=max(one.otherwise, otherwise))
        # A signal that is right says nothing of those after it.
        if ratio is not None and abs(ratio) > _LEAST_RATIO:
            ratios_before.append(ratio)
        in_company.append(one)
    return in_company


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
