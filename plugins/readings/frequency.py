"""How often a trace repeats: from its spectrum and from its crossings, which must agree."""

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
_ROUGH_SHARE: Final = 0.25  # how far the spectrum of few periods may be off
_FEWEST_CYCLES_OF_HARMONIC: Final = 7.0  # for its fundamental to show beside it
_MOST_PARTS: Final = 12
_FEWEST_SAMPLES: Final = 8.0  # in a period, to lay one on another
_MOST_LAG: Final = 0.6  # of the record, so that enough is left to compare
_CORRELATION_MARGIN: Final = 0.1
_REPEATING_CORRELATION: Final = (
    0.75  # correlation of a trace of few periods with itself one period on
)


@dataclass(frozen=True)
class Frequency:
    """How often a trace repeats, and how evenly."""

    hz: float
    uncertainty_hz: float
    """Standard uncertainty, without the error of the oscilloscope's own timebase."""
    jitter_s: float
    """Root mean square of how far its crossings are from evenly spaced times."""


def estimate_frequency(
    volts: Samples, spectrum: Spectrum, low_v: float, high_v: float, noise_v: float
) -> Frequency:
    """The frequency of a trace, from spectrum or crossings, whichever is more exact.

    ``volts`` are evenly spaced and about their mean; ``low_v`` and ``high_v`` are the levels they
    run between. Raises NoFrequency when the two do not agree to within half a period over the
    whole record, or to within what is certain of the spectrum where it holds few periods.
    """
    line = refine_line(volts, spectrum.interval_s, find_strongest_line(spectrum, noise_v), noise_v)
    few = line.cycles < _FEWEST_CYCLES_OF_HARMONIC
    reasons: list[NoFrequency] = []
    for parts in (1, 2) if few else (_count_parts(volts, 1 / (line.hz * spectrum.interval_s)),):
        try:
            levels_v = (low_v, high_v)
            return _reconcile(volts, spectrum.interval_s, line.part(parts), levels_v, noise_v)
        except NoFrequency as reason:
            reasons.append(reason)
    raise reasons[0]


def _reconcile(
    volts: Samples, interval_s: float, line: Line, levels_v: tuple[float, float], noise_v: float
) -> Frequency:
    """The frequency near a line of the spectrum at which the trace also crosses its levels."""
    crossings = find_crossings(volts, interval_s, line, levels_v, noise_v)
    half_period_hz = 0.5 / (len(volts) * interval_s)
    rough_hz = _ROUGH_SHARE * line.hz if line.cycles < _FEWEST_CYCLES_FOR_SPECTRUM else 0.0
    if abs(crossings.hz - line.hz) > max(half_period_hz, 3 * line.uncertainty_hz, rough_hz):
        spectrum, crossed = print_value(line.hz, "Hz"), print_value(crossings.hz, "Hz")
        raise NoFrequency(f"the spectrum says {spectrum}, the crossings {crossed}")
    if line.cycles < FEWEST_CYCLES_FOR_PHASE:
        _require_repetition(volts, 1 / (crossings.hz * interval_s))
    both: tuple[Line | Crossings, ...] = (line, crossings)
    uncertainty_hz, hz = min((found.uncertainty_hz, found.hz) for found in both)
    return Frequency(hz, math.hypot(uncertainty_hz, crossings.wander_hz), crossings.jitter_s)


def _count_parts(volts: Samples, period: float) -> int:
    """After how many such periods, in samples, the trace is as much the same again as ever.

    More than one when the strongest line is a harmonic, as of pulses in groups.
    """
    if period < _FEWEST_SAMPLES:
        return 1
    smooth, over = _smooth_and_decimate(volts[: int(3 * _MOST_PARTS * period)], period)
    most = min(_MOST_PARTS, max(1, int(_MOST_LAG * len(smooth) * over / period)))
    alike = [_autocorrelate(smooth, round(parts * period / over)) for parts in range(1, most + 1)]
    if alike[0] > _REPEATING_CORRELATION:
        return 1
    return next(n for n, r in enumerate(alike, start=1) if r >= max(alike) - _CORRELATION_MARGIN)


def _require_repetition(volts: Samples, period: float) -> None:
    """Refuse a period, in samples, after which the trace is not the same again."""
    smooth, over = _smooth_and_decimate(volts, period)
    lag = round(period / over)
    if lag + 2 < len(smooth) and _autocorrelate(smooth, lag) < _REPEATING_CORRELATION:
        raise NoFrequency("it is not the same again one period on")


def _smooth_and_decimate(volts: Samples, period: float) -> tuple[Samples, int]:
    """The trace smoothed over a tenth of a period, every so many samples of it."""
    over = max(1, int(period / 50))
    means = volts[: len(volts) // over * over].reshape(-1, over).mean(axis=1)
    tenth = max(1, int(period / 10 / over))
    return np.convolve(means, np.full(tenth, 1 / tenth), "valid"), over


def _autocorrelate(volts: Samples, lag: int) -> float:
    """Correlation of a trace with itself later on."""
    first, later = volts[:-lag] - volts[:-lag].mean(), volts[lag:] - volts[lag:].mean()
    size = math.sqrt(float(first @ first) * float(later @ later))
    return float(first @ later) / size if size else 0.0
