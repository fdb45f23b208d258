"""Probability that a measured value is within its limits, given its uncertainty.

Sources: JCGM 106:2012 (also ISO/IEC Guide 98-4), clause 7, normal distribution around the
measured value; JCGM 100:2008 (GUM), 4.3.7: a value known to half-width a has the standard
uncertainty a / sqrt(3).
"""

from __future__ import annotations

import math
from typing import Final

CONFORMS: Final = 0.95
"""A value with at least this probability counts as within its limits, below 1 - this as outside."""


def compute_probability_within(value: float, uncertainty: float, low: float, high: float) -> float:
    """Return the probability that the true value lies between ``low`` and ``high``.

    ``uncertainty`` is the standard uncertainty of ``value``; limits may be infinite.

    >>> round(compute_probability_within(13.6, 1.8, 12.5, 16.3), 2)
    0.66
    """
    if uncertainty <= 0:
        return 1.0 if low <= value <= high else 0.0
    return _compute_normal_cdf(high, value, uncertainty) - _compute_normal_cdf(
        low, value, uncertainty
    )


def compute_probability_below(limit: float, value: float, uncertainty: float) -> float:
    """Return the probability that the true value lies below ``limit``.

    >>> round(compute_probability_below(-5.40, -5.47, 0.05), 2)
    0.92
    """
    if uncertainty <= 0:
        return 1.0 if value < limit else 0.0
    return _compute_normal_cdf(limit, value, uncertainty)


def convert_half_width(half_width: float) -> float:
    """Return the standard uncertainty of a value that lies within a half-width for certain.

    >>> round(convert_half_width(1.0), 4)
    0.5774
    """
    return half_width / math.sqrt(3)


def _compute_normal_cdf(limit: float, value: float, uncertainty: float) -> float:
    """Return the normal distribution about ``value``, integrated up to ``limit``."""
    return 0.5 * (1 + math.erf((limit - value) / (uncertainty * math.sqrt(2))))
