"""A capture laid over the expected trace: its lowest and highest volts in each column."""

from __future__ import annotations

from typing import Final

import numpy as np

from ....schema.chips.expectation import Expectation
from ....schema.waveforms import Samples
from ...drawing.scope_trace import Trace

_NEAR_FREQUENCY: Final = 0.25  # how far off the frequency may be for the picture to follow it
_FEWEST: Final = 8  # samples over which a carrier shows both its edges
_FILL: Final = 4  # points a column, between samples that are farther apart

Edges = tuple[Samples, Samples]
"""Lowest and highest volts at the input, both of shape (columns,); not numbers without samples."""


def align_times_s(
    t_s: Samples,
    expectation: Expectation,
    start_s: float,
    shift_s: float | None,
    frequency_hz: float | None,
) -> Samples:
    """Return the times of samples on the picture's axis, whole cycles back to cover it.

    ``start_s`` is where the picture starts, ``shift_s`` the time along the waveform at which the
    record does, None where it cannot be compared. A measured ``frequency_hz`` near the expected
    one stretches the axis.
    """
    record_s: Samples = t_s - t_s[0]
    waveform = expectation.waveform
    if shift_s is None or waveform is None or not waveform.frequency_hz:
        return record_s + start_s
    stretch = (frequency_hz or waveform.frequency_hz) / waveform.frequency_hz
    # Another frequency altogether is shown as it is.
    if abs(stretch - 1) >= _NEAR_FREQUENCY:
        stretch = 1.0
    waveform_s = record_s * stretch + shift_s
    cycles_late = np.ceil((waveform_s[0] - start_s) * waveform.frequency_hz)
    return np.asarray(waveform_s - cycles_late / waveform.frequency_hz)


def lay_over(t_s: Samples, volts: Samples, expected: Trace, *, has_carrier: bool) -> Edges:
    """Return the edges of samples at times ``t_s`` of the picture's axis, column by column.

    Where a column holds few samples of a carrier, those beside it help to show its height; between
    samples of another signal that are farther apart than columns, lines are drawn.
    """
    column_s = float(expected.t_s[1] - expected.t_s[0])
    interval_s = float(t_s[1] - t_s[0])
    # Between samples of a carrier a straight line would be wrong: it has turned there.
    if not has_carrier and interval_s * _FILL > column_s:
        span_s = float(t_s[-1] - t_s[0])
        point_count = int(span_s / column_s * _FILL) + 1
        fine_s = t_s[0] + np.arange(point_count) * column_s / _FILL
        t_s, volts = fine_s, np.interp(fine_s, t_s, volts)
    low_v, high_v = gather(t_s, volts - expected.removed_v, expected)
    if has_carrier:
        low_v, high_v = widen(low_v, high_v, count_columns_beside(interval_s, expected))
    return _join(low_v, high_v)


def count_columns_beside(interval_s: float, expected: Trace) -> int:
    """Return how many columns on either side show the height of a carrier; 0 for many samples."""
    column_s = float(expected.t_s[1] - expected.t_s[0])
    if interval_s * _FEWEST <= column_s:
        return 0
    return int(np.ceil(_FEWEST * interval_s / column_s / 2))


def gather(t_s: Samples, volts: Samples, expected: Trace) -> Edges:
    """Return lowest and highest volts in each column of the picture."""
    column_s = expected.t_s[1] - expected.t_s[0]
    column_count = len(expected.t_s)
    column_of_sample = np.round((t_s - expected.t_s[0]) / column_s).astype(int)
    is_inside = (column_of_sample >= 0) & (column_of_sample < column_count)
    low_v, high_v = np.full(column_count, np.inf), np.full(column_count, -np.inf)
    np.minimum.at(low_v, column_of_sample[is_inside], volts[is_inside])
    np.maximum.at(high_v, column_of_sample[is_inside], volts[is_inside])
    is_empty = ~np.isfinite(low_v)
    low_v[is_empty] = high_v[is_empty] = np.nan
    return low_v, high_v


def widen(low_v: Samples, high_v: Samples, beside: int) -> Edges:
    """Return the lowest and the highest of each column and ``beside`` columns on either side.

    Columns that are not numbers stay so.
    """

    def list_windows(edge_v: Samples) -> Samples:  # columns x (2 beside + 1)
        padded_v = np.pad(edge_v, beside, constant_values=np.nan)
        return np.lib.stride_tricks.sliding_window_view(padded_v, 2 * beside + 1)

    is_known = np.isfinite(low_v)
    lowest_v, highest_v = np.full(len(low_v), np.nan), np.full(len(low_v), np.nan)
    lowest_v[is_known] = np.nanmin(list_windows(low_v)[is_known], axis=1)
    highest_v[is_known] = np.nanmax(list_windows(high_v)[is_known], axis=1)
    return lowest_v, highest_v


def _join(low_v: Samples, high_v: Samples) -> Edges:
    """Return the edges extended to half-way towards neighbours that they do not meet."""
    joined_low_v, joined_high_v = low_v.copy(), high_v.copy()
    # The next column is all above this one, or all below: a gap that the beam crosses.
    rises = low_v[1:] > high_v[:-1]
    falls = high_v[1:] < low_v[:-1]
    rise_middle_v = (high_v[:-1] + low_v[1:]) / 2
    fall_middle_v = (low_v[:-1] + high_v[1:]) / 2
    joined_high_v[:-1][rises] = np.maximum(joined_high_v[:-1], rise_middle_v)[rises]
    joined_low_v[1:][rises] = np.minimum(joined_low_v[1:], rise_middle_v)[rises]
    joined_low_v[:-1][falls] = np.minimum(joined_low_v[:-1], fall_middle_v)[falls]
    joined_high_v[1:][falls] = np.maximum(joined_high_v[1:], fall_middle_v)[falls]
    return joined_low_v, joined_high_v
