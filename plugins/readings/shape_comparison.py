"""Does a captured trace have the expected shape, and where does it differ?

The trace is laid along the expected waveform where their normalised cross-correlation is highest
(J. P. Lewis, Fast normalized cross-correlation, Vision Interface 1995: the products by FFT, the
means and sizes under the trace by running sums), so that neither level nor size counts.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from ...schema import Expectation, Quantity
from ...schema.chips.expectation import ASSUMED_WAVEFORM_PERCENT
from ...schema.measuring.sampling import SAMPLES_A_CYCLE
from ...schema.waveforms import Samples, Waveform
from ...schema.waveforms.line_rate import LineRate

_POINTS: Final = 4096  # of a cycle, at most
_FEWEST_POINTS: Final = 64
_MOST_POINTS: Final = 2**19  # of a period, which of a frame has hundreds of cycles
_LEAST_CYCLES: Final = 0.5
_LEAST_SAMPLES: Final = 2  # of a cycle, even of a sine (sampling theorem)
_NEAR: Final = 0.25  # how far the frequency may be off and be made up for
_AS_GOOD: Final = 0.1  # of correlation: then the volts decide between two places
_LASTS: Final = 100  # parts of a cycle: what is shorter is an edge a little off, or a spike
_ON_LEVEL: Final = 0.02  # of the height
_LEAST_TOLERANCE: Final = 0.05  # of the height, where no tolerance is stated
_CARRIER_CYCLES: Final = 4.0
_MANY: Final = 8  # times the trace in a period: it may lie in the picture, whole
_FITS: Final = 0.05  # of the height, root mean square: a trace that is as expected

Shape = Callable[[Samples, float], Samples]
"""Something made of samples and the time between them."""


class NotComparable(Exception):  # noqa: N818  an answer, not a failure
    """Why a trace and an expectation cannot be compared, in words."""


@dataclass(frozen=True)
class Level:
    """A level of the waveform, as expected and as found."""

    name: str
    expected_v: float
    found_v: float
    low_v: float
    high_v: float
    """Lowest and highest that are as expected."""

    @property
    def is_wrong(self) -> bool:
        """Whether it is outside its limits."""
        return not self.low_v <= self.found_v <= self.high_v


@dataclass(frozen=True)
class Likeness:
    """How like a trace is to its expectation."""

    correlation: float
    """1 for the same shape, 0 for nothing in common, -1 for the same shape inverted."""
    shift_s: float
    """Where along the expected waveform the trace starts."""
    gain: float
    """Its size over the expected one; negative when inverted."""
    worst_s: float
    """Where along the period, or the line, it differs most."""
    worst_v: float
    """By how much there, found less expected, for a hundredth of the cycle or longer.

    In volts as captured where the waveform is given against ground; else with level and size
    made up for.
    """
    levels: tuple[Level, ...]
    """Those of its levels that the trace shows, from the lowest; else its lowest and highest.

    Of a waveform that floats, as if the mean of the trace were where it should be. None where the
    samples are too far apart to show peaks.
    """

    @property
    def wrong_levels(self) -> tuple[Level, ...]:
        """The levels that are outside their limits."""
        return tuple(level for level in self.levels if level.is_wrong)


def compare_shape(
    t_s: Samples, volts: Samples, expectation: Expectation, frequency_hz: float | None = None
) -> Likeness:
    """Compare evenly spaced samples with the waveform of an expectation.

    Up to two periods count. A ``frequency_hz`` measured near the expected one stretches the time,
    so that being off frequency is no fault of the shape. Raises NotComparable.
    """
    waveform = expectation.waveform
    if waveform is None or not waveform.period_s:
        raise NotComparable("no signal is expected here")
    stretch = frequency_hz / waveform.frequency_hz if frequency_hz else 1.0
    stretch = stretch if abs(stretch - 1) < _NEAR else 1.0
    interval_s = float(t_s[-1] - t_s[0]) / (len(t_s) - 1) * stretch
    cycle_s = _choose_cycle_s(waveform)
    if len(volts) * interval_s < _LEAST_CYCLES * min(cycle_s, 1 / waveform.frequency_hz):
        raise NotComparable("less than half a cycle was captured")
    shaped = waveform.fastest_hz > 1.5 * waveform.carrier_hz
    if interval_s * (SAMPLES_A_CYCLE if shaped else _LEAST_SAMPLES) > cycle_s:
        raise NotComparable("the samples are too far apart to show its shape")
    grid_s = _choose_grid_s(waveform.period_s, cycle_s, interval_s)
    grid: Samples = np.arange(round(waveform.period_s / grid_s), dtype=np.float64) * grid_s
    expected = expectation.volts(grid)
    sparse = interval_s * waveform.carrier_hz * SAMPLES_A_CYCLE > 1
    if (shape := _choose_demodulation(waveform, expected, grid_s)) is not None:
        expected, volts = shape(expected, grid_s), shape(volts, interval_s)
    found = _resample(volts, interval_s, grid_s, len(expected))
    few = not waveform.floats and len(found) * _MANY <= len(expected)
    usual = round(cycle_s / grid_s) if few else len(expected)
    at, correlation = _find_best_place(expected, found, usual, by_volts=not waveform.floats)
    under = np.take(expected, np.arange(at, at + len(found)), mode="wrap")
    compared = _compare_at_place(waveform, found, under, correlation, at * grid_s, grid_s, cycle_s)
    return replace(compared, levels=()) if sparse and shape is None else compared


def _compare_at_place(
    waveform: Waveform,
    found: Samples,
    under: Samples,
    correlation: float,
    shift_s: float,
    grid_s: float,
    cycle_s: float,
) -> Likeness:
    """A trace against the part of the waveform that it lies on."""
    about = under - under.mean()
    gain = float(about @ found) / float(about @ about)
    fitted = under if not waveform.floats else found.mean() + gain * about
    lasting = max(round(cycle_s / _LASTS / grid_s), 1)
    at, worst_v = _find_worst(found - fitted, lasting)
    level_v = found if not waveform.floats else found - found.mean() + under.mean()
    return Likeness(
        correlation=correlation,
        shift_s=shift_s,
        gain=gain,
        worst_s=(shift_s + at * grid_s) % cycle_s,
        worst_v=worst_v,
        levels=_compare_levels(waveform, level_v, under, lasting),
    )


def _choose_cycle_s(waveform: Waveform) -> float:
    """What is looked at as one: a line where that is what repeats in a period of many."""
    if isinstance(waveform, LineRate) and waveform.frequency_hz * waveform.line_s > 0.5:
        return min(waveform.line_s, waveform.period_s)
    return waveform.period_s


def _choose_grid_s(period_s: float, cycle_s: float, interval_s: float) -> float:
    """A step that goes into the period a power of two times, about as fine as the samples."""
    most = min(_POINTS * period_s / cycle_s, _MOST_POINTS)
    points = min(max(period_s / interval_s, _FEWEST_POINTS), most)
    return period_s / math.ldexp(1.0, math.ceil(math.log2(points)))


def _resample(volts: Samples, interval_s: float, grid_s: float, period: int) -> Samples:
    """The samples on the grid: two periods laid over each other, or one, or as much as there is."""
    over = max(1, int(grid_s / interval_s))
    most = int(2 * period * grid_s / interval_s) + 2 * over
    volts = volts[: min(len(volts), most) // over * over].reshape(-1, over).mean(axis=1)
    middle_s = (over - 1) / 2 * interval_s
    t_s = middle_s + np.arange(len(volts)) * over * interval_s
    count = int((t_s[-1] + grid_s / 2) / grid_s) + 1
    on_grid = np.interp(np.arange(count) * grid_s, t_s, volts)
    periods = min(count // period, 2)
    if periods:
        on_grid = on_grid[: periods * period].reshape(periods, -1).mean(axis=0)
    return np.asarray(on_grid)


def _choose_demodulation(waveform: Waveform, expected: Samples, grid_s: float) -> Shape | None:
    """What to make of both where a carrier differs from period to period: it cannot be laid on
    another. They are smoothed, else their envelopes are taken, else they stay as they are, as a
    carrier modulated in frequency does.
    """
    if _repeats(waveform):
        return None
    over_s = _CARRIER_CYCLES / waveform.carrier_hz

    def smooth(volts: Samples, step_s: float) -> Samples:
        return _smooth(volts, max(1, round(over_s / step_s)))

    def envelope(volts: Samples, step_s: float) -> Samples:
        return smooth(np.abs(volts - volts.mean()), step_s) * np.pi / 2

    if smooth(expected, grid_s).std() > 0.2 * expected.std():
        return smooth
    return envelope if envelope(expected, grid_s).std() > 0.1 * expected.std() else None


def _repeats(waveform: Waveform) -> bool:
    t_s = np.arange(1000) / 1000 * waveform.period_s
    first = waveform.volts(t_s)
    later = waveform.volts(t_s + waveform.period_s)
    return bool((later - first).std() < 0.01 * first.std())


def _smooth(volts: Samples, over: int) -> Samples:
    """Mean over some samples around each; at the ends over those that are there."""
    total = np.concatenate([[0.0], np.cumsum(volts)])
    at = np.arange(len(volts))
    start, end = np.maximum(at - over // 2, 0), np.minimum(at + (over + 1) // 2, len(volts))
    return np.asarray((total[end] - total[start]) / (end - start))


def _find_best_place(
    expected: Samples, found: Samples, usual: int, *, by_volts: bool
) -> tuple[int, float]:
    """Where along the period the trace lies best, and the correlation there.

    Inverted only when that is clearly better. ``by_volts``: of places nearly as good, the one with
    the least difference in volts. Places beyond the first ``usual`` ones, such as lines in field
    blanking, count only for a trace that fits there.
    """
    count, period = len(found), len(expected)
    about = found - found.mean()
    size = float(np.sqrt(about @ about))
    sums, squares = _sum_windows(expected, count), _sum_windows(expected**2, count)
    spread = np.maximum(squares - sums**2 / count, 0.0)
    if size <= 1e-9 * count * (abs(float(found.mean())) + 1e-9):
        raise NotComparable("the trace is level")
    products = _correlate(expected, about)
    level = spread < 1e-6 * count * expected.var()
    correlation = np.where(level, 0.0, products / (size * np.sqrt(np.where(level, 1.0, spread))))
    apart = squares - 2 * (products + sums * found.mean()) + float(found @ found)
    fits = np.sqrt(np.maximum(apart, 0.0) / count) < _FITS * np.ptp(expected)
    correlation[usual:][~fits[usual:]] = 0.0
    inverted = -correlation.min() > correlation.max() + _AS_GOOD
    good = -correlation if inverted else correlation
    at = int(np.argmax(good))
    if by_volts and not inverted:
        at = int(np.argmin(np.where(good >= good[at] - _AS_GOOD, apart, np.inf)))
    return at % period, float(np.clip(correlation[at], -1.0, 1.0))


def _correlate(expected: Samples, found: Samples) -> Samples:
    """Sum of products for each place of the trace along the period, which goes round."""
    period = len(expected)
    spectrum = np.fft.rfft(expected) * np.fft.rfft(found, period).conj()
    return np.asarray(np.fft.irfft(spectrum, period))


def _sum_windows(expected: Samples, count: int) -> Samples:
    """Sum of ``count`` values from each place on, going round."""
    total = np.concatenate([[0.0], np.cumsum(np.concatenate([expected, expected[:count]]))])
    return np.asarray(total[count : count + len(expected)] - total[: len(expected)])


def _find_worst(apart: Samples, lasting: int) -> tuple[int, float]:
    """The largest difference that lasts for so many samples: where, and how much."""
    windows = np.lib.stride_tricks.sliding_window_view(apart, min(lasting, len(apart)))
    least, most = windows.min(axis=1), windows.max(axis=1)
    above, below = int(np.argmax(least)), int(np.argmin(most))
    at = above if least[above] >= -most[below] else below
    stretch = windows[at]
    return at + len(stretch) // 2, float(np.median(stretch))


def _compare_levels(
    waveform: Waveform, found: Samples, under: Samples, lasting: int
) -> tuple[Level, ...]:
    """The levels that the model names, where they last; else the lowest and the highest."""
    height_v = float(np.ptp(under))
    levels = []
    for name, quantity in _list_named_levels(waveform) or _list_extremes(under, height_v):
        on_level = np.abs(under - quantity.nominal) < _ON_LEVEL * height_v
        held = _smooth(on_level.astype(np.float64), lasting) > 1 - 1e-9
        if held.any():
            low_v, high_v = _compute_limits_v(quantity, height_v)
            found_v = float(np.median(found[held]))
            levels.append(Level(name, quantity.nominal, found_v, low_v, high_v))
    return tuple(sorted(levels, key=lambda level: level.expected_v))


def _list_named_levels(waveform: Waveform) -> list[tuple[str, Quantity]]:
    """Fields that are levels in volts, by their names in words."""
    fields = ((name, getattr(waveform, name)) for name in type(waveform).model_fields)
    return [
        (name.replace("_", " "), value)
        for name, value in fields
        if isinstance(value, Quantity) and value.unit == "V"
    ]


def _list_extremes(under: Samples, height_v: float) -> list[tuple[str, Quantity]]:
    """The lowest and the highest volts: off by the assumed share when each is off by half of it."""
    ends = (("lowest", float(under.min())), ("highest", float(under.max())))
    far_v = ASSUMED_WAVEFORM_PERCENT / 100 / 2 * height_v
    return [(name, Quantity("V", end_v, end_v - far_v, end_v + far_v)) for name, end_v in ends]


def _compute_limits_v(quantity: Quantity, height_v: float) -> tuple[float, float]:
    """What is as expected: as stated, else the assumed share, at least a little of the height."""
    low_v, high_v = quantity.limits(ASSUMED_WAVEFORM_PERCENT)
    if quantity.tolerance_stated:
        return low_v, high_v
    least_v = _LEAST_TOLERANCE * height_v
    return min(low_v, quantity.nominal - least_v), max(high_v, quantity.nominal + least_v)
