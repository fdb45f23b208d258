"""Line sync found in a record, in either polarity, and the field sync between its lines.

The record is smoothed over a few cycles of any colour carrier. In each polarity its lower
envelope, line by line, is subtracted, so that hum does not matter, and pulses below a slice level
are counted: those as wide as line sync, one line apart, between two porches of equal level, are
line sync. The slice level that gives most of them is kept.

Edges are timed by area: between two flat levels the mean of the samples around an edge tells its
half-height time, whatever the shape of an edge that is even about its middle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ....schema.waveforms import Samples
from .figure import Record

Index = NDArray[np.intp]

_SMOOTHED_S: Final = 0.9e-6  # four cycles of 4.43 MHz, about three of 3.58 MHz
_LINES_FOR_SYNC: Final = 2.2  # a record so long holds line sync, if there is any
_LINES_FOR_FIELD_SYNC: Final = 1.55  # two pulses half a line apart
_LINES_FOR_ANY_PULSE: Final = 1.25  # a whole pulse of line or field sync
_CLEAR_OF_NOISE: Final = 8.0  # standard deviations of the smoothed trace
_COARSE_S: Final = 0.12e-6  # a seventh of that
_ENVELOPE_S: Final = 70e-6  # holds a whole line sync wherever it begins
_SLICES: Final = (0.15, 0.1, 0.2, 0.06, 0.3, 0.04)  # of the height over the envelope
_WIDTHS_S: Final = (3.5e-6, 6.1e-6)  # line sync is 4.7 µs
_USUAL_WIDTH_S: Final = 4.7e-6
_HALF_LINE_S: Final = 31.9e-6
_FEWEST_HALF_LINES: Final = 3
_FIELD_SYNC_LINES: Final = 5  # a field sync beside each line of a record, at most
_STRAYS: Final = 0.1  # weight of what tells equally good slice levels apart
_NARROW_S: Final = (1.4e-6, 3.3e-6)  # equalising pulses are 2.3 µs
_BROAD_S: Final = (19e-6, 31e-6)  # field sync pulses are 27 µs
_LINES_S: Final = (57e-6, 71e-6)  # a line oscillator that is still near its frequency
_MOST_LINES_APART: Final = 40  # over a field blanking
_OFF_GRID: Final = 0.03  # of a line
_LEAST_SHARE: Final = 0.5  # of the lines of a record that must have sync
_PORCHES_DIFFER: Final = 0.3  # of the height of sync, at most
HALF_EDGE_S: Final = 0.42e-6  # the window around an edge, on either side
_FEWEST_SAMPLES: Final = 2.2  # in line sync
_FRONT_S: Final = (-1.25e-6, -0.45e-6)  # before the leading edge
_FEW: Final = 6  # degrees of freedom
_TWO_LINES_S: Final = 5e-9  # jitter of a good signal, of which two edges alone show nothing
_TIP: Final = (0.7e-6, 3.9e-6)  # after the leading edge
_BACK_S: Final = (8.2e-6, 9.1e-6)  # after the leading edge, behind any burst


class NoSync(Exception):  # noqa: N818  an answer, not a failure
    """The reason why no line sync is found, in words."""

    def __init__(self, reason: str, shown_lines: float = _LINES_FOR_SYNC) -> None:
        """``shown_lines`` is how long a record must be for sync to be missing from the signal."""
        super().__init__(reason)
        self.shown_lines = shown_lines


class OnlyFieldSync(NoSync):
    """The record lies within a field sync."""


@dataclass(frozen=True, eq=False)
class Sync:
    """Line sync of a record; levels are turned so that sync points down."""

    sign: int
    """1 where sync points down in the record, -1 where it points up."""
    starts_s: Samples
    """Half-height time of each leading edge, shape (lines,)."""
    widths_s: Samples
    """Time from leading to trailing edge at half height, shape (lines,)."""
    tips_v: Samples
    blankings_v: Samples
    """Levels of each sync tip and of the porches around it, shape (lines,)."""
    numbers: Index
    """Lines counted from the first one."""
    line_s: float
    line_uncertainty_s: float
    """Standard uncertainty of the line's duration; infinite for a single line."""
    broad_s: Samples
    """Start of each group of broad pulses, the field sync, shape (fields,)."""
    narrow_s: Samples
    """Start of each equalising pulse."""
    edge_error_s: float = 0.0
    """What noise does to one edge, a standard uncertainty."""

    @property
    def heights_v(self) -> Samples:
        """Sync amplitude of each line, shape (lines,)."""
        return self.blankings_v - self.tips_v

    @property
    def late_s(self) -> Samples:
        """How late each leading edge is on an even grid of lines, shape (lines,)."""
        return fit_line(self.numbers, self.starts_s)[2]


def find_sync(record: Record) -> Sync:
    """Return the line sync of a record. Raises NoSync."""
    if record.interval_s * _FEWEST_SAMPLES > 4.7e-6:
        raise NoSync("the samples are too far apart to show line sync")
    if len(record.volts) < 8 or not np.ptp(record.volts):
        raise NoSync("the trace is level", _LINES_FOR_ANY_PULSE)
    width = max(1, round(_SMOOTHED_S / record.interval_s))
    # Pulses are found on fewer samples, and their edges timed on all of them.
    step = max(1, int(_COARSE_S / record.interval_s))
    coarse = Record(_smooth(record.volts, width)[::step], step * record.interval_s)
    best, best_score, half_lines = None, 0.0, 0
    has_line_sync = has_field_sync = False
    least_v = _CLEAR_OF_NOISE * record.quiet_noise_v / math.sqrt(width)
    for sign in (1, -1):
        smooth = sign * coarse.volts
        above = smooth - _find_envelope_v(smooth, coarse.interval_s)
        height = float(np.quantile(above, 0.99))
        for share in _SLICES:
            pulses = _slice(above, share * height, coarse)
            score, kept = _score(pulses, coarse, smooth, height)
            half_lines = max(half_lines, _count_half_lines(pulses))
            if height > least_v:
                has_line_sync |= bool(len(kept))
                has_field_sync |= _may_be_field_sync(pulses, coarse)
            if score > best_score + 0.02:
                best, best_score = (sign, pulses, kept), score
    is_lone = best is not None and len(best[2]) == 1
    # Between broad pulses there is one as wide as line sync, upside down.
    fewest = 1 if is_lone else _FEWEST_HALF_LINES
    if half_lines >= fewest and (best is None or is_lone or best_score < _LEAST_SHARE):
        raise OnlyFieldSync("the record holds field sync, but no whole lines beside it")
    if best is None or best_score < _LEAST_SHARE:
        reason = "no pulses as wide as line sync come once a line"
        shown_lines = _LINES_FOR_SYNC
        if not has_line_sync and not half_lines:
            shown_lines = _LINES_FOR_FIELD_SYNC if has_field_sync else _LINES_FOR_ANY_PULSE
        raise NoSync(reason, shown_lines)
    sign, pulses, kept = best
    return _time_edges(record, sign, pulses, kept)


@dataclass(frozen=True, eq=False)
class _Pulses:
    """Pulses below a slice level: starts and widths in seconds."""

    starts_s: Samples
    widths_s: Samples

    def of_width(self, widths_s: tuple[float, float], slack_s: float) -> Index:
        """Return the places of the pulses of a width."""
        low_s, high_s = widths_s
        wide = (self.widths_s > low_s - slack_s) & (self.widths_s < high_s + slack_s)
        return np.flatnonzero(wide)


def _smooth(volts: Samples, width: int) -> Samples:
    """Return the running mean, as long as the record; its ends repeat the nearest full one."""
    if width < 2 or len(volts) < 2 * width:
        return volts
    summed = np.concatenate([[0.0], np.cumsum(volts - volts[0])])
    means = (summed[width:] - summed[:-width]) / width + volts[0]
    before = width // 2
    return np.pad(means, (before, len(volts) - len(means) - before), mode="edge")


def _find_envelope_v(smooth: Samples, interval_s: float) -> Samples:
    """Return the lower envelope: the least of each line, straight lines between."""
    block = max(1, math.ceil(_ENVELOPE_S / interval_s))
    count = len(smooth) // block
    if count < 2:
        return np.full(len(smooth), smooth.min())
    least = smooth[: count * block].reshape(count, block).min(axis=1)
    middle = (np.arange(count) + 0.5) * block
    return np.asarray(np.interp(np.arange(len(smooth)), middle, least))


def _slice(above: Samples, level: float, record: Record) -> _Pulses:
    """Return the pulses that are whole within the record."""
    below = above < level
    edges = np.flatnonzero(below[1:] != below[:-1])
    falls, rises = edges[below[edges + 1]], edges[~below[edges + 1]]
    if not falls.size or not rises.size:
        return _Pulses(np.zeros(0), np.zeros(0))
    rises = rises[rises > falls[0]]
    falls = falls[: len(rises)]
    cross = [_cross(above, at, level) for at in (falls, rises)]
    return _Pulses(cross[0] * record.interval_s, (cross[1] - cross[0]) * record.interval_s)


def _cross(above: Samples, at: Index, level: float) -> Samples:
    """Return the places, in samples, at which the trace crosses a level after each sample."""
    return np.asarray(at + (level - above[at]) / (above[at + 1] - above[at]))


def _score(pulses: _Pulses, record: Record, smooth: Samples, height: float) -> tuple[float, Index]:
    """Return the share of the record's lines that have sync, and the places of those pulses."""
    at = pulses.of_width(_WIDTHS_S, record.interval_s)
    if not at.size:
        return 0.0, at
    at = at[_has_even_porches(pulses.starts_s[at], record, smooth)]
    if len(at) < 2:
        return (1.0 if len(at) and record.span_s < 2 * _LINES_S[1] else 0.0), at
    line_s = _find_line_s(pulses.starts_s[at])
    if line_s is None:
        return 0.0, at
    at = at[_on_grid(pulses.starts_s[at], line_s)]
    half_lines = len(pulses.of_width(_BROAD_S, 0.0)) + len(pulses.of_width(_NARROW_S, 0.0))
    lines = record.span_s / line_s - min(half_lines / 2, _FIELD_SYNC_LINES * len(at))
    share = min(len(at) / max(math.floor(lines), 1), 1.0)
    # Of equally good slice levels, one that meets nothing but sync, near the middle of its edges.
    strays = 1 - len(at) / len(pulses.starts_s)
    off_s = abs(float(np.median(pulses.widths_s[at])) - _USUAL_WIDTH_S)
    return share - _STRAYS * strays - off_s / _USUAL_WIDTH_S * _STRAYS, at


def _count_half_lines(pulses: _Pulses) -> int:
    """Return how many pulses of field sync are half a line from the next."""
    at = np.union1d(pulses.of_width(_BROAD_S, 0.0), pulses.of_width(_NARROW_S, 0.0))
    apart_s = np.diff(pulses.starts_s[at])
    return int(np.count_nonzero(np.abs(apart_s - _HALF_LINE_S) < _HALF_LINE_S / 20))


def _may_be_field_sync(pulses: _Pulses, record: Record) -> bool:
    """Return whether a pulse is as wide as those of field sync."""
    widths = (_BROAD_S, _NARROW_S)
    return any(len(pulses.of_width(span_s, record.interval_s)) for span_s in widths)


def _has_even_porches(starts_s: Samples, record: Record, smooth: Samples) -> NDArray[np.bool_]:
    """Return, for each pulse, whether the levels before and after it agree."""
    levels = [_read_levels(smooth, record, starts_s, *span) for span in (_FRONT_S, _TIP, _BACK_S)]
    front, tip, back = levels
    height = np.maximum(np.fmax(front, back) - tip, 1e-30)
    differ = np.abs(front - back) > _PORCHES_DIFFER * height
    # Smoothing blurs a front porch shorter than itself; a porch outside the record tells nothing.
    return ~differ | ~np.isfinite(front + back)


def _read_levels(
    volts: Samples, record: Record, starts_s: Samples, from_s: float, to_s: float
) -> Samples:
    """Return the median of the samples between two times after each start; nan outside."""
    count = max(1, int((to_s - from_s) / record.interval_s))
    first = np.ceil((starts_s + from_s) / record.interval_s).astype(np.intp)
    inside = (first >= 0) & (first + count <= len(volts))
    index = np.clip(first[:, None] + np.arange(count), 0, len(volts) - 1)
    return np.where(inside, np.median(volts[index], axis=1), np.nan)


def _find_line_s(starts_s: Samples) -> float | None:
    """Return the usual distance of neighbouring pulses that may be a line; None without any."""
    apart_s = np.diff(starts_s)
    near = apart_s[(apart_s > _LINES_S[0]) & (apart_s < _LINES_S[1])]
    return float(np.median(near)) if near.size else None


def _on_grid(starts_s: Samples, line_s: float) -> NDArray[np.bool_]:
    """Return, for each pulse, whether it is a whole number of lines from a neighbour."""
    apart = np.diff(starts_s) / line_s
    whole = (np.abs(apart - np.round(apart)) < _OFF_GRID) & (apart < _MOST_LINES_APART)
    return np.asarray(np.append(whole, False) | np.append(False, whole))


def _time_edges(record: Record, sign: int, pulses: _Pulses, kept: Index) -> Sync:
    """Return the sync with its edges timed by area on the samples themselves."""
    volts = sign * record.volts
    rough_s = pulses.starts_s[kept]
    front, tip, back = (
        _average(volts, record, rough_s, *span) for span in (_FRONT_S, _TIP, _BACK_S)
    )
    blank = np.where(np.isfinite(back), back, front)
    blank = np.where(np.isfinite(front) & np.isfinite(back), (front + back) / 2, blank)
    half_s = max(HALF_EDGE_S, 1.5 * record.interval_s)
    starts_s = _time_edge(volts, record, rough_s, half_s, blank, tip)
    ends_s = _time_edge(volts, record, rough_s + pulses.widths_s[kept], half_s, tip, blank)
    good = np.isfinite(starts_s) & np.isfinite(ends_s) & np.isfinite(tip) & np.isfinite(blank)
    if not good.any():
        raise NoSync("the record ends within the only line sync")
    starts_s, widths_s = starts_s[good], (ends_s - starts_s)[good]
    line_s = _find_line_s(starts_s) or 64e-6
    numbers = np.concatenate([[0], np.cumsum(np.round(np.diff(starts_s) / line_s))])
    sync = Sync(
        sign=sign,
        starts_s=starts_s,
        widths_s=widths_s,
        tips_v=tip[good],
        blankings_v=blank[good],
        numbers=numbers.astype(np.intp),
        line_s=line_s,
        line_uncertainty_s=math.inf,
        broad_s=_find_field_sync(pulses, record),
        narrow_s=pulses.starts_s[pulses.of_width(_NARROW_S, 0.0)],
    )
    samples = int((_TIP[1] - _TIP[0]) / record.interval_s)
    scatter = _scatter(volts, record, rough_s[good], *_TIP) if samples > 1 else 0.0
    count = max(3, 2 * round(half_s / record.interval_s) + 1)
    edge_error_s = (
        scatter / max(float(np.median(sync.heights_v)), 1e-30) * math.sqrt(count)
    ) * record.interval_s
    return _fit_lines(replace(sync, edge_error_s=edge_error_s))


def _scatter(
    volts: Samples, record: Record, starts_s: Samples, from_s: float, to_s: float
) -> float:
    """Return the median standard deviation of the samples between two times after each start."""
    count = max(2, int((to_s - from_s) / record.interval_s))
    first = np.ceil((starts_s + from_s) / record.interval_s).astype(np.intp)
    index = np.clip(first[:, None] + np.arange(count), 0, len(volts) - 1)
    return float(np.median(volts[index].std(axis=1, ddof=1)))


def _average(
    volts: Samples, record: Record, starts_s: Samples, from_s: float, to_s: float
) -> Samples:
    """Return the mean of the samples between two times after each start; nan outside."""
    count = max(1, int((to_s - from_s) / record.interval_s))
    first = np.ceil((starts_s + from_s) / record.interval_s).astype(np.intp)
    inside = (first >= 0) & (first + count <= len(volts))
    index = np.clip(first[:, None] + np.arange(count), 0, len(volts) - 1)
    return np.where(inside, volts[index].mean(axis=1), np.nan)


def _time_edge(
    volts: Samples,
    record: Record,
    near_s: Samples,
    half_s: float,
    before: Samples,
    after: Samples,
) -> Samples:
    """Return the half-height times of edges between two flat levels; nan outside the record.

    The mean m of n samples about the edge is before + (after - before) (share after the edge), so
    the edge is (m - after) / (before - after) n intervals behind half an interval before the first.
    """
    count = max(3, 2 * round(half_s / record.interval_s) + 1)
    first = np.round(near_s / record.interval_s).astype(np.intp) - count // 2
    inside = (first >= 0) & (first + count <= len(volts))
    index = np.clip(first[:, None] + np.arange(count), 0, len(volts) - 1)
    share = (volts[index].mean(axis=1) - after) / (before - after)
    at = (first - 0.5 + share * count) * record.interval_s
    # A share outside the window says that the levels do not hold there.
    return np.where(inside & (share > 0) & (share < 1), at, np.nan)


def _find_field_sync(pulses: _Pulses, record: Record) -> Samples:
    """Return the start of each group of broad pulses."""
    at = pulses.of_width(_BROAD_S, record.interval_s)
    starts_s = pulses.starts_s[at]
    if len(starts_s) < 3:
        return np.zeros(0)
    begins = np.concatenate([[True], np.diff(starts_s) > 1e-3])
    groups = np.cumsum(begins) - 1
    counts = np.bincount(groups)
    # A record that begins within the group has lost its start.
    return np.asarray(starts_s[begins][counts >= 5])


def _fit_lines(sync: Sync) -> Sync:
    """Return the sync with the duration of a line fitted through all leading edges.

    Of few lines the scatter tells little: where it is beyond the noise of an edge, its uncertainty
    is widened (Student's distribution, roughly).
    """
    line_s, spread, late_s = fit_line(sync.numbers, sync.starts_s)
    if not math.isfinite(line_s):
        return sync
    freedom, edge_error_s = len(late_s) - 2, sync.edge_error_s
    if freedom < 1:
        scatter_s = math.hypot(edge_error_s, _TWO_LINES_S)
        return replace(sync, line_s=line_s, line_uncertainty_s=scatter_s / spread)
    scatter_s = math.sqrt(float(late_s @ late_s) / freedom)
    if scatter_s > 2 * edge_error_s and freedom < _FEW:
        scatter_s *= 1 + _FEW / freedom
    return replace(sync, line_s=line_s, line_uncertainty_s=max(scatter_s, edge_error_s) / spread)


def fit_line(numbers: Index, at_s: Samples) -> tuple[float, float, Samples]:
    """Return slope in seconds, root of the squared deviations of the numbers, and residuals."""
    if len(numbers) < 2:
        return math.inf, 0.0, np.zeros_like(at_s)
    centred = numbers - numbers.mean()
    squares = float(centred @ centred)
    slope_s = float(centred @ at_s) / squares
    return slope_s, math.sqrt(squares), np.asarray(at_s - at_s.mean() - slope_s * centred)
