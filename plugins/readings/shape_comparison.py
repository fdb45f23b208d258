"""Compare the shape of a captured trace with the expected waveform, and locate the difference.

The trace is placed along the waveform where their normalised cross-correlation is highest
(J. P. Lewis, Fast normalized cross-correlation, Vision Interface 1995: products by FFT, means and
norms under the trace by running sums), so that neither level nor size matters.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from ...schema.chips.expectation import ASSUMED_WAVEFORM_PERCENT, Expectation
from ...schema.measuring.sampling import SAMPLES_A_CYCLE
from ...schema.quantities import Quantity
from ...schema.waveforms import Samples, Waveform
from ...schema.waveforms.line_rate import LineRate

_POINTS: Final = 4096  # of a cycle, at most
_FEWEST_POINTS: Final = 64
_MOST_PERIODS: Final = 2  # that are compared
_MOST_POINTS: Final = 2**19  # of a period; a frame has hundreds of cycles
_LEAST_CYCLES: Final = 0.5
_LEAST_SAMPLES: Final = 2  # of a cycle, even of a sine (sampling theorem)
_NEAR: Final = 0.25  # largest error of frequency that is compensated
_AS_GOOD: Final = 0.1  # of correlation; between closer places the volts decide
_LASTS: Final = 100  # parts of a cycle; a shorter difference is a shifted edge, or a spike
_ON_LEVEL: Final = 0.02  # of the height
_ALL: Final = 1 - 1e-9  # of a window, but for rounding
_LEAST_TOLERANCE: Final = 0.05  # of the height, where no tolerance is stated
_CARRIER_CYCLES: Final = 4.0  # over which a carrier is smoothed
_MANY: Final = 8  # a trace shorter than this part of the period may lie within one cycle
_FITS: Final = 0.05  # of the height, root mean square difference of a trace as expected
_FASTER_THAN_CARRIER: Final = 1.5  # parts of a waveform this much faster give it a shape
_LINES_A_FIELD: Final = 0.5  # a waveform of lower frequency repeats over many lines
_LEVEL_SHARE: Final = 1e-9  # of the mean: a deviation that is rounding
_LEAST_MEAN_V: Final = 1e-9  # so that a level trace at zero volts is level as well
_LEVEL_VARIANCE: Final = 1e-6  # of the variance: a stretch of the waveform that is level
_SMOOTH_REMAINS: Final = 0.2  # of the deviation, for the smoothed waveform to have a shape
_ENVELOPE_REMAINS: Final = 0.1
_REPETITION_POINTS: Final = 1000
_REPEATS: Final = 0.01  # of the deviation, between one period and the next

Shape = Callable[[Samples, float], Samples]
"""Function from samples and the time between them to other samples."""


class NotComparable(Exception):  # noqa: N818  an answer, not a failure
    """The reason why a trace and an expectation cannot be compared, in words."""


@dataclass(frozen=True)
class Level:
    """A level of the waveform, expected and found."""

    name: str
    expected_v: float
    found_v: float
    low_v: float
    high_v: float
    """Lowest and highest value that is as expected."""

    @property
    def is_wrong(self) -> bool:
        """Whether the level found is outside its limits."""
        return not self.low_v <= self.found_v <= self.high_v


@dataclass(frozen=True)
class Likeness:
    """Comparison of a trace with its expectation."""

    correlation: float
    """1 for the same shape, 0 for nothing in common, -1 for the same shape inverted."""
    shift_s: float
    """Time along the expected waveform at which the trace starts."""
    gain: float
    """Size over the expected size; negative when inverted."""
    worst_s: float
    """Time along the period, or the line, of the largest difference."""
    worst_v: float
    """Largest difference, found less expected, that lasts a hundredth of the cycle.

    In volts as captured where the waveform is referred to ground; else after the levels and sizes
    are matched.
    """
    levels: tuple[Level, ...]
    """Named levels that the trace shows, lowest first; else its lowest and highest.

    For a floating waveform the mean of the trace is assumed right. Empty where the samples are
    too far apart to show peaks.
    """

    @property
    def wrong_levels(self) -> tuple[Level, ...]:
        """Levels outside their limits."""
        return tuple(level for level in self.levels if level.is_wrong)


def compare_shape(
    t_s: Samples, volts: Samples, expectation: Expectation, frequency_hz: float | None = None
) -> Likeness:
    """Return the comparison of evenly spaced samples with the waveform of an expectation.

    At most two periods are used. A measured ``frequency_hz`` near the expected one stretches the
    time axis, so that a wrong frequency is no difference of shape. Raises NotComparable.
    """
    waveform = expectation.waveform
    if waveform is None or not waveform.period_s:
        raise NotComparable("no signal is expected here")
    stretch = frequency_hz / waveform.frequency_hz if frequency_hz else 1.0
    stretch = stretch if abs(stretch - 1) < _NEAR else 1.0
    interval_s = float(t_s[-1] - t_s[0]) / (len(t_s) - 1) * stretch
    cycle_s = _choose_cycle_s(waveform)
    _require_enough_samples(waveform, len(volts), interval_s, cycle_s)

    grid_s = _choose_grid_s(waveform.period_s, cycle_s, interval_s)
    grid: Samples = np.arange(round(waveform.period_s / grid_s), dtype=np.float64) * grid_s
    expected_v = expectation.volts(grid)  # one period, shape (points,)
    demodulate = _choose_demodulation(waveform, expected_v, grid_s)
    if demodulate is not None:
        expected_v, volts = demodulate(expected_v, grid_s), demodulate(volts, interval_s)
    captured_v = _resample(volts, interval_s, grid_s, len(expected_v))

    # Of a period of many lines, a short trace is first sought within one line.
    may_be_within_cycle = not waveform.floats and len(captured_v) * _MANY <= len(expected_v)
    usual_places = round(cycle_s / grid_s) if may_be_within_cycle else len(expected_v)
    place, correlation = _find_best_place(
        expected_v, captured_v, usual_places, by_volts=not waveform.floats
    )
    expected_part_v = np.take(expected_v, np.arange(place, place + len(captured_v)), mode="wrap")
    likeness = _compare_at_place(
        waveform, captured_v, expected_part_v, correlation, place * grid_s, grid_s, cycle_s
    )
    # Samples far apart miss the peaks of a carrier, so that they show no levels.
    is_sparse = interval_s * waveform.carrier_hz * SAMPLES_A_CYCLE > 1
    return replace(likeness, levels=()) if is_sparse and demodulate is None else likeness


def _require_enough_samples(
    waveform: Waveform, count: int, interval_s: float, cycle_s: float
) -> None:
    """Raise NotComparable for less than half a cycle, or for samples too far apart."""
    if count * interval_s < _LEAST_CYCLES * min(cycle_s, 1 / waveform.frequency_hz):
        raise NotComparable("less than half a cycle was captured")
    # A sine needs two samples a cycle; a waveform with faster parts needs more to show them.
    has_shape = waveform.fastest_hz > _FASTER_THAN_CARRIER * waveform.carrier_hz
    if interval_s * (SAMPLES_A_CYCLE if has_shape else _LEAST_SAMPLES) > cycle_s:
        raise NotComparable("the samples are too far apart to show its shape")


def _compare_at_place(
    waveform: Waveform,
    captured_v: Samples,
    expected_v: Samples,
    correlation: float,
    shift_s: float,
    grid_s: float,
    cycle_s: float,
) -> Likeness:
    """Return the comparison of a trace with the part of the waveform it is placed on."""
    centred_v = expected_v - expected_v.mean()
    gain = float(centred_v @ captured_v) / float(centred_v @ centred_v)
    levelled_v, fitted_v = captured_v, expected_v
    # The chip file does not know the DC voltage of a floating waveform: its mean counts as right.
    if waveform.floats:
        levelled_v = captured_v - captured_v.mean() + expected_v.mean()
        fitted_v = captured_v.mean() + gain * centred_v
    lasting_samples = max(round(cycle_s / _LASTS / grid_s), 1)
    worst_place, worst_v = _find_worst(captured_v - fitted_v, lasting_samples)
    return Likeness(
        correlation=correlation,
        shift_s=shift_s,
        gain=gain,
        worst_s=(shift_s + worst_place * grid_s) % cycle_s,
        worst_v=worst_v,
        levels=_compare_levels(waveform, levelled_v, expected_v, lasting_samples),
    )


def _choose_cycle_s(waveform: Waveform) -> float:
    """Return the duration of the unit of comparison: a line for video, else the period."""
    if isinstance(waveform, LineRate) and waveform.frequency_hz * waveform.line_s > _LINES_A_FIELD:
        return min(waveform.line_s, waveform.period_s)
    return waveform.period_s


def _choose_grid_s(period_s: float, cycle_s: float, interval_s: float) -> float:
    """Return a step about as fine as the samples that divides the period by a power of two."""
    most = min(_POINTS * period_s / cycle_s, _MOST_POINTS)
    points = min(max(period_s / interval_s, _FEWEST_POINTS), most)
    return period_s / math.ldexp(1.0, math.ceil(math.log2(points)))


def _resample(volts: Samples, interval_s: float, grid_s: float, period: int) -> Samples:
    """Return the samples on the grid: the mean of two periods, one period, or all there is."""
    # Samples finer than the grid are averaged in groups first, which also lessens their noise.
    group_size = max(1, int(grid_s / interval_s))
    most_samples = int(_MOST_PERIODS * period * grid_s / interval_s) + 2 * group_size
    sample_count = min(len(volts), most_samples) // group_size * group_size
    group_v = volts[:sample_count].reshape(-1, group_size).mean(axis=1)
    first_centre_s = (group_size - 1) / 2 * interval_s
    group_s = first_centre_s + np.arange(len(group_v)) * group_size * interval_s

    point_count = int((group_s[-1] + grid_s / 2) / grid_s) + 1
    grid_v = np.interp(np.arange(point_count) * grid_s, group_s, group_v)
    whole_periods = min(point_count // period, _MOST_PERIODS)
    if whole_periods:
        grid_v = grid_v[: whole_periods * period].reshape(whole_periods, -1).mean(axis=0)
    return np.asarray(grid_v)


def _choose_demodulation(waveform: Waveform, expected: Samples, grid_s: float) -> Shape | None:
    """Return the function that removes a carrier whose phase differs between periods, or None.

    Such carriers cannot be compared directly. They are smoothed away; where that leaves nothing,
    their envelope is taken; a frequency-modulated carrier, with neither, is compared as it is.
    """
    if _repeats(waveform):
        return None
    window_s = _CARRIER_CYCLES / waveform.carrier_hz

    def smooth(volts: Samples, step_s: float) -> Samples:
        return _smooth(volts, max(1, round(window_s / step_s)))

    # The mean of a rectified sine is 2/π of its peak.
    def envelope(volts: Samples, step_s: float) -> Samples:
        return smooth(np.abs(volts - volts.mean()), step_s) * np.pi / 2

    if smooth(expected, grid_s).std() > _SMOOTH_REMAINS * expected.std():
        return smooth
    has_envelope = envelope(expected, grid_s).std() > _ENVELOPE_REMAINS * expected.std()
    return envelope if has_envelope else None


def _repeats(waveform: Waveform) -> bool:
    """Return whether the waveform is the same one period later."""
    t_s = np.arange(_REPETITION_POINTS) / _REPETITION_POINTS * waveform.period_s
    first = waveform.volts(t_s)
    later = waveform.volts(t_s + waveform.period_s)
    return bool((later - first).std() < _REPEATS * first.std())


def _smooth(volts: Samples, window: int) -> Samples:
    """Return the running mean over ``window`` samples, at the ends over those there are."""
    running_sum = np.concatenate([[0.0], np.cumsum(volts)])
    index = np.arange(len(volts))
    start = np.maximum(index - window // 2, 0)
    end = np.minimum(index + (window + 1) // 2, len(volts))
    return np.asarray((running_sum[end] - running_sum[start]) / (end - start))


def _find_best_place(
    expected_v: Samples, captured_v: Samples, usual_places: int, *, by_volts: bool
) -> tuple[int, float]:
    """Return the place along the period with the highest correlation, and that correlation.

    An inverted trace needs a clearly better correlation. ``by_volts``: among places nearly as
    good, the one with the least difference in volts. Places beyond the first ``usual_places``, such
    as lines in field blanking, count only for a trace that fits there. Raises NotComparable for a
    level trace.
    """
    correlation, squared_difference = _correlate_places(expected_v, captured_v)
    rms_difference_v = np.sqrt(np.maximum(squared_difference, 0.0) / len(captured_v))
    is_fit = rms_difference_v < _FITS * np.ptp(expected_v)
    correlation[usual_places:][~is_fit[usual_places:]] = 0.0

    is_inverted = -correlation.min() > correlation.max() + _AS_GOOD
    likeness = -correlation if is_inverted else correlation
    place = int(np.argmax(likeness))
    # Lines of a picture are alike but for their level; there the volts tell which one it is.
    if by_volts and not is_inverted:
        is_nearly_as_good = likeness >= likeness[place] - _AS_GOOD
        place = int(np.argmin(np.where(is_nearly_as_good, squared_difference, np.inf)))
    return place, float(np.clip(correlation[place], -1.0, 1.0))


def _correlate_places(expected_v: Samples, captured_v: Samples) -> tuple[Samples, Samples]:
    """Return correlation and sum of squared differences at each place, both of shape (points,).

    Raises NotComparable for a level trace.
    """
    count, mean_v = len(captured_v), float(captured_v.mean())
    centred_v = captured_v - mean_v
    norm = float(np.sqrt(centred_v @ centred_v))
    if norm <= _LEVEL_SHARE * count * (abs(mean_v) + _LEAST_MEAN_V):
        raise NotComparable("the trace is level")
    sums, squares = _sum_windows(expected_v, count), _sum_windows(expected_v**2, count)
    spread = np.maximum(squares - sums**2 / count, 0.0)
    products = _correlate(expected_v, centred_v)
    # A level stretch of the waveform has no shape to correlate with, and would divide by zero.
    is_level = spread < _LEVEL_VARIANCE * count * expected_v.var()
    norms = norm * np.sqrt(np.where(is_level, 1.0, spread))
    correlation = np.where(is_level, 0.0, products / norms)
    squared_difference = squares - 2 * (products + sums * mean_v) + float(captured_v @ captured_v)
    return correlation, squared_difference


def _correlate(expected: Samples, found: Samples) -> Samples:
    """Return the sum of products for each place of the trace along the period, cyclically."""
    period = len(expected)
    spectrum = np.fft.rfft(expected) * np.fft.rfft(found, period).conj()
    return np.asarray(np.fft.irfft(spectrum, period))


def _sum_windows(expected: Samples, count: int) -> Samples:
    """Return the sum of ``count`` values from each place on, cyclically."""
    running_sum = np.concatenate([[0.0], np.cumsum(np.concatenate([expected, expected[:count]]))])
    return np.asarray(running_sum[count : count + len(expected)] - running_sum[: len(expected)])


def _find_worst(difference_v: Samples, lasting: int) -> tuple[int, float]:
    """Return place and size of the largest difference that lasts ``lasting`` samples."""
    width = min(lasting, len(difference_v))
    windows = np.lib.stride_tricks.sliding_window_view(difference_v, width)  # places x width
    # All of a window is at least its minimum above, or at least its maximum below.
    lowest_v, highest_v = windows.min(axis=1), windows.max(axis=1)
    most_above, most_below = int(np.argmax(lowest_v)), int(np.argmin(highest_v))
    place = most_above if lowest_v[most_above] >= -highest_v[most_below] else most_below
    return place + width // 2, float(np.median(windows[place]))


def _compare_levels(
    waveform: Waveform, captured_v: Samples, expected_v: Samples, lasting: int
) -> tuple[Level, ...]:
    """Return the levels that the model names, where they last; else the lowest and the highest."""
    height_v = float(np.ptp(expected_v))
    levels = []
    for name, quantity in _list_named_levels(waveform) or _list_extremes(expected_v, height_v):
        is_on_level = np.abs(expected_v - quantity.nominal) < _ON_LEVEL * height_v
        # An edge passes through a level; only where the waveform stays does the trace show it.
        is_held = _smooth(is_on_level.astype(np.float64), lasting) > _ALL
        if is_held.any():
            low_v, high_v = _compute_limits_v(quantity, height_v)
            found_v = float(np.median(captured_v[is_held]))
            levels.append(Level(name, quantity.nominal, found_v, low_v, high_v))
    return tuple(sorted(levels, key=lambda level: level.expected_v))


def _list_named_levels(waveform: Waveform) -> list[tuple[str, Quantity]]:
    """Return the fields that are levels in volts, by their names in words."""
    fields = ((name, getattr(waveform, name)) for name in type(waveform).model_fields)
    return [
        (name.replace("_", " "), value)
        for name, value in fields
        if isinstance(value, Quantity) and value.unit == "V"
    ]


def _list_extremes(expected_v: Samples, height_v: float) -> list[tuple[str, Quantity]]:
    """Return the lowest and the highest volts as quantities.

    The assumed tolerance of the height is shared by both.
    """
    ends = (("lowest", float(expected_v.min())), ("highest", float(expected_v.max())))
    tolerance_v = ASSUMED_WAVEFORM_PERCENT / 100 / 2 * height_v
    return [
        (name, Quantity("V", end_v, end_v - tolerance_v, end_v + tolerance_v))
        for name, end_v in ends
    ]


def _compute_limits_v(quantity: Quantity, height_v: float) -> tuple[float, float]:
    """Return stated limits, else those of the assumed tolerance, at least a share of height."""
    low_v, high_v = quantity.limits(ASSUMED_WAVEFORM_PERCENT)
    if quantity.tolerance_stated:
        return low_v, high_v
    least_v = _LEAST_TOLERANCE * height_v
    return min(low_v, quantity.nominal - least_v), max(high_v, quantity.nominal + least_v)
