"""Frequency of a trace, from its spectrum and from its crossings, which must agree."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from ...schema.quantities import print_value
from ...schema.waveforms import Samples
from .crossings import Crossings, find_crossings
from .spectrum import (
    FEWEST_CYCLES_FOR_PHASE,
    Line,
    NoFrequency,
    Spectrum,
    find_strongest_line,
    refine_line,
)

_FEWEST_CYCLES_FOR_SPECTRUM: Final = 4.0
_SIGNIFICANT: Final = 3.0  # standard uncertainties that two figures may differ by
_ROUGH_SHARE: Final = 0.25  # error of the spectrum's frequency in a record of few periods
_FEWEST_CYCLES_OF_HARMONIC: Final = 7.0  # for its fundamental to show beside it
_MOST_PARTS: Final = 12  # periods of the strongest line in one of the trace
_REPEATS_NEEDED: Final = 3  # of the longest period; more of the record would only take time
_FEWEST_SAMPLES: Final = 8.0  # in a period, for the correlation of two of them
_MOST_LAG: Final = 0.6  # of the record, so that enough is left to correlate
_CORRELATION_MARGIN: Final = 0.1  # correlations this close are equally good
_REPEATING_CORRELATION: Final = (
    0.75  # correlation of a trace of few periods with itself one period on
)


@dataclass(frozen=True)
class Frequency:
    """The frequency of a trace, and how evenly it repeats."""

    hz: float
    uncertainty_hz: float
    """Standard uncertainty, without the error of the oscilloscope's own timebase."""
    jitter_s: float
    """Root mean square deviation of its crossings from evenly spaced times."""


def estimate_frequency(
    volts: Samples, spectrum: Spectrum, low_v: float, high_v: float, noise_v: float
) -> Frequency:
    """Return the frequency of a trace, from spectrum or crossings, whichever is more exact.

    ``volts`` are evenly spaced samples with their mean taken off, between ``low_v`` and
    ``high_v``; ``noise_v`` is the standard deviation of their noise. Raises NoFrequency when
    spectrum and crossings differ by more than half a period over the whole record, or, in a record
    of few periods, by more than the uncertainty of the spectrum.
    """
    interval_s = spectrum.interval_s
    line = refine_line(volts, interval_s, find_strongest_line(spectrum, noise_v), noise_v)
    # A short record hides a fundamental beside its harmonic: both are tried.
    harmonic_orders: tuple[int, ...] = (1, 2)
    if line.cycles >= _FEWEST_CYCLES_OF_HARMONIC:
        harmonic_orders = (_count_parts(volts, 1 / (line.hz * interval_s)),)
    reasons: list[NoFrequency] = []
    for order in harmonic_orders:
        try:
            return _reconcile(volts, interval_s, line.divide(order), (low_v, high_v), noise_v)
        except NoFrequency as reason:
            reasons.append(reason)
    raise reasons[0]


def _reconcile(
    volts: Samples, interval_s: float, line: Line, levels_v: tuple[float, float], noise_v: float
) -> Frequency:
    """Return the frequency near a spectral line at which the trace also crosses its levels.

    Raises NoFrequency when they differ.
    """
    crossings = find_crossings(volts, interval_s, line, levels_v, noise_v)
    half_period_hz = 0.5 / (len(volts) * interval_s)
    rough_hz = _ROUGH_SHARE * line.hz if line.cycles < _FEWEST_CYCLES_FOR_SPECTRUM else 0.0
    most_apart_hz = max(half_period_hz, _SIGNIFICANT * line.uncertainty_hz, rough_hz)
    if abs(crossings.hz - line.hz) > most_apart_hz:
        spectrum_words = print_value(line.hz, "Hz")
        crossings_words = print_value(crossings.hz, "Hz")
        raise NoFrequency(f"the spectrum says {spectrum_words}, the crossings {crossings_words}")
    if line.cycles < FEWEST_CYCLES_FOR_PHASE:
        _require_repetition(volts, 1 / (crossings.hz * interval_s))
    candidates: tuple[Line | Crossings, ...] = (line, crossings)
    uncertainty_hz, hz = min((candidate.uncertainty_hz, candidate.hz) for candidate in candidates)
    return Frequency(hz, math.hypot(uncertainty_hz, crossings.wander_hz), crossings.jitter_s)


def _count_parts(volts: Samples, period: float) -> int:
    """Return after how many such periods, in samples, the trace repeats best.

    More than one when the strongest line is a harmonic, as for pulses in groups.
    """
    if period < _FEWEST_SAMPLES:
        return 1
    longest_record = int(_REPEATS_NEEDED * _MOST_PARTS * period)
    smooth_v, step = _smooth_and_decimate(volts[:longest_record], period)
    longest_lag = _MOST_LAG * len(smooth_v) * step
    most_parts = min(_MOST_PARTS, max(1, int(longest_lag / period)))
    correlations = [
        _autocorrelate(smooth_v, round(parts * period / step)) for parts in range(1, most_parts + 1)
    ]
    if correlations[0] > _REPEATING_CORRELATION:
        return 1
    # A trace repeats after each multiple of its period: the shortest as good as any is the period.
    good_enough = max(correlations) - _CORRELATION_MARGIN
    return next(
        parts
        for parts, correlation in enumerate(correlations, start=1)
        if correlation >= good_enough
    )


def _require_repetition(volts: Samples, period: float) -> None:
    """Raise NoFrequency for a period, in samples, after which the trace does not repeat."""
    smooth, step = _smooth_and_decimate(volts, period)
    lag = round(period / step)
    if lag + 2 < len(smooth) and _autocorrelate(smooth, lag) < _REPEATING_CORRELATION:
        raise NoFrequency("it is not the same again one period on")


def _smooth_and_decimate(volts: Samples, period: float) -> tuple[Samples, int]:
    """Return the trace smoothed over a tenth of a period and thinned out, and its step."""
    step = max(1, int(period / 50))
    means = volts[: len(volts) // step * step].reshape(-1, step).mean(axis=1)
    tenth = max(1, int(period / 10 / step))
    return np.convolve(means, np.full(tenth, 1 / tenth), "valid"), step


def _autocorrelate(volts: Samples, lag: int) -> float:
    """Return the correlation of a trace with itself ``lag`` samples later."""
    first, later = volts[:-lag] - volts[:-lag].mean(), volts[lag:] - volts[lag:].mean()
    size = math.sqrt(float(first @ first) * float(later @ later))
    return float(first @ later) / size if size else 0.0
