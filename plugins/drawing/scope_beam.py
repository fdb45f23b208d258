"""The beam of the oscilloscope in a picture, graded by the time it stays at each height.

A tube is brightest where the beam lingers: level parts are lines, a carrier is a band that is
bright along its edges and dim between them, and steep edges hardly show. The band is drawn as
areas laid over one another, each within the one before, so that the brightness changes smoothly.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from .scope_screen import (
    BEAM,
    CAPTURED,
    DIV,
    HEIGHT,
    WIDTH,
    Numbers,
    Whole,
    convert_height,
    draw_outline,
    draw_polyline,
    list_runs,
    place_columns,
)
from .scope_settings import ScopeSettings
from .scope_trace import BINS_PER_DIV, Trace

_SPOT: Final = np.array([1, 2, 3, 4, 3, 2, 1]) / 16  # profile of the spot, in steps of height
_BESIDE: Final = 20  # columns on either side that the brightness is evened over
_LEVEL: Final = 0.1  # divisions between columns of a band that keeps its height
_FEWEST_COLUMNS: Final = 3  # of a band, and of a grade: a narrower one is a blotch
_GRADES: Final = (1.15, 1.45, 1.8, 2.3, 3.0)  # times a beam spread evenly over its height
_OPACITY: Final = 0.17  # of each grade
_LINE_EXCESS: Final = 0.06  # divisions that a line is higher than it moves to its neighbours
_TALLEST_LINE: Final = 0.4  # divisions


def draw_beam(trace: Trace, settings: ScopeSettings) -> str:
    """Return the beam: the envelope faint, frequent heights brighter, plain lines brightest."""
    column_x = place_columns(len(trace.t_s))
    low_y, high_y = _convert_edges(trace.low_v, trace.high_v, trace, settings)
    is_line = _is_line(low_y, high_y)
    grades = "".join(
        f'<path class="scope-grade" d="{area_path}" fill="{BEAM}" fill-opacity="{_OPACITY}"'
        ' stroke="none"/>'
        for area_path in _draw_grades(trace.density, is_line, column_x, low_y, high_y)
        if area_path
    )
    return (
        f'<g class="scope-beam" fill="none" stroke-linejoin="round" stroke-linecap="butt">'
        f'<path class="scope-envelope" d="{draw_outline(column_x, low_y, high_y)}" fill="{BEAM}"'
        f' stroke="{BEAM}" fill-opacity=".3" stroke-opacity=".3" stroke-width="3"/>{grades}'
        f'<path class="scope-line" d="{_draw_line(column_x, low_y, high_y, is_line)}"'
        f' stroke="{BEAM}" stroke-width="6" stroke-linecap="round"/></g>'
    )


def draw_captured(over: tuple[Numbers, Numbers], trace: Trace, settings: ScopeSettings) -> str:
    """Return a captured trace as a band with a strong edge.

    ``over`` is the lowest and highest volts of each column at the input, not numbers where nothing
    was captured.
    """
    column_x = place_columns(len(trace.t_s))
    is_captured = np.isfinite(over[0])
    # Heights are whole numbers, which cannot be "not a number"; those columns are left out below.
    low_v, high_v = (np.where(is_captured, edge_v, 0.0) for edge_v in over)
    low_y, high_y = _convert_edges(low_v, high_v, trace, settings)
    outlines = "".join(
        draw_outline(_widen(column_x[run]), _repeat(low_y[run]), _repeat(high_y[run]))
        for run in list_runs(is_captured)
    )
    return (
        f'<path class="scope-captured" d="{outlines}" fill="{CAPTURED}" fill-opacity=".25"'
        f' stroke="{CAPTURED}" stroke-width="3.5" stroke-linejoin="round"/>'
    )


def _widen(x: Whole) -> Whole:
    """Return the two sides of each column, so that a single one is an area as well."""
    half = WIDTH // len(x) if len(x) == 1 else max((int(x[1]) - int(x[0])) // 2, 1)
    return np.stack([x - half, x + half], axis=1).ravel() if len(x) == 1 else x


def _repeat(y: Whole) -> Whole:
    return np.repeat(y, 2) if len(y) == 1 else y


def _convert_edges(
    low_v: Numbers, high_v: Numbers, trace: Trace, settings: ScopeSettings
) -> tuple[Whole, Whole]:
    volts_per_div = settings.volts_per_div
    return (
        convert_height(low_v, trace.centre_v, volts_per_div),
        convert_height(high_v, trace.centre_v, volts_per_div),
    )


def _is_line(low_y: Whole, high_y: Whole) -> NDArray[np.bool_]:
    """Return where the beam is a line: no higher than it moves between columns, and not an edge."""
    middle_y = np.pad((low_y + high_y) / 2, 1, mode="edge")
    movement = np.abs(middle_y[2:] - middle_y[:-2])
    height = low_y - high_y  # y counts down from the top
    is_thin = (height <= movement + _LINE_EXCESS * DIV) & (height <= _TALLEST_LINE * DIV)
    # One thin column alone is where an edge turns, not a line.
    padded = np.pad(is_thin, 1)
    has_thin_neighbour = padded[2:] | padded[:-2]
    return np.asarray(is_thin & has_thin_neighbour)


def _draw_line(x: Whole, low: Whole, high: Whole, line: NDArray[np.bool_]) -> str:
    """Return the middle of the columns that are a line as path data, broken between them."""
    middle = (low + high) // 2
    return "".join(f"M{draw_polyline(x[run], middle[run])}h1" for run in list_runs(line))


def _draw_grades(
    density: Numbers, is_line: NDArray[np.bool_], column_x: Whole, low_y: Whole, high_y: Whole
) -> Iterator[str]:
    """Yield the areas of each grade of brightness as path data, the widest first."""
    level_runs = _list_level_runs(is_line, low_y, high_y)
    brightness_of_run = [_grade_run(density[run], low_y[run], high_y[run]) for run in level_runs]
    for grade in _GRADES:
        outlines = []
        for run, brightness in zip(level_runs, brightness_of_run, strict=True):
            bright_intervals = _find_intervals(brightness, grade)
            outlines += [
                draw_outline(column_x[columns], bottom_y, top_y)
                for columns, bottom_y, top_y in _list_areas(run, bright_intervals, low_y, high_y)
                if len(columns) >= _FEWEST_COLUMNS
            ]
        yield "".join(outlines)


def _list_level_runs(line: NDArray[np.bool_], low: Whole, high: Whole) -> list[Whole]:
    """Return the columns of each part of a band that keeps its height: a bar, a burst.

    Columns between such parts hold an edge, where the beam does not linger.
    """
    steps = np.maximum(np.abs(np.diff(low)), np.abs(np.diff(high)))
    ends = np.flatnonzero((steps > _LEVEL * DIV) | np.diff(line)) + 1
    runs = np.split(np.arange(len(line)), ends)
    return [run for run in runs if len(run) >= _FEWEST_COLUMNS and not line[run[0]]]


def _grade_run(density: Numbers, low: Whole, high: Whole) -> Numbers:
    """Return the brightness over that of a beam spread evenly, shape (columns, steps of height).

    It is evened over neighbouring columns; of a bar, which keeps its height, one row is enough.
    """
    if max(np.ptp(low), np.ptp(high)) <= _LEVEL * DIV:
        dwell = density.mean(axis=0)[None, :]  # one row x steps of height
    else:
        dwell = _average_over_neighbours(density)
    # The spot has a width, so that its light spreads over the steps of height beside it.
    half_spot, step_count = len(_SPOT) // 2, dwell.shape[1]
    padded_dwell = np.pad(dwell, ((0, 0), (half_spot, half_spot)))
    light = np.zeros_like(dwell)
    for shift, share in enumerate(_SPOT):
        light += share * padded_dwell[:, shift : shift + step_count]
    # A beam spread evenly leaves 1 / (steps it covers) at each.
    lit_steps = np.flatnonzero(density.any(axis=0))
    steps_covered = lit_steps[-1] - lit_steps[0] + 1
    return np.asarray(light * steps_covered)


def _average_over_neighbours(density: Numbers) -> Numbers:
    """Return the mean of each column and those beside it, shape (columns, steps of height)."""
    column_count = len(density)
    sums = np.cumsum(np.pad(density, ((1, 0), (0, 0))), axis=0)
    columns = np.arange(column_count)
    first = np.maximum(columns - _BESIDE, 0)
    end = np.minimum(columns + _BESIDE + 1, column_count)
    return np.asarray((sums[end] - sums[first]) / (end - first)[:, None])


class _Interval(NamedTuple):
    """Heights of one column that are bright, in units down from the top of the screen."""

    bottom: float
    top: float


def _find_intervals(brightness: Numbers, grade: float) -> list[list[_Interval]]:
    """Return the heights of each column that reach a grade, interpolated between the steps."""
    bin_height = DIV / BINS_PER_DIV
    padded = np.pad(brightness, ((0, 0), (1, 1)))  # columns x (steps of height + 2), dark ends
    is_bright = padded >= grade
    columns, edges = np.nonzero(is_bright[:, 1:] != is_bright[:, :-1])
    below, above = padded[columns, edges], padded[columns, edges + 1]
    # Bins are padded by one, and a value belongs to the middle of its bin.
    bins_up = edges - 0.5 + (grade - below) / (above - below)
    edge_y = HEIGHT - bins_up * bin_height
    intervals: list[list[_Interval]] = [[] for _ in brightness]
    # Between dark ends the edges of a column come in pairs: lower, upper.
    for column, bottom, top in zip(columns[::2], edge_y[::2], edge_y[1::2], strict=True):
        intervals[column].append(_Interval(float(bottom), float(top)))
    return intervals


def _list_areas(
    run: Whole, intervals: list[list[_Interval]], low: Whole, high: Whole
) -> Iterator[tuple[Whole, Whole, Whole]]:
    """Yield columns, bottoms and tops of each area: intervals that overlap from column to column.

    One row of intervals holds for all columns of the run. An area ends where it parts or meets
    another one. All stay within the envelope.
    """
    if len(intervals) == 1:
        for interval in intervals[0]:
            yield _limit_area([(column, interval) for column in run.tolist()], low, high)
        return
    open_areas: list[list[tuple[int, _Interval]]] = []
    # A last column without intervals ends all areas.
    for column, column_intervals in zip([*run.tolist(), -1], [*intervals, []], strict=True):
        continued_areas: list[list[tuple[int, _Interval]]] = []
        used_intervals: set[_Interval] = set()
        for area in open_areas:
            _, last = area[-1]
            overlapping = [
                interval
                for interval in column_intervals
                if interval.top < last.bottom and last.top < interval.bottom
            ]
            if len(overlapping) == 1 and overlapping[0] not in used_intervals:
                used_intervals.add(overlapping[0])
                area.append((column, overlapping[0]))
                continued_areas.append(area)
            else:
                yield _limit_area(area, low, high)
        new_areas = [[(column, new)] for new in column_intervals if new not in used_intervals]
        open_areas = continued_areas + new_areas


def _limit_area(
    area: list[tuple[int, _Interval]], low: Whole, high: Whole
) -> tuple[Whole, Whole, Whole]:
    """Return columns, bottoms and tops of an area in whole units, within the envelope."""
    columns = np.array([column for column, _ in area])
    bottoms = np.rint([interval.bottom for _, interval in area]).astype(int)
    tops = np.rint([interval.top for _, interval in area]).astype(int)
    low, high = low[columns], high[columns]
    return columns, np.clip(bottoms, high, low), np.clip(tops, high, low)
