"""Two-sided statistical tolerance intervals, which hold most of a population with confidence."""

from __future__ import annotations

import math
from functools import lru_cache
from statistics import NormalDist
from typing import Final

_NORMAL: Final = NormalDist()
_FAR: Final = 9.0  # standard errors of the mean; less than 1e-18 lies beyond them
_STEP: Final = 0.25  # standard errors between the points of the sum
_HALVINGS: Final = 48  # of an interval: as far as the bits of a float go


@lru_cache(maxsize=256)
def compute_tolerance_factor(
    readings: int, coverage: float = 0.90, confidence: float = 0.95
) -> float:
    """Return the factor k2 for which mean ± k2·s holds ``coverage`` of a normal population.

    It does so in the share ``confidence`` of all samples of this many readings, whose mean and
    standard deviation are both estimated. Computed exactly (ISO 16269-6, two-sided, normal,
    unknown mean and standard deviation) rather than by Howe's formula (NIST/SEMATECH e-Handbook
    7.2.6.3), which is within 1 % from three readings on. Raises ValueError below two readings.

    The mean is off by t standard errors with the density of the normal distribution. For such an
    even and smooth integrand the trapezoidal rule is exact to rounding (Trefethen and Weideman,
    The exponentially convergent trapezoidal rule, SIAM Review 56, 2014; from memory).
    """
    if readings < 2:
        raise ValueError(f"{readings} reading gives no tolerance interval; take at least 2")
    offsets = [n * _STEP for n in range(round(_FAR / _STEP) + 1)]
    weights = [_STEP * _NORMAL.pdf(t) * (2 if t else 1) for t in offsets]
    widths = [_solve_half_width(t / math.sqrt(readings), coverage) for t in offsets]
    low, high = 0.1, 1e6
    for _ in range(_HALVINGS):
        factor = math.sqrt(low * high)
        confidence_reached = sum(
            weight * _compute_chi_squared_tail((readings - 1) * (width / factor) ** 2, readings)
            for weight, width in zip(weights, widths, strict=True)
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


def _compute_chi_squared_tail(x: float, readings: int) -> float:
    """Return the probability that chi-squared of ``readings`` - 1 degrees of freedom exceeds x.

    Source: Abramowitz & Stegun, 26.4.4 and 26.4.5, the finite sums for whole degrees of freedom.
    """
    freedom, half_x = readings - 1, max(x / 2, 1e-300)
    powers = (freedom % 2 / 2 + n for n in range(freedom // 2))
    log_half_x = math.log(half_x)
    tail = sum(math.exp(power * log_half_x - half_x - math.lgamma(power + 1)) for power in powers)
    return tail + math.erfc(math.sqrt(half_x)) if freedom % 2 else tail
