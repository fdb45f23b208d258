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
    x = place_columns(len(trace.t_s))
    low, high = _convert_edges(trace.low_v, trace.high_v, trace, settings)
    line = _is_line(low, high)
    grades = "".join(
        f'<path class="scope-grade" d="{area}" fill="{BEAM}" fill-opacity="{_OPACITY}"'
        ' stroke="none"/>'
        for area in _draw_grades(trace.density, line, x, low, high)
        if area
    )
    return (
        f'<g class="scope-beam" fill="none" stroke-linejoin="round" stroke-linecap="butt">'
        f'<path class="scope-envelope" d="{draw_outline(x, low, high)}" fill="{BEAM}"'
        f' stroke="{BEAM}" fill-opacity=".3" stroke-opacity=".3" stroke-width="3"/>{grades}'
        f'<path class="scope-line" d="{_draw_line(x, low, high, line)}" stroke="{BEAM}"'
        f' stroke-width="6" stroke-linecap="round"/></g>'
    )


def draw_captured(over: tuple[Numbers, Numbers], trace: Trace, settings: ScopeSettings) -> str:
    """Return a captured trace as a band with a strong edge.

    ``over`` is the lowest and highest volts of each column at the input, not numbers where nothing
    was captured.
    """
    x = place_columns(len(trace.t_s))
    is_captured = np.isfinite(over[0])
    low_v, high_v = (np.where(is_captured, edge_v, 0.0) for edge_v in over)
    low, high = _convert_edges(low_v, high_v, trace, settings)
    outlines = "".join(
        draw_outline(_widen(x[run]), _repeat(low[run]), _repeat(high[run]))
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


def _is_line(low: Whole, high: Whole) -> NDArray[np.bool_]:
    """Return where the beam is a line: no higher than it moves between columns, and not an edge."""
    middle = np.pad((low + high) / 2, 1, mode="edge")
    tall, moves = low - high, np.abs(middle[2:] - middle[:-2])
    line = (tall <= moves + _LINE_EXCESS * DIV) & (tall <= _TALLEST_LINE * DIV)
    beside = np.pad(line, 1)
    return np.asarray(line & (beside[2:] | beside[:-2]))  # one column alone is no line


def _draw_line(x: Whole, low: Whole, high: Whole, line: NDArray[np.bool_]) -> str:
    """Return the middle of the columns that are a line as path data, broken between them."""
    middle = (low + high) // 2
    return "".join(f"M{draw_polyline(x[run], middle[run])}h1" for run in list_runs(line))


def _draw_grades(
    density: Numbers, line: NDArray[np.bool_], x: Whole, low: Whole, high: Whole
) -> Iterator[str]:
    """Yield the areas of each grade as path data, the widest first."""
    runs = _list_level_runs(line, low, high)
    graded = [(run, _grade_run(density[run], low[run], high[run])) for run in runs]
    for grade in _GRADES:
        yield "".join(
            draw_outline(x[columns], bottom, top)
            for run, relative in graded
            for columns, bottom, top in _list_areas(
                run, _find_intervals(relative, grade), low, high
            )
            if len(columns) >= _FEWEST_COLUMNS
        )


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
        dwell = density.mean(axis=0)[None, :]
    else:
        sums = np.cumsum(np.pad(density, ((1, 0), (0, 0))), axis=0)
        columns = np.arange(len(density))
        first = np.maximum(columns - _BESIDE, 0)
        after = np.minimum(columns + _BESIDE + 1, len(density))
        dwell = (sums[after] - sums[first]) / (after - first)[:, None]
    half, heights = len(_SPOT) // 2, dwell.shape[1]
    padded = np.pad(dwell, ((0, 0), (half, half)))
    dwell = sum(
        (share * padded[:, n : n + heights] for n, share in enumerate(_SPOT)),
        start=np.zeros_like(dwell),
    )
    lit = np.flatnonzero(density.any(axis=0))
    return np.asarray(dwell * (lit[-1] - lit[0] + 1))


class _Interval(NamedTuple):
    """Heights of one column that are bright, in units down from the top of the screen."""

    bottom: float
    top: float


def _find_intervals(relative: Numbers, grade: float) -> list[list[_Interval]]:
    """Return the bright heights of each column, read between the steps of height."""
    step = DIV / BINS_PER_DIV
    padded = np.pad(relative, ((0, 0), (1, 1)))
    above = padded >= grade
    column, edge = np.nonzero(above[:, 1:] != above[:, :-1])
    before, after = padded[column, edge], padded[column, edge + 1]
    # Bins are padded by one, and a value belongs to the middle of its bin.
    height = HEIGHT - (edge - 0.5 + (grade - before) / (after - before)) * step
    intervals: list[list[_Interval]] = [[] for _ in relative]
    for at, bottom, top in zip(column[::2], height[::2], height[1::2], strict=True):
        intervals[at].append(_Interval(float(bottom), float(top)))
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
    growing: list[list[tuple[int, _Interval]]] = []
    for column, here in zip([*run.tolist(), -1], [*intervals, []], strict=True):
        going_on: list[list[tuple[int, _Interval]]] = []
        taken: set[_Interval] = set()
        for area in growing:
            last = area[-1][1]
            beside = [one for one in here if one.top < last.bottom and last.top < one.bottom]
            if len(beside) == 1 and beside[0] not in taken:
                taken.add(beside[0])
                area.append((column, beside[0]))
                going_on.append(area)
            else:
                yield _limit_area(area, low, high)
        growing = going_on + [[(column, one)] for one in here if one not in taken]


def _limit_area(
    area: list[tuple[int, _Interval]], low: Whole, high: Whole
) -> tuple[Whole, Whole, Whole]:
    """Return columns, bottoms and tops of an area in whole units, within the envelope."""
    columns = np.array([column for column, _ in area])
    bottoms = np.rint([interval.bottom for _, interval in area]).astype(int)
    tops = np.rint([interval.top for _, interval in area]).astype(int)
    low, high = low[columns], high[columns]
    return columns, np.clip(bottoms, high, low), np.clip(tops, high, low)
