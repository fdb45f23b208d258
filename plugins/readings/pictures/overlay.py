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
    t_s = t_s - t_s[0]
    waveform = expectation.waveform
    if shift_s is None or waveform is None or not waveform.frequency_hz:
        return t_s + start_s
    stretch = (frequency_hz or waveform.frequency_hz) / waveform.frequency_hz
    t_s = t_s * (stretch if abs(stretch - 1) < _NEAR_FREQUENCY else 1.0) + shift_s
    cycles = np.ceil((t_s[0] - start_s) * waveform.frequency_hz)
    return np.asarray(t_s - cycles / waveform.frequency_hz)


def lay_over(t_s: Samples, volts: Samples, expected: Trace, *, has_carrier: bool) -> Edges:
    """Return the edges of samples at times ``t_s`` of the picture's axis, column by column.

    Where a column holds few samples of a carrier, those beside it help to show its height; between
    samples of another signal that are farther apart than columns, lines are drawn.
    """
    step_s = float(expected.t_s[1] - expected.t_s[0])
    interval_s = float(t_s[1] - t_s[0])
    if not has_carrier and interval_s * _FILL > step_s:
        span_s = float(t_s[-1] - t_s[0])
        fine_s = t_s[0] + np.arange(int(span_s / step_s * _FILL) + 1) * step_s / _FILL
        t_s, volts = fine_s, np.interp(fine_s, t_s, volts)
    low, high = gather(t_s, volts - expected.removed_v, expected)
    beside = int(np.ceil(_FEWEST * interval_s / step_s / 2)) if has_carrier else 0
    if beside and interval_s * _FEWEST > step_s:
        low, high = widen(low, high, beside)
    return _join(low, high)


def gather(t_s: Samples, volts: Samples, expected: Trace) -> Edges:
    """Return lowest and highest volts in each column of the picture."""
    step_s = expected.t_s[1] - expected.t_s[0]
    columns = len(expected.t_s)
    column_of_sample = np.round((t_s - expected.t_s[0]) / step_s).astype(int)
    is_inside = (column_of_sample >= 0) & (column_of_sample < columns)
    low, high = np.full(columns, np.inf), np.full(columns, -np.inf)
    np.minimum.at(low, column_of_sample[is_inside], volts[is_inside])
    np.maximum.at(high, column_of_sample[is_inside], volts[is_inside])
    is_empty = ~np.isfinite(low)
    low[is_empty] = high[is_empty] = np.nan
    return low, high


def widen(low: Samples, high: Samples, beside: int) -> Edges:
    """Return the lowest and the highest of each column and ``beside`` columns on either side.

    Columns that are not numbers stay so.
    """
    windows = (
        np.lib.stride_tricks.sliding_window_view(
            np.pad(edge, beside, constant_values=np.nan), 2 * beside + 1
        )
        for edge in (low, high)
    )
    below, above = windows
    is_known = np.isfinite(low)
    lowest, highest = np.full(len(low), np.nan), np.full(len(low), np.nan)
    lowest[is_known] = np.nanmin(below[is_known], axis=1)
    highest[is_known] = np.nanmax(above[is_known], axis=1)
    return lowest, highest


def _join(low: Samples, high: Samples) -> Edges:
    """Return the edges extended to half-way towards neighbours that they do not meet."""
    joined_low, joined_high = low.copy(), high.copy()
    rises = low[1:] > high[:-1]
    falls = high[1:] < low[:-1]
    up, down = (high[:-1] + low[1:]) / 2, (low[:-1] + high[1:]) / 2
    joined_high[:-1][rises] = np.maximum(joined_high[:-1], up)[rises]
    joined_low[1:][rises] = np.minimum(joined_low[1:], up)[rises]
    joined_low[:-1][falls] = np.minimum(joined_low[:-1], down)[falls]
    joined_high[1:][falls] = np.maximum(joined_high[1:], down)[falls]
    return joined_low, joined_high
