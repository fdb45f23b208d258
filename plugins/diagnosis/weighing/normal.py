"""The normal distribution on arrays."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

_ROOT: Final = math.sqrt(2 * math.pi)


def compute_normal_density(value: float, mean: Numbers, sigma: Numbers | float) -> Numbers:
    """Return the density at ``value``, per unit of it."""
    distance = (value - mean) / sigma
    return np.asarray(np.exp(-0.5 * distance**2) / (_ROOT * np.asarray(sigma)))


def compute_interval_probability(low: float, high: float, mean: Numbers, sigma: Numbers) -> Numbers:
    """Return the probability of lying between ``low`` and ``high``."""
    return np.asarray(
        _compute_cumulative((high - mean) / sigma) - _compute_cumulative((low - mean) / sigma)
    )


def _compute_cumulative(distance: Numbers) -> Numbers:
    """Return the cumulative distribution.

    Source: the logistic approximation of Page (1977), Applied Statistics 26: at most 1.4e-4 off.
    """
    bounded = np.clip(distance, -8, 8)
    exponent = 2 * 0.7988 * bounded * (1 + 0.04417 * bounded**2)
    return np.asarray(1 / (1 + np.exp(-np.clip(exponent, -60, 60))))
