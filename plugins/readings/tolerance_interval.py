"""Two-sided statistical tolerance intervals, which hold most of a population with confidence."""

from __future__ import annotations

import math
from functools import lru_cache
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

_NORMAL: Final = NormalDist()
_FAR: Final = 9.0  # standard errors of the mean; less than 1e-18 lies beyond them
_HALVINGS: Final = 60  # of an interval: more than the 53 bits of a float
_NODES: Final = 48  # of the Gauss-Legendre quadrature


@lru_cache(maxsize=256)
def compute_tolerance_factor(
    readings: int, coverage: float = 0.90, confidence: float = 0.95
) -> float:
    """Return the factor k2 for which mean ± k2·s holds ``coverage`` of a normal population.

    It does so in the share ``confidence`` of all samples of this many readings, whose mean and
    standard deviation are both estimated. Computed exactly (ISO 16269-6, two-sided, normal,
    unknown mean and standard deviation) rather than by Howe's formula (NIST/SEMATECH e-Handbook
    7.2.6.3), which is within 1 % from three readings on. Raises ValueError below two readings.
    """
    if readings < 2:
        raise ValueError(f"{readings} reading gives no tolerance interval; take at least 2")
    # For a mean that is off by t standard errors, the half-width needed in sigma.
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    t = (nodes + 1) * _FAR / 2
    weight = weights * _FAR * np.exp(-(t**2) / 2) / math.sqrt(2 * math.pi)
    width = np.array([_solve_half_width(off, coverage) for off in t / math.sqrt(readings)])
    low, high = 0.1, 1e6
    for _ in range(_HALVINGS):
        factor = math.sqrt(low * high)
        confidence_reached = float(
            weight @ _compute_chi_squared_tail((readings - 1) * (width / factor) ** 2, readings)
        )
        low, high = (low, factor) if confidence_reached > confidence else (factor, high)
    return math.sqrt(low * high)


def _solve_half_width(off: float, coverage: float) -> float:
    """Return half the interval about ``off`` that holds ``coverage`` of a unit normal."""
    low, high = 0.0, off + 10.0
    for _ in range(_HALVINGS):
        half = (low + high) / 2
        coverage_reached = _NORMAL.cdf(off + half) - _NORMAL.cdf(off - half)
        low, high = (low, half) if coverage_reached > coverage else (half, high)
    return (low + high) / 2


def _compute_chi_squared_tail(x: NDArray[np.float64], readings: int) -> NDArray[np.float64]:
    """Return the probability that chi-squared of ``readings`` - 1 degrees of freedom exceeds x.

    The result has the shape of ``x``. Source: Abramowitz & Stegun, 26.4.4 and 26.4.5, the finite
    sums for whole degrees of freedom.
    """
    freedom, half_x = readings - 1, np.maximum(x / 2, 1e-300)
    powers = np.arange(freedom % 2 / 2, freedom / 2)
    gammas = np.array([math.lgamma(power + 1) for power in powers])
    terms = np.exp(powers * np.log(half_x)[:, None] - half_x[:, None] - gammas)
    tail: NDArray[np.float64] = terms.sum(axis=1)
    return tail + [math.erfc(math.sqrt(value)) for value in half_x] if freedom % 2 else tail
