"""When a trace rises through a level, and how evenly it does."""

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
_STEEP: Final = 0.3  # of the height from sample to sample: the edge may be anywhere between
_SOME_CROSSINGS: Final = 200  # of few periods: more are noise
_ON_TIME: Final = 1 / 16  # of a period: how far a crossing may be from its place
_PLACES: Final = 32  # in a period, to find where most crossings are
_FEWEST_SEEN: Final = 0.8  # share of periods that have a crossing at its place
_MOST_TWICE: Final = 1.1  # crossings there for each of those periods
_ROUGH_SHARE: Final = 0.25  # how far the spectrum of few periods may be off


@dataclass(frozen=True)
class Crossings:
    """When a trace rises through a level."""

    hz: float
    uncertainty_hz: float
    jitter_s: float
    wander_hz: float
    """What the part of the jitter that noise does not explain adds to the uncertainty."""


def find_crossings(
    volts: Samples, interval_s: float, line: Line, levels_v: tuple[float, float], noise_v: float
) -> Crossings:
    """Where the trace, smoothed over a small part of a period, rises through a level.

    Of the middle and a fifth from either end, the one that it rises through most evenly: video
    does so near its sync, stacked pulses where no plateau is.
    """
    low_v, high_v = levels_v
    height_v = high_v - low_v
    share = _SMOOTHED if noise_v < _NOISY * height_v else _SMOOTHED_NOISY
    over = max(1, int(share / (line.hz * interval_s)))
    total = np.concatenate([[0.0], np.cumsum(volts)])
    smooth = (total[over:] - total[:-over]) / over
    quiet_v = noise_v / math.sqrt(over)
    margin_v = min(max(0.05 * height_v, 3 * quiet_v), 0.3 * height_v)
    steep = bool(np.abs(np.diff(volts)).max() > _STEEP * height_v)
    unsure_s = interval_s / math.sqrt(12) if steep else 0.0
    found: list[Crossings] = []
    reasons: list[NoFrequency] = []
    for level in (0.5, 0.2, 0.8):
        rises = _find_rises(smooth, low_v + level * height_v, margin_v)
        try:
            found.append(_fit_crossings(*rises, interval_s, line, quiet_v, unsure_s))
        except NoFrequency as reason:
            reasons.append(reason)
    if not found:
        raise reasons[0]
    return min(found, key=lambda crossings: crossings.uncertainty_hz)


def _find_rises(
    volts: Samples, level_v: float, margin_v: float
) -> tuple[Samples, Samples, Samples]:
    """Rises through a level, from below its margin to above: place, samples taken, volts risen."""
    above = volts > level_v + margin_v
    clear = np.flatnonzero(above | (volts < level_v - margin_v))
    side = above[clear]
    at = np.flatnonzero(~side[:-1] & side[1:])
    start, end = clear[at], clear[at + 1]
    risen_v = volts[end] - volts[start]
    taken = (end - start).astype(np.float64)
    return start + (level_v - volts[start]) / risen_v * taken, taken, risen_v


def _fit_crossings(
    place: Samples,
    taken: Samples,
    risen_v: Samples,
    interval_s: float,
    line: Line,
    noise_v: float,
    unsure_s: float,
) -> Crossings:
    """A straight line through the times of the crossings against the number of the period."""
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
    """The number of the period of each crossing, counted where in the period most of them are."""
    hz = line.hz
    if line.cycles < FEWEST_CYCLES_FOR_PHASE:
        some_s = at_s[:_SOME_CROSSINGS]
        apart = (some_s[np.newaxis] - some_s[:, np.newaxis]) * hz
        periods = apart[np.abs(apart - 1) < _ROUGH_SHARE]
        hz = hz / float(np.median(periods)) if periods.size else hz
    turns = at_s * hz
    places = np.bincount((turns % 1 * _PLACES).astype(np.intp), minlength=_PLACES)
    busiest = int(np.argmax(places + np.roll(places, 1) + np.roll(places, -1)))
    return np.rint(turns - (busiest + 0.5) / _PLACES)


def _describe_unevenness(at_s: Samples, line: Line) -> str:
    often = print_value((len(at_s) - 1) / float(at_s[-1] - at_s[0]), "Hz")
    strongest = print_value(line.hz, "Hz")
    return f"it does not repeat evenly: strongest at {strongest}, rises {often} on average"


def _fit_line(number: Samples, at_s: Samples) -> tuple[float, Samples, float]:
    """Least squares: slope, distances from the line, root of the spread of the numbers."""
    if len(number) < 2 or number[0] == number[-1]:
        return math.inf, np.zeros_like(at_s), 0.0
    n = number - number.mean()
    squares = float(n @ n)
    slope = float(n @ at_s) / squares
    return slope, at_s - at_s.mean() - slope * n, math.sqrt(squares)
