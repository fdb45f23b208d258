"""Bandwidth and rise time of a probe and an oscilloscope."""

from __future__ import annotations

import math
from typing import Final

RISE_TIMES_BANDWIDTH: Final = math.log(9) / (2 * math.pi)
"""Rise time from 10 to 90 % times bandwidth of one pole: ln 9 / 2 pi, about 0.35.

Source: the step response 1 - exp(-t/RC), any circuit textbook; 0.35 is the rounded form in use.
"""


def compute_one_pole_gain(frequency_hz: float, bandwidth_hz: float) -> float:
    """Return the amplitude that one pole, 3 dB down at ``bandwidth_hz``, leaves at a frequency.

    >>> round(compute_one_pole_gain(20e6, 20e6), 3)
    0.707
    """
    return 1 / math.sqrt(1 + (frequency_hz / bandwidth_hz) ** 2)


def compute_rise_time_s(bandwidth_hz: float) -> float:
    """Return the rise time from 10 to 90 % of one pole.

    >>> round(compute_rise_time_s(20e6) * 1e9, 1)
    17.5
    """
    return RISE_TIMES_BANDWIDTH / bandwidth_hz


def combine_rise_times_s(*rise_times_s: float) -> float:
    """Return the rise time of cascaded stages: the root of the sum of squares.

    Exact for Gaussian responses, good to a few percent for others. Source: Valley and Wallman,
    Vacuum Tube Amplifiers (1948), chapter 2 (from memory).

    >>> combine_rise_times_s(3e-9, 4e-9)
    5e-09
    """
    return math.hypot(*rise_times_s)
