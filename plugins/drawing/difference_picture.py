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
_FILLED: Final = 1.8  # divisions up and down that the largest difference fills
_OUTSIDE: Final = 14  # height of the bar under the columns that are outside
_BAND: Final = "#9cc6b8"


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
        sizes = np.concatenate([np.abs(self.upper_v), np.abs(self.lower_v)])
        largest_v = float(np.nanmax(sizes)) if np.isfinite(sizes).any() else 0.0
        band_v = float(np.median(self.most_v - self.least_v)) / 2
        return round_up_to_step(max(largest_v, band_v, 1e-6) / _FILLED)


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
    """Return graticule, band, both edges, and bars under the columns that are outside."""
    x = place_columns(len(difference.upper_v))

    def convert(volts: Numbers) -> NDArray[np.int_]:
        known_v = np.where(np.isfinite(volts), volts, 0.0)
        return convert_height(known_v, 0.0, difference.volts_per_div, DIVISIONS_UP)

    band = draw_outline(x, convert(difference.least_v), convert(difference.most_v))
    is_known = np.isfinite(difference.upper_v)
    upper, lower = (
        "".join(f"M{draw_polyline(x[run], convert(edge_v)[run])}h1" for run in list_runs(is_known))
        for edge_v in (difference.upper_v, difference.lower_v)
    )
    half = WIDTH // len(x) // 2 or 1
    floor = DIVISIONS_UP * DIV
    outside = "".join(
        f"M{x[run[0]] - half} {floor - _OUTSIDE}h{x[run[-1]] - x[run[0]] + 2 * half}v{_OUTSIDE}"
        f"h-{x[run[-1]] - x[run[0]] + 2 * half}Z"
        for run in list_runs(difference.is_outside)
    )
    return (
        f"{draw_graticule(DIVISIONS_UP)}"
        f'<path class="difference-band" d="{band}" fill="{_BAND}" fill-opacity=".6"/>'
        f'<g fill="none" stroke="{CAPTURED}" stroke-width="4" stroke-linejoin="round">'
        f'<path class="difference-edge" d="{upper}"/>'
        f'<path class="difference-edge" d="{lower}" stroke-dasharray="10 6"/></g>'
        f'<path class="difference-outside" d="{outside}" fill="{CAPTURED}"/>'
    )


def describe_difference(difference: DifferenceTrace) -> str:
    """Return the scale in words."""
    return f"{print_value(difference.volts_per_div, 'V')} per division."
