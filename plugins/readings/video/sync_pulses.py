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
from typing import Final, NamedTuple

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
_USUAL_LINE_S: Final = 64e-6
_LEAST_HEIGHT_V: Final = 1e-30  # so that nothing is divided by zero
_SHORTEST_RECORD: Final = 8  # samples
_PEAK_QUANTILE: Final = 0.99  # of a record: its height without spikes
_CLEARLY_BETTER: Final = 0.02  # of the lines
_HALF_LINE_S: Final = 31.9e-6
_FEWEST_HALF_LINES: Final = 3
_FEWEST_BROAD: Final = 3
_BROAD_IN_GROUP: Final = 5  # of 625 lines; 525 lines have six
_GROUPS_APART_S: Final = 1e-3  # less than a field, more than the pulses of one group last
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
    if record.interval_s * _FEWEST_SAMPLES > _USUAL_WIDTH_S:
        raise NoSync("the samples are too far apart to show line sync")
    if len(record.volts) < _SHORTEST_RECORD or not np.ptp(record.volts):
        raise NoSync("the trace is level", _LINES_FOR_ANY_PULSE)
    search = _search_pulses(record)
    best = search.best
    is_lone = best is not None and len(best.line_sync) == 1
    is_poor = best is None or best.score < _LEAST_SHARE
    # Between broad pulses there is one as wide as line sync, upside down.
    fewest_half_lines = 1 if is_lone else _FEWEST_HALF_LINES
    if search.half_lines >= fewest_half_lines and (is_lone or is_poor):
        raise OnlyFieldSync("the record holds field sync, but no whole lines beside it")
    if best is None or is_poor:
        shown_lines = _LINES_FOR_SYNC
        if not search.has_line_sync and not search.half_lines:
            has_field_sync = search.has_field_sync
            shown_lines = _LINES_FOR_FIELD_SYNC if has_field_sync else _LINES_FOR_ANY_PULSE
        raise NoSync("no pulses as wide as line sync come once a line", shown_lines)
    return _time_edges(record, best.sign, best.pulses, best.line_sync)


class _Slice(NamedTuple):
    """The pulses below one slice level, in one polarity."""

    sign: int
    pulses: _Pulses
    line_sync: Index
    """Places of the pulses that are line sync."""
    score: float
    """About the share of the record's lines that have sync."""


class _Search(NamedTuple):
    """The best slice level of a record, and the traces of sync that any of them shows."""

    best: _Slice | None
    half_lines: int
    """Most pulses of field sync that are half a line from the next."""
    has_line_sync: bool
    has_field_sync: bool
    """Whether pulses as wide as those of line and of field sync are clear of the noise."""


def _search_pulses(record: Record) -> _Search:
    """Return the slice level that finds most line sync, of several in either polarity."""
    width = max(1, round(_SMOOTHED_S / record.interval_s))
    # Pulses are found on fewer samples, and their edges timed on all of them.
    step = max(1, int(_COARSE_S / record.interval_s))
    coarse = Record(_smooth(record.volts, width)[::step], step * record.interval_s)
    least_height_v = _CLEAR_OF_NOISE * record.quiet_noise_v / math.sqrt(width)
    best, best_score, half_lines = None, 0.0, 0
    has_line_sync = has_field_sync = False
    for sign in (1, -1):
        smooth_v = sign * coarse.volts
        above_v = smooth_v - _find_envelope_v(smooth_v, coarse.interval_s)
        height_v = float(np.quantile(above_v, _PEAK_QUANTILE))
        for share in _SLICES:
            pulses = _slice(above_v, share * height_v, coarse)
            score, line_sync = _score(pulses, coarse, smooth_v)
            half_lines = max(half_lines, _count_half_lines(pulses))
            if height_v > least_height_v:
                has_line_sync |= bool(len(line_sync))
                has_field_sync |= _may_be_field_sync(pulses, coarse)
            # Slice levels come in the order of preference.
            if score > best_score + _CLEARLY_BETTER:
                best, best_score = _Slice(sign, pulses, line_sync, score), score
    return _Search(best, half_lines, has_line_sync, has_field_sync)


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


def _score(pulses: _Pulses, record: Record, smooth_v: Samples) -> tuple[float, Index]:
    """Return the share of the record's lines that have sync, and the places of those pulses."""
    sync = pulses.of_width(_WIDTHS_S, record.interval_s)
    if not sync.size:
        return 0.0, sync
    sync = sync[_has_even_porches(pulses.starts_s[sync], record, smooth_v)]
    if len(sync) < 2:
        # Less than two lines hold one sync; a longer record should hold more.
        is_all_there_is = len(sync) == 1 and record.span_s < 2 * _LINES_S[1]
        return (1.0 if is_all_there_is else 0.0), sync
    line_s = _find_line_s(pulses.starts_s[sync])
    if line_s is None:
        return 0.0, sync
    sync = sync[_on_grid(pulses.starts_s[sync], line_s)]
    # In field sync two pulses take the place of a line's.
    half_lines = len(pulses.of_width(_BROAD_S, 0.0)) + len(pulses.of_width(_NARROW_S, 0.0))
    lines = record.span_s / line_s - min(half_lines / 2, _FIELD_SYNC_LINES * len(sync))
    share = min(len(sync) / max(math.floor(lines), 1), 1.0)
    # Of equally good slice levels, one that meets nothing but sync, near the middle of its edges.
    strays = 1 - len(sync) / len(pulses.starts_s)
    off_s = abs(float(np.median(pulses.widths_s[sync])) - _USUAL_WIDTH_S)
    return share - _STRAYS * strays - off_s / _USUAL_WIDTH_S * _STRAYS, sync


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
    front_v, tip_v, back_v = (
        _average(volts, record, rough_s, *span) for span in (_FRONT_S, _TIP, _BACK_S)
    )
    # Hum slopes the porches: blanking at sync is half way between them, or the one in the record.
    blanking_v = np.where(np.isfinite(back_v), back_v, front_v)
    has_both = np.isfinite(front_v) & np.isfinite(back_v)
    blanking_v = np.where(has_both, (front_v + back_v) / 2, blanking_v)
    half_s = max(HALF_EDGE_S, 1.5 * record.interval_s)
    starts_s = _time_edge(volts, record, rough_s, half_s, blanking_v, tip_v)
    rough_ends_s = rough_s + pulses.widths_s[kept]
    ends_s = _time_edge(volts, record, rough_ends_s, half_s, tip_v, blanking_v)
    is_timed = np.isfinite(starts_s) & np.isfinite(ends_s)
    is_timed &= np.isfinite(tip_v) & np.isfinite(blanking_v)
    if not is_timed.any():
        raise NoSync("the record ends within the only line sync")
    starts_s, widths_s = starts_s[is_timed], (ends_s - starts_s)[is_timed]
    line_s = _find_line_s(starts_s) or _USUAL_LINE_S
    numbers = np.concatenate([[0], np.cumsum(np.round(np.diff(starts_s) / line_s))])
    sync = Sync(
        sign=sign,
        starts_s=starts_s,
        widths_s=widths_s,
        tips_v=tip_v[is_timed],
        blankings_v=blanking_v[is_timed],
        numbers=numbers.astype(np.intp),
        line_s=line_s,
        line_uncertainty_s=math.inf,
        broad_s=_find_field_sync(pulses, record),
        narrow_s=pulses.starts_s[pulses.of_width(_NARROW_S, 0.0)],
    )
    tip_samples = int((_TIP[1] - _TIP[0]) / record.interval_s)
    noise_v = _scatter(volts, record, rough_s[is_timed], *_TIP) if tip_samples > 1 else 0.0
    edge_samples = max(3, 2 * round(half_s / record.interval_s) + 1)
    height_v = max(float(np.median(sync.heights_v)), _LEAST_HEIGHT_V)
    # The noise of the samples about an edge adds up in its area.
    edge_error_s = (noise_v / height_v * math.sqrt(edge_samples)) * record.interval_s
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
    is_inside = (first >= 0) & (first + count <= len(volts))
    index = np.clip(first[:, None] + np.arange(count), 0, len(volts) - 1)  # edges x samples
    share_before = (volts[index].mean(axis=1) - after) / (before - after)
    edge_s = (first - 0.5 + share_before * count) * record.interval_s
    # A share outside the window says that the levels do not hold there.
    holds = (share_before > 0) & (share_before < 1)
    return np.where(is_inside & holds, edge_s, np.nan)


def _find_field_sync(pulses: _Pulses, record: Record) -> Samples:
    """Return the start of each group of broad pulses."""
    starts_s = pulses.starts_s[pulses.of_width(_BROAD_S, record.interval_s)]
    if len(starts_s) < _FEWEST_BROAD:
        return np.zeros(0)
    begins_group = np.concatenate([[True], np.diff(starts_s) > _GROUPS_APART_S])
    pulses_in_group = np.bincount(np.cumsum(begins_group) - 1)
    # A record that begins within the group has lost its start.
    return np.asarray(starts_s[begins_group][pulses_in_group >= _BROAD_IN_GROUP])


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
