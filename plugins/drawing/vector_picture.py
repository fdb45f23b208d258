"""Colour bars as a vector diagram: each bar a point at its phase and amplitude.

+U points to the right and +V up; the rings measure amplitude in bursts.
"""

from __future__ import annotations

from math import ceil, cos, radians, sin
from typing import Final

from ...schema.waveforms.vectors import Vector, list_bar_vectors, list_burst_vectors
from .scope_screen import BEAM, INK, LINES, PAPER
from .svg_frame import escape_svg_text, frame_svg

SIZE: Final = 640
MIDDLE: Final = SIZE // 2
RADIUS: Final = 260
_LETTERS: Final = 26
_ROOM: Final = 1.05  # of the largest vector, within the circle
_TICK_DEG, _LONG_TICK_DEG = 10, 30
_TICK, _LONG_TICK = 7, 14  # lengths


def draw_vectors(system: str, bars: float, title: str, *, standalone: bool = False) -> str:
    """Return the coloured bars of ``bars`` per cent and the burst of PAL or NTSC as SVG.

    Raises ``ValueError`` for SECAM, which has no vectors.
    """
    colours, bursts = list_bar_vectors(system, bars), list_burst_vectors(system)
    largest = max(vector.amplitude for vector in colours)
    full_scale = ceil(2 * _ROOM * largest) / 2  # whole and half bursts
    pieces = [draw_graticule(full_scale)]
    pieces += [_draw_burst(burst, full_scale) for burst in bursts]
    pieces += [_draw_bar(colour, full_scale) for colour in colours]
    return frame_svg(
        "".join(pieces),
        size=(SIZE, SIZE),
        name="vector-picture",
        title=title,
        description=describe_vectors(system, bars),
        standalone=standalone,
    )


def describe_vectors(system: str, bars: float) -> str:
    """Return the picture in words: phase of the burst, phase and amplitude of each bar."""
    bursts = " and ".join(f"{vector.phase_deg:.0f}°" for vector in list_burst_vectors(system))
    colours = ", ".join(
        f"{vector.name} {vector.amplitude:.2f} at {vector.phase_deg:.1f}°"
        for vector in list_bar_vectors(system, bars)
    )
    lines = " On lines of positive V; the lines between are mirrored about the U axis."
    return (
        f"{system} colour bars of {bars:g} % as vectors, amplitude in bursts, phase from +U "
        f"against the clock: burst at {bursts}, {colours}."
        f"{lines if system.startswith('PAL') else ''}"
    )


def convert_polar(radius: float, phase_deg: float) -> tuple[int, int]:
    """Return units from the left and from the top of the picture."""
    angle = radians(phase_deg)
    return round(MIDDLE + radius * cos(angle)), round(MIDDLE - radius * sin(angle))


def draw_radius(inner: float, outer: float, phase_deg: float) -> str:
    """Return a stretch of a radius as path data."""
    (x, y), (to_x, to_y) = convert_polar(inner, phase_deg), convert_polar(outer, phase_deg)
    return f"M{x} {y}L{to_x} {to_y}"


def draw_graticule(full: float) -> str:
    """Return a circle with ticks each ten degrees, a ring for each whole burst, and the axes."""
    ticks = ""
    for phase_deg in range(0, 360, _TICK_DEG):
        length = _LONG_TICK if phase_deg % _LONG_TICK_DEG == 0 else _TICK
        ticks += draw_radius(RADIUS - length, RADIUS, phase_deg)

    rings = ring_numbers = ""
    for bursts in range(1, ceil(full)):
        radius = RADIUS * bursts / full
        right_x, _ = convert_polar(radius, 0)
        rings += f'<circle cx="{MIDDLE}" cy="{MIDDLE}" r="{round(radius)}"/>'
        ring_numbers += draw_words(f"{bursts}", right_x - 6, MIDDLE - 8, "end")

    axes = draw_radius(-RADIUS, RADIUS, 0) + draw_radius(-RADIUS, RADIUS, 90)
    u_name = draw_words("+U", MIDDLE + RADIUS + 8, MIDDLE + 9, "start")
    v_name = draw_words("+V", MIDDLE, MIDDLE - RADIUS - 12, "middle")
    return (
        f'<g class="vector-graticule" fill="none" stroke="{LINES}" stroke-width="1.5">'
        f'<circle cx="{MIDDLE}" cy="{MIDDLE}" r="{RADIUS}" fill="{PAPER}" stroke-width="2"/>'
        f'{rings}<path d="{axes}{ticks}"/></g>{u_name}{v_name}{ring_numbers}'
    )


def _draw_burst(vector: Vector, full: float) -> str:
    """Return a line from the centre to the burst, with its name."""
    reach = RADIUS * vector.amplitude / full
    x, y = convert_polar(reach + 12, vector.phase_deg)
    return (
        f'<path class="vector-burst" d="{draw_radius(0, reach, vector.phase_deg)}"'
        f' stroke="{BEAM}" stroke-width="5" stroke-linecap="round"/>'
        f"{draw_words(vector.name, x, y + (0 if y < MIDDLE else _LETTERS), 'end')}"
    )


def _draw_bar(vector: Vector, full: float) -> str:
    """Return a point with the colour's name beside it, on the side of the centre."""
    x, y = convert_polar(RADIUS * vector.amplitude / full, vector.phase_deg)
    left = x < MIDDLE
    return f'<circle class="vector-bar" cx="{x}" cy="{y}" r="8" fill="{BEAM}"/>' + draw_words(
        vector.name, x + (16 if left else -16), y + 9, "start" if left else "end"
    )


def draw_words(text: str, x: int, y: int, anchor: str) -> str:
    """Return text with a light outline, so that lines do not hide it."""
    return (
        f'<text class="vector-words" x="{x}" y="{y}" font-size="{_LETTERS}" fill="{INK}"'
        f' text-anchor="{anchor}" stroke="{PAPER}" stroke-width="6" paint-order="stroke">'
        f"{escape_svg_text(text)}</text>"
    )
