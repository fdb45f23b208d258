"""Captured less expected volts along the screen, with the band that is as expected."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ...schema.quantities import print_value
from .scope_screen import (
    CAPTURED,
    DIV,
    WIDTH,
    Numbers,
    Whole,
    convert_height,
    draw_graticule,
    draw_outline,
    draw_polyline,
    list_runs,
    place_columns,
)
from .scope_settings import round_up_to_step
from .svg_frame import frame_svg

DIVISIONS_UP: Final = 4
_FILLED_DIVISIONS: Final = 1.8  # up and down, by the largest difference
_LEAST_SHOWN_V: Final = 1e-6  # so that a difference of nothing has a scale as well
_BAR_HEIGHT: Final = 14  # of the bars under the columns that are outside
_BAND_COLOUR: Final = "#9cc6b8"


@dataclass(frozen=True, eq=False)
class DifferenceTrace:
    """The difference column by column, all of shape (columns,); not numbers where none is."""

    upper_v: Numbers
    """Upper edge of the captured trace, less that of the expected one."""
    lower_v: Numbers
    """The same of the lower edges; a trace without a carrier has both alike."""
    most_v: Numbers
    """Largest difference that is as expected: wide at steep edges."""
    least_v: Numbers
    is_outside: NDArray[np.bool_]

    @property
    def volts_per_div(self) -> float:
        """A step of 1, 2 and 5 that shows the largest difference and the level parts' band."""
        sizes_v = np.concatenate([np.abs(self.upper_v), np.abs(self.lower_v)])
        largest_v = float(np.nanmax(sizes_v)) if np.isfinite(sizes_v).any() else 0.0
        # The median leaves out the steep edges, where the band is as high as the edge.
        half_band_v = float(np.median(self.most_v - self.least_v)) / 2
        return round_up_to_step(max(largest_v, half_band_v, _LEAST_SHOWN_V) / _FILLED_DIVISIONS)


def draw_difference(
    difference: DifferenceTrace, title: str, description: str, *, standalone: bool = False
) -> str:
    """Return the difference as SVG, on a screen of its own as wide as the oscilloscope's."""
    return frame_svg(
        draw_difference_body(difference),
        size=(WIDTH, DIVISIONS_UP * DIV),
        name="scope-picture scope-difference",
        title=title,
        description=description,
        standalone=standalone,
        stretches=not standalone,
    )


def draw_difference_body(difference: DifferenceTrace) -> str:
    """Return the screen's SVG: graticule, tolerance band, both edges, bars where outside."""
    column_x = place_columns(len(difference.upper_v))
    least_y, most_y = (
        _convert_difference(difference, limit_v)
        for limit_v in (difference.least_v, difference.most_v)
    )
    upper_path = _trace_edge(difference, column_x, difference.upper_v)
    lower_path = _trace_edge(difference, column_x, difference.lower_v)
    bars = _trace_bars(difference, column_x)
    # The lower edge is dashed, so that the two are told apart without colour.
    return (
        f"{draw_graticule(DIVISIONS_UP)}"
        f'<path class="difference-band" d="{draw_outline(column_x, least_y, most_y)}"'
        f' fill="{_BAND_COLOUR}" fill-opacity=".6"/>'
        f'<g fill="none" stroke="{CAPTURED}" stroke-width="4" stroke-linejoin="round">'
        f'<path class="difference-edge" d="{upper_path}"/>'
        f'<path class="difference-edge" d="{lower_path}" stroke-dasharray="10 6"/></g>'
        f'<path class="difference-outside" d="{bars}" fill="{CAPTURED}"/>'
    )


def _convert_difference(difference: DifferenceTrace, volts: Numbers) -> Whole:
    """Return units down from the top of the screen; unknown volts are at the middle line."""
    known_v = np.where(np.isfinite(volts), volts, 0.0)
    return convert_height(known_v, 0.0, difference.volts_per_div, DIVISIONS_UP)


def _trace_edge(difference: DifferenceTrace, column_x: Whole, edge_v: Numbers) -> str:
    """Return an edge as path data, broken where nothing was captured."""
    edge_y = _convert_difference(difference, edge_v)
    captured_runs = list_runs(np.isfinite(difference.upper_v))
    return "".join(f"M{draw_polyline(column_x[run], edge_y[run])}h1" for run in captured_runs)


def _trace_bars(difference: DifferenceTrace, column_x: Whole) -> str:
    """Return a bar along the bottom, as path data, under each run of columns outside the band."""
    half_column = WIDTH // len(column_x) // 2 or 1
    top = DIVISIONS_UP * DIV - _BAR_HEIGHT
    bars = []
    for run in list_runs(difference.is_outside):
        first_x, last_x = column_x[run[0]], column_x[run[-1]]
        width = last_x - first_x + 2 * half_column
        bars.append(f"M{first_x - half_column} {top}h{width}v{_BAR_HEIGHT}h-{width}Z")
    return "".join(bars)


def describe_difference(difference: DifferenceTrace) -> str:
    """Return the scale in words."""
    return f"{print_value(difference.volts_per_div, 'V')} per division."
