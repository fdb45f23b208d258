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
_FEWEST_CROSSINGS: Final = 2  # for a period
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
    smoothing_periods = _SMOOTHED if noise_v < _NOISY * height_v else _SMOOTHED_NOISY
    window = max(1, int(smoothing_periods / (line.hz * interval_s)))  # samples
    running_sum = np.concatenate([[0.0], np.cumsum(volts)])
    smooth_v = (running_sum[window:] - running_sum[:-window]) / window
    smoothed_noise_v = noise_v / math.sqrt(window)
    # Noise on a slow edge crosses a level many times; only a rise through a margin counts.
    margin_v = max(_LEAST_MARGIN * height_v, _NOISE_MARGIN * smoothed_noise_v)
    margin_v = min(margin_v, _MOST_MARGIN * height_v)
    # An edge between two samples may be anywhere between them: a rectangular distribution.
    is_steep = bool(np.abs(np.diff(volts)).max() > _STEEP * height_v)
    edge_uncertainty_s = interval_s / math.sqrt(12) if is_steep else 0.0
    candidates: list[Crossings] = []
    reasons: list[NoFrequency] = []
    for level in _LEVELS:
        rises = _find_rises(smooth_v, low_v + level * height_v, margin_v)
        try:
            crossings = _fit_crossings(
                *rises, interval_s, line, smoothed_noise_v, edge_uncertainty_s
            )
        except NoFrequency as reason:
            reasons.append(reason)
        else:
            candidates.append(crossings)
    if not candidates:
        raise reasons[0]
    return min(candidates, key=lambda crossings: crossings.uncertainty_hz)


def _find_rises(
    volts: Samples, level_v: float, margin_v: float
) -> tuple[Samples, Samples, Samples]:
    """Return the rises through a level, from below its margin to above it, three arrays.

    They are places in samples, durations in samples, and heights in volts, each of shape (rises,).
    """
    is_above = volts > level_v + margin_v
    clear_places = np.flatnonzero(is_above | (volts < level_v - margin_v))
    is_clear_above = is_above[clear_places]
    rise_index = np.flatnonzero(~is_clear_above[:-1] & is_clear_above[1:])
    start, end = clear_places[rise_index], clear_places[rise_index + 1]
    height_v = volts[end] - volts[start]
    duration = (end - start).astype(np.float64)
    place = start + (level_v - volts[start]) / height_v * duration
    return place, duration, height_v


def _fit_crossings(
    place: Samples,
    duration: Samples,
    height_v: Samples,
    interval_s: float,
    line: Line,
    noise_v: float,
    edge_uncertainty_s: float,
) -> Crossings:
    """Return the frequency of a line fitted through the times of crossings over their periods.

    ``place``, ``duration`` and ``height_v`` are those of ``_find_rises``. Raises NoFrequency when
    the crossings are not one a period.
    """
    if len(place) < _FEWEST_CROSSINGS:
        raise NoFrequency("less than two periods were captured")
    crossing_s = place * interval_s
    period_number = _number_periods(crossing_s, line)
    period_s, deviation_s, _ = _fit_line(period_number, crossing_s)
    is_on_time = np.abs(deviation_s) <= _ON_TIME * period_s
    periods_seen = len(np.unique(period_number[is_on_time]))
    period_count = period_number[-1] - period_number[0] + 1
    has_most_periods = periods_seen >= _FEWEST_SEEN * period_count
    has_one_each = np.count_nonzero(is_on_time) <= _MOST_TWICE * periods_seen
    if periods_seen < _FEWEST_CROSSINGS or not (has_most_periods and has_one_each):
        raise NoFrequency(_describe_unevenness(crossing_s, line))
    # A second fit without the crossings that are not on time, which a spike may have made.
    period_s, deviation_s, spread = _fit_line(period_number[is_on_time], crossing_s[is_on_time])
    jitter_s = math.sqrt(float(deviation_s @ deviation_s) / len(deviation_s))
    # Noise moves a crossing in time by its volts over the slope of the edge.
    slope_v_per_s = float(np.median(height_v / duration)) / interval_s
    expected_jitter_s = math.hypot(noise_v / slope_v_per_s, edge_uncertainty_s)
    excess_jitter_s = math.sqrt(max(jitter_s**2 - expected_jitter_s**2, 0.0))
    # Standard error of a slope, carried from the period to its reciprocal: dHz = ds / period².
    hz_per_s = 1 / (period_s**2 * spread)
    return Crossings(
        hz=1 / period_s,
        uncertainty_hz=max(jitter_s, expected_jitter_s) * hz_per_s,
        jitter_s=jitter_s,
        wander_hz=excess_jitter_s * hz_per_s,
    )


def _number_periods(crossing_s: Samples, line: Line) -> Samples:
    """Return the number of each crossing's period, counted from the phase at which most occur."""
    hz = line.hz
    # A spectrum of few periods is only roughly right; distances of one period correct it.
    if line.cycles < FEWEST_CYCLES_FOR_PHASE:
        first_s = crossing_s[:_SOME_CROSSINGS]
        distances = (first_s[np.newaxis] - first_s[:, np.newaxis]) * hz  # in periods, pair by pair
        single_periods = distances[np.abs(distances - 1) < _ROUGH_SHARE]
        hz = hz / float(np.median(single_periods)) if single_periods.size else hz
    turns = crossing_s * hz
    phase_bins = (turns % 1 * _PLACES).astype(np.intp)
    crossings_in_bin = np.bincount(phase_bins, minlength=_PLACES)
    # Neighbouring bins count too: a phase may lie on the edge between two.
    with_neighbours = (
        crossings_in_bin + np.roll(crossings_in_bin, 1) + np.roll(crossings_in_bin, -1)
    )
    busiest_bin = int(np.argmax(with_neighbours))
    return np.rint(turns - (busiest_bin + 0.5) / _PLACES)


def _describe_unevenness(crossing_s: Samples, line: Line) -> str:
    """Return the reason for refusing a frequency, with the strongest line and the mean rate."""
    mean_rate = print_value((len(crossing_s) - 1) / float(crossing_s[-1] - crossing_s[0]), "Hz")
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
