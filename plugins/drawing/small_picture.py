"""Two periods of a signal as a small picture for a line of a table.

The signal is gathered column by column, lowest and highest volts, and the outline is thinned to a
third of a pixel, so that a table of fifty pins stays small.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ...schema import Expectation
from ...schema.chips.lookup import has_picture

Volts = NDArray[np.float64]
Point = tuple[float, float]

_WIDTH, _HEIGHT = 84, 26
_MARGIN_X, _MARGIN_Y = 1.0, 2.0
_PERIODS: Final = 2
_COLUMNS: Final = 164  # two a pixel
_SAMPLES: Final = 32  # a column; an odd share of a subcarrier, so that they fill its band
_ENOUGH: Final = 0.2  # of the peak to peak, in two cycles
_LEAST_SPAN_V: Final = 1e-12  # so that a signal of one level has a scale as well
_DEVIATION_PX: Final = 0.3
_STEADY: Final = '<path class="flat" d="M1 13h82" fill="none" stroke="currentColor"/>'


def draw_small_picture(expectation: Expectation | None) -> str:
    """Return two periods as SVG of 84 by 26 units; a level line for a steady voltage."""
    steady = expectation is None or not has_picture(expectation)
    outline = _STEADY if steady or expectation is None else _draw_outline(expectation)
    return (
        f'<svg class="mini" viewBox="0 0 {_WIDTH} {_HEIGHT}" width="{_WIDTH}" height="{_HEIGHT}"'
        f' aria-hidden="true">{outline}</svg>'
    )


def _draw_outline(expectation: Expectation) -> str:
    assert expectation.waveform is not None
    # The same signals return with every visit, and composite video takes some milliseconds.
    return _draw_kept(
        expectation.model_dump_json(include={"condition", "dc", "waveform", "source"})
    )


@lru_cache(maxsize=4096)
def _draw_kept(document: str) -> str:
    """Return the outline of two periods: along the highest volts, back along the lowest."""
    expectation = Expectation.model_validate_json(document)
    assert expectation.waveform is not None
    waveform = expectation.waveform
    volts = _sample(expectation, _PERIODS / waveform.frequency_hz)  # columns x samples
    # Of a carrier in bursts, two cycles may fall between them: then two periods of the bursts.
    if np.ptp(volts) < _ENOUGH * waveform.vpp_v:
        volts = _sample(expectation, _PERIODS * waveform.period_s)
    low_v, high_v = volts.min(axis=1), volts.max(axis=1)
    bottom_v, top_v = float(low_v.min()), float(high_v.max())
    units_per_volt = (_HEIGHT - 2 * _MARGIN_Y) / max(top_v - bottom_v, _LEAST_SPAN_V)
    column_x = np.linspace(_MARGIN_X, _WIDTH - _MARGIN_X, _COLUMNS).tolist()
    upper_y = (_MARGIN_Y + (top_v - high_v) * units_per_volt).tolist()
    lower_y = (_MARGIN_Y + (top_v - low_v) * units_per_volt).tolist()
    upper_points = list(zip(column_x, upper_y, strict=True))
    lower_points = list(zip(column_x, lower_y, strict=True))
    outline = [*_thin(upper_points), *_thin(lower_points[::-1])]
    path = "L".join(f"{_print(x)} {_print(y)}" for x, y in outline)
    return f'<path d="M{path}Z" fill="currentColor" stroke="currentColor"/>'


def _sample(expectation: Expectation, span_s: float) -> Volts:
    """Return the volts over a time, a row of samples for each column of the picture."""
    steps = np.arange(_COLUMNS * _SAMPLES, dtype=np.float64)
    t_s = (steps + 0.5) * (span_s / (_COLUMNS * _SAMPLES))
    return expectation.volts(t_s).reshape(_COLUMNS, _SAMPLES)


def _thin(points: list[Point]) -> list[Point]:
    """Return the points of a line that matter by more than a third of a pixel.

    Ramer, Douglas and Peucker's method: the farthest point from a chord is kept, and both sides of
    it are thinned likewise. Lists are faster than arrays for so few points.
    """
    kept = {0, len(points) - 1}
    waiting = [(0, len(points) - 1)]
    while waiting:
        first, last = waiting.pop()
        middle = _find_farthest(points, first, last)
        if middle is not None:
            kept.add(middle)
            waiting += [(first, middle), (middle, last)]
    return [points[index] for index in sorted(kept)]


def _find_farthest(points: list[Point], first: int, last: int) -> int | None:
    """Return the point between two that lies farthest from their chord, if far enough."""
    (x0, y0), (x1, y1) = points[first], points[last]
    along_x, along_y = x1 - x0, y1 - y0
    farthest, most = None, _DEVIATION_PX * max(math.hypot(along_x, along_y), 1e-12)
    for index in range(first + 1, last):
        x, y = points[index]
        away = abs(along_x * (y - y0) - along_y * (x - x0))
        if away > most:
            farthest, most = index, away
    return farthest


def _print(value: float) -> str:
    """Return a coordinate with one digit, without an idle zero."""
    return f"{value:.1f}".removesuffix(".0")
