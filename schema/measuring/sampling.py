"""Sampling by a digitising oscilloscope: sample rate, aliasing, quantisation."""

from __future__ import annotations

from typing import Final

_DIVISIONS_ACROSS: Final = 10
_DIVISIONS_UP: Final = 8
SAMPLES_A_CYCLE: Final = 10
"""Samples per cycle that show its shape fairly. Common practice."""


def sample_rate_hz(time_per_div_s: float, highest_hz: float, record_length: int) -> float:
    """Return the sample rate at a timebase: the record spread over the screen, up to a limit.

    >>> sample_rate_hz(1e-3, 500e6, 2500)
    250000.0
    """
    return min(highest_hz, record_length / (_DIVISIONS_ACROSS * time_per_div_s))


def compute_aliased_frequency_hz(frequency_hz: float, sampled_hz: float) -> float:
    """Return the frequency at which a sampled sine appears: folded below half the sample rate.

    Source: the sampling theorem; Shannon, Communication in the Presence of Noise (1949).

    >>> compute_aliased_frequency_hz(1.1e6, 1e6)
    100000.0
    """
    folds = round(frequency_hz / sampled_hz)
    return abs(frequency_hz - sampled_hz * folds)


def find_slowest_timebase_s(
    frequency_hz: float, highest_hz: float, record_length: int
) -> float | None:
    """Return the longest time per division, of 1, 2 and 5, that shows the frequency unaliased.

    With ``SAMPLES_A_CYCLE`` samples a cycle; None when no timebase gives that many.

    >>> find_slowest_timebase_s(15625.0, 500e6, 2500)
    0.001
    """
    if highest_hz < SAMPLES_A_CYCLE * frequency_hz:
        return None
    longest_s = record_length / (_DIVISIONS_ACROSS * SAMPLES_A_CYCLE * frequency_hz)
    steps = (float(f"{digit}e{power}") for power in range(1, -10, -1) for digit in (5, 2, 1))
    return next((step for step in steps if step <= longest_s * (1 + 1e-9)), None)


def compute_quantisation_step_v(volts_per_div: float, bits: int) -> float:
    """Return the volts of one quantisation step: eight divisions in two to the ``bits`` steps.

    >>> compute_quantisation_step_v(1.0, 8)
    0.03125
    """
    return _DIVISIONS_UP * volts_per_div / float(2**bits)
