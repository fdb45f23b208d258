"""Two-sided statistical tolerance intervals, which hold most of a population with confidence."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from statistics import NormalDist
from typing import Final

_NORMAL: Final = NormalDist()
_FAR: Final = 9.0  # standard errors of the mean; less than 1e-18 lies beyond them
_STEP: Final = 0.25  # standard errors between the points of the sum
_CLOSE: Final = 1e-10  # of a probability; the rounding of the sums stays below


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

    def reach_confidence(factor: float) -> float:
        return sum(
            weight * _compute_chi_squared_tail((readings - 1) * (width / factor) ** 2, readings)
            for weight, width in zip(weights, widths, strict=True)
        )

    low, high = widths[0], 2 * widths[0]  # a sample is wider than the known population
    while reach_confidence(high) < confidence:
        low, high = high, 2 * high
    return _solve_rising(reach_confidence, confidence, low, high)


def _solve_half_width(off: float, coverage: float) -> float:
    """Return half the interval about ``off`` that holds ``coverage`` of a unit normal."""
    centred = _NORMAL.inv_cdf((1 + coverage) / 2)
    return _solve_rising(
        lambda half: _NORMAL.cdf(off + half) - _NORMAL.cdf(off - half),
        coverage,
        centred,
        2 * centred + off,
    )


def _solve_rising(
    function: Callable[[float], float], target: float, low: float, high: float
) -> float:
    """Return where a rising function of probability reaches ``target`` between two places.

    False position, halving the weight of an end that stays (the Illinois rule; Dowell and Jarratt,
    BIT 11, 1971; from memory).
    """
    low_gap, high_gap = function(low) - target, function(high) - target
    while True:
        middle = high - high_gap * (high - low) / (high_gap - low_gap)
        gap = function(middle) - target
        if abs(gap) <= _CLOSE:
            return middle
        if gap * high_gap < 0:
            low, low_gap = high, high_gap
        else:
            low_gap /= 2
        high, high_gap = middle, gap


def _compute_chi_squared_tail(x: float, readings: int) -> float:
    """Return the probability that chi-squared of ``readings`` - 1 degrees of freedom exceeds x.

    Source: Abramowitz & Stegun, 26.4.4 and 26.4.5, the finite sums for whole degrees of freedom.
    """
    freedom, half_x = readings - 1, max(x / 2, 1e-300)
    powers = (freedom % 2 / 2 + n for n in range(freedom // 2))
    log_half_x = math.log(half_x)
    tail = sum(math.exp(power * log_half_x - half_x - math.lgamma(power + 1)) for power in powers)
    return tail + math.erfc(math.sqrt(half_x)) if freedom % 2 else tail
