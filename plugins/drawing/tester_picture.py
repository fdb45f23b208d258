"""The figure of a component tester as SVG: voltage to the right, current upwards."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Final

from .scope_screen import BEAM, DIV, HEIGHT, WIDTH, draw_graticule
from .svg_frame import frame_svg

_FULL_ACROSS: Final = 4.5 * DIV  # open-circuit voltage, from the middle
_FULL_UP: Final = 3.5 * DIV  # current into a short


def draw_tester_figure(
    shares: tuple[Sequence[float], Sequence[float]],
    title: str,
    description: str,
    *,
    standalone: bool = False,
) -> str:
    """Return a closed figure on the screen as SVG.

    ``shares`` are its voltages as shares of the peak open-circuit voltage, and its currents as
    shares of the peak current into a short.
    """
    points = [
        (round(WIDTH / 2 + _FULL_ACROSS * volts), round(HEIGHT / 2 - _FULL_UP * amperes))
        for volts, amperes in zip(*shares, strict=True)
    ]
    # A line is drawn there and back: its ends are kept, only neighbours on one spot are not.
    path = "L".join(f"{x} {y}" for (x, y), _ in groupby(points))
    body = draw_graticule() + (
        f'<path class="scope-trace" d="M{path}Z" fill="none" stroke="{BEAM}"'
        ' stroke-width="5" stroke-linejoin="round" stroke-linecap="round"/>'
    )
    return frame_svg(
        body,
        size=(WIDTH, HEIGHT),
        name="tester-picture",
        title=title,
        description=description,
        standalone=standalone,
    )
