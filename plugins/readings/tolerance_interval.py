"""Two-sided statistical tolerance intervals: the range that holds most of a population, surely."""

from __future__ import annotations

import math
from functools import lru_cache
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

_NORMAL: Final = NormalDist()
_FAR: Final = 9.0  # standard errors of the mean: beyond them lies less than 1e-18
_HALVINGS: Final = 60


@lru_cache(maxsize=256)
def compute_tolerance_factor(
    readings: int, coverage: float = 0.90, confidence: float = 0.95
) -> float:
    """The factor k2: mean ± k2·s holds the share ``coverage`` of a normal population.

    It does so in the share ``confidence`` of all samples of this many readings, whose mean and
    standard deviation are both estimated. Computed exactly (ISO 16269-6, two-sided, normal,
    unknown mean and standard deviation), not by Howe's formula of NIST/SEMATECH e-Handbook
    7.2.6.3, which comes within 1 % from three readings on. Raises ValueError below two readings.
    """
    if readings < 2:
        raise ValueError(f"found {readings} reading, expected at least 2 for a tolerance interval")
    # The mean is off by t standard errors; the interval then needs this half-width, in sigma.
    nodes, weights = np.polynomial.legendre.leggauss(48)
    t = (nodes + 1) * _FAR / 2
    weight = weights * _FAR * np.exp(-(t**2) / 2) / math.sqrt(2 * math.pi)
    width = np.array([_solve_half_width(off, coverage) for off in t / math.sqrt(readings)])
    low, high = 0.1, 1e6
    for _ in range(_HALVINGS):
        factor = math.sqrt(low * high)
        held = float(
            weight @ _compute_chi_squared_tail((readings - 1) * (width / factor) ** 2, readings)
        )
        low, high = (low, factor) if held > confidence else (factor, high)
    return math.sqrt(low * high)


def _solve_half_width(off: float, coverage: float) -> float:
    """Half the interval about ``off`` that holds ``coverage`` of a standard normal population."""
    low, high = 0.0, off + 10.0
    for _ in range(_HALVINGS):
        half = (low + high) / 2
        held = _NORMAL.cdf(off + half) - _NORMAL.cdf(off - half)
        low, high = (low, half) if held > coverage else (half, high)
    return (low + high) / 2


def _compute_chi_squared_tail(x: NDArray[np.float64], readings: int) -> NDArray[np.float64]:
    """Probability that chi-squared with ``readings`` - 1 degrees of freedom exceeds each ``x``.

    The finite sums for whole degrees of freedom: Abramowitz & Stegun, 26.4.4 and 26.4.5.
    """
    freedom, half = readings - 1, np.maximum(x / 2, 1e-300)
    powers = np.arange(freedom % 2 / 2, freedom / 2)
    gammas = np.array([math.lgamma(power + 1) for power in powers])
    terms = np.exp(powers * np.log(half)[:, None] - half[:, None] - gammas)
    above: NDArray[np.float64] = terms.sum(axis=1)
    return above + [math.erfc(math.sqrt(value)) for value in half] if freedom % 2 else above
