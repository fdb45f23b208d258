"""Two periods of a signal as a small picture for a line of a table.

The signal is gathered column by column, lowest and highest volts, and the outline is thinned to a
third of a pixel, so that a table of fifty pins stays small.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ...schema import Expectation
from ...schema.chips.lookup import has_picture

Points = NDArray[np.float64]

_WIDTH, _HEIGHT = 84, 26
_MARGIN_X, _MARGIN_Y = 1.0, 2.0
_PERIODS: Final = 2
_COLUMNS: Final = 164  # two a pixel
_SAMPLES: Final = 32  # a column; an odd share of a subcarrier, so that they fill its band
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
    span_s = _PERIODS / expectation.waveform.frequency_hz
    steps = np.arange(_COLUMNS * _SAMPLES, dtype=np.float64)
    t_s = (steps + 0.5) * (span_s / (_COLUMNS * _SAMPLES))
    volts = expectation.volts(t_s).reshape(_COLUMNS, _SAMPLES)
    low, high = volts.min(axis=1), volts.max(axis=1)
    bottom, top = float(low.min()), float(high.max())
    scale = (_HEIGHT - 2 * _MARGIN_Y) / max(top - bottom, 1e-12)
    x = np.linspace(_MARGIN_X, _WIDTH - _MARGIN_X, _COLUMNS)
    upper = np.column_stack((x, _MARGIN_Y + (top - high) * scale))
    lower = np.column_stack((x, _MARGIN_Y + (top - low) * scale))
    points = [*_thin(upper), *_thin(lower[::-1])]
    path = "L".join(f"{_print(px)} {_print(py)}" for px, py in points)
    return f'<path d="M{path}Z" fill="currentColor" stroke="currentColor"/>'


def _thin(points: Points) -> list[tuple[float, float]]:
    """Return the points of a line that matter by more than a third of a pixel.

    Ramer, Douglas and Peucker's method: the farthest point from a chord is kept, and both sides of
    it are thinned likewise.
    """
    kept = {0, len(points) - 1}
    waiting = [(0, len(points) - 1)]
    while waiting:
        first, last = waiting.pop()
        if last - first < 2:
            continue
        between = points[first + 1 : last]
        chord = points[last] - points[first]
        offsets = between - points[first]
        away = np.abs(chord[0] * offsets[:, 1] - chord[1] * offsets[:, 0])
        distances = away / max(float(np.hypot(*chord)), 1e-12)
        farthest = int(distances.argmax())
        if distances[farthest] > _DEVIATION_PX:
            middle = first + 1 + farthest
            kept.add(middle)
            waiting += [(first, middle), (middle, last)]
    return [(float(points[index][0]), float(points[index][1])) for index in sorted(kept)]


def _print(value: float) -> str:
    """Return a coordinate with one digit, without an idle zero."""
    return f"{value:.1f}".removesuffix(".0")
