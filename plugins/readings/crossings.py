"""Times at which a trace rises through a level, and how evenly spaced they are."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from ...schema.quantities import print_value
from ...schema.waveforms import Samples
from .spectrum import FEWEST_CYCLES_FOR_PHASE, Line, NoFrequency

_SMOOTHED: Final = 1 / 50  # of a period
_SMOOTHED_NOISY: Final = 1 / 12
_NOISY: Final = 0.05  # noise over height
_STEEP: Final = 0.3  # of the height between two samples: the edge is somewhere in between
_SOME_CROSSINGS: Final = 200  # enough for a record of few periods; more would be noise
_ON_TIME: Final = 1 / 16  # of a period: the most that a crossing may be early or late
_PLACES: Final = 32  # bins of the phase of crossings
_FEWEST_SEEN: Final = 0.8  # share of periods that have a crossing on time
_MOST_TWICE: Final = 1.1  # crossings on time for each of those periods
_ROUGH_SHARE: Final = 0.25  # error of the spectrum's frequency in a record of few periods
_LEVELS: Final = (0.5, 0.2, 0.8)  # of the height
_LEAST_MARGIN: Final = 0.05  # of the height, on either side of a level
_MOST_MARGIN: Final = 0.3
_NOISE_MARGIN: Final = 3.0  # standard deviations of the noise


@dataclass(frozen=True)
class Crossings:
    """The frequency of the crossings, and how evenly spaced they are."""

    hz: float
    uncertainty_hz: float
    jitter_s: float
    wander_hz: float
    """The part of the uncertainty that comes from jitter beyond the effect of noise."""


def find_crossings(
    volts: Samples, interval_s: float, line: Line, levels_v: tuple[float, float], noise_v: float
) -> Crossings:
    """Return the crossings of the smoothed trace through the level that gives the most even ones.

    The levels are the middle and a fifth from either end: video crosses evenly near its sync,
    stacked pulses where they have no plateau. ``line`` is the strongest spectral line,
    ``levels_v`` lowest and highest level, ``noise_v`` the standard deviation of the noise. Raises
    NoFrequency when no level gives even crossings.
    """
    low_v, high_v = levels_v
    height_v = high_v - low_v
    smoothing = _SMOOTHED if noise_v < _NOISY * height_v else _SMOOTHED_NOISY
    window = max(1, int(smoothing / (line.hz * interval_s)))
    running_sum = np.concatenate([[0.0], np.cumsum(volts)])
    smooth = (running_sum[window:] - running_sum[:-window]) / window
    smoothed_noise_v = noise_v / math.sqrt(window)
    margin_v = max(_LEAST_MARGIN * height_v, _NOISE_MARGIN * smoothed_noise_v)
    margin_v = min(margin_v, _MOST_MARGIN * height_v)
    is_steep = bool(np.abs(np.diff(volts)).max() > _STEEP * height_v)
    edge_uncertainty_s = interval_s / math.sqrt(12) if is_steep else 0.0
    candidates: list[Crossings] = []
    reasons: list[NoFrequency] = []
    for level in _LEVELS:
        rises = _find_rises(smooth, low_v + level * height_v, margin_v)
        try:
            candidates.append(
                _fit_crossings(*rises, interval_s, line, smoothed_noise_v, edge_uncertainty_s)
            )
        except NoFrequency as reason:
            reasons.append(reason)
    if not candidates:
        raise reasons[0]
    return min(candidates, key=lambda crossings: crossings.uncertainty_hz)


def _find_rises(
    volts: Samples, level_v: float, margin_v: float
) -> tuple[Samples, Samples, Samples]:
    """Return the rises through a level, from below its margin to above it, three arrays.

    They are places in samples, durations in samples, and heights in volts.
    """
    above = volts > level_v + margin_v
    outside_margin = np.flatnonzero(above | (volts < level_v - margin_v))
    is_above = above[outside_margin]
    rise_index = np.flatnonzero(~is_above[:-1] & is_above[1:])
    start, end = outside_margin[rise_index], outside_margin[rise_index + 1]
    height_v = volts[end] - volts[start]
    duration = (end - start).astype(np.float64)
    return start + (level_v - volts[start]) / height_v * duration, duration, height_v


def _fit_crossings(
    place: Samples,
    taken: Samples,
    risen_v: Samples,
    interval_s: float,
    line: Line,
    noise_v: float,
    unsure_s: float,
) -> Crossings:
    """Return the line fitted through the times of the crossings over the number of their period.

    Raises NoFrequency when they are not one a period.
    """
    if len(place) < 2:
        raise NoFrequency("less than two periods were captured")
    at_s = place * interval_s
    number = _number_periods(at_s, line)
    period_s, off_s, spread = _fit_line(number, at_s)
    kept = np.abs(off_s) <= _ON_TIME * period_s
    seen = np.unique(number[kept])
    if len(seen) < 2 or not (
        len(seen) >= _FEWEST_SEEN * (number[-1] - number[0] + 1)
        and np.count_nonzero(kept) <= _MOST_TWICE * len(seen)
    ):
        raise NoFrequency(_describe_unevenness(at_s, line))
    period_s, off_s, spread = _fit_line(number[kept], at_s[kept])
    jitter_s = math.sqrt(float(off_s @ off_s) / len(off_s))
    slope = float(np.median(risen_v / taken)) / interval_s
    expected_s = math.hypot(noise_v / slope, unsure_s)
    excess_s = math.sqrt(max(jitter_s**2 - expected_s**2, 0.0))
    per_s = 1 / (period_s**2 * spread)
    return Crossings(1 / period_s, max(jitter_s, expected_s) * per_s, jitter_s, excess_s * per_s)


def _number_periods(at_s: Samples, line: Line) -> Samples:
    """Return the number of each crossing's period, counted from the phase at which most occur."""
    hz = line.hz
    if line.cycles < FEWEST_CYCLES_FOR_PHASE:
        first_s = at_s[:_SOME_CROSSINGS]
        distances_periods = (first_s[np.newaxis] - first_s[:, np.newaxis]) * hz
        periods = distances_periods[np.abs(distances_periods - 1) < _ROUGH_SHARE]
        hz = hz / float(np.median(periods)) if periods.size else hz
    turns = at_s * hz
    crossings_of_phase = np.bincount((turns % 1 * _PLACES).astype(np.intp), minlength=_PLACES)
    busiest = int(
        np.argmax(
            crossings_of_phase + np.roll(crossings_of_phase, 1) + np.roll(crossings_of_phase, -1)
        )
    )
    return np.rint(turns - (busiest + 0.5) / _PLACES)


def _describe_unevenness(at_s: Samples, line: Line) -> str:
    """Return the reason for refusing a frequency, with the strongest line and the mean rate."""
    mean_rate = print_value((len(at_s) - 1) / float(at_s[-1] - at_s[0]), "Hz")
    strongest = print_value(line.hz, "Hz")
    return f"it does not repeat evenly: strongest at {strongest}, rises {mean_rate} on average"


def _fit_line(number: Samples, at_s: Samples) -> tuple[float, Samples, float]:
    """Return slope, residuals, and the root of the sum of squared deviations of the numbers."""
    if len(number) < 2 or number[0] == number[-1]:
        return math.inf, np.zeros_like(at_s), 0.0
    centred_number = number - number.mean()
    squares = float(centred_number @ centred_number)
    slope = float(centred_number @ at_s) / squares
    return slope, at_s - at_s.mean() - slope * centred_number, math.sqrt(squares)
