"""Measured colour vectors over their target boxes.

+U points to the right and +V up; the rings measure amplitude in bursts as they should be. A target
box holds all that is within the limits of amplitude and phase, a square in it the nominal place.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import Final

from ...schema.waveforms.vectors import Vector
from .scope_screen import BEAM, CAPTURED
from .svg_frame import frame_svg
from .vector_picture import (
    MIDDLE,
    RADIUS,
    SIZE,
    convert_polar,
    draw_graticule,
    draw_radius,
    draw_words,
)

_SQUARE: Final = 8
_DIAMOND: Final = 11
_WORDS_BEYOND: Final = 14
_BESIDE_AXIS: Final = 30
_ROOM: Final = 1.03  # of the largest vector, within the circle
_SAME_PLACE: Final = 0.05  # bursts: an offset too small to draw a line along


@dataclass(frozen=True)
class TargetBox:
    """The place of a colour: nominal, and the limits of amplitude and phase about it."""

    nominal: Vector
    low: float
    """Least and largest amplitude, in bursts."""
    high: float
    slack_deg: float
    """Largest phase error either way."""


@dataclass(frozen=True)
class VectorDisplay:
    """Colour vectors as measured, and where they should be; amplitudes in expected bursts."""

    boxes: tuple[TargetBox, ...]
    measured: tuple[Vector, ...]
    """Without a burst there is no phase, and none is here."""
    bursts: tuple[Vector, ...]
    """The burst as it should be: two of PAL."""
    measured_bursts: tuple[Vector, ...]

    @property
    def full_scale(self) -> float:
        """Amplitude at the circle, a half burst or a whole one."""
        sizes = [box.high for box in self.boxes]
        sizes += [vector.amplitude for vector in (*self.measured, *self.measured_bursts)]
        return ceil(2 * _ROOM * max(sizes)) / 2


def draw_vector_display(
    display: VectorDisplay, title: str, description: str, *, standalone: bool = False
) -> str:
    """Return the vectors over their boxes as SVG."""
    full_scale = display.full_scale
    nominal_of = {box.nominal.name: box.nominal for box in display.boxes}
    # Later pieces lie on earlier ones: measured vectors over targets, names over all.
    pieces = [draw_graticule(full_scale)]
    pieces += [_draw_box(box, full_scale) for box in display.boxes]
    pieces += [_draw_burst(burst, full_scale, BEAM, "vector-burst", 4) for burst in display.bursts]
    pieces += [
        _draw_burst(burst, full_scale, CAPTURED, "vector-burst-captured", 8)
        for burst in display.measured_bursts
    ]
    pieces += [
        _draw_measured(vector, nominal_of.get(vector.name), full_scale)
        for vector in display.measured
    ]
    pieces += [_draw_name(box, full_scale) for box in display.boxes]
    return frame_svg(
        "".join(pieces),
        size=(SIZE, SIZE),
        name="vector-picture",
        title=title,
        description=description,
        standalone=standalone,
    )


def _draw_box(box: TargetBox, full: float) -> str:
    """Return a part of a ring between two phases, and the nominal place as a square."""
    nominal = box.nominal
    inner, outer = (round(RADIUS * amplitude / full) for amplitude in (box.low, box.high))
    from_deg, to_deg = nominal.phase_deg - box.slack_deg, nominal.phase_deg + box.slack_deg
    # Out along the outer arc with the phase, back along the inner one against it.
    outer_from_x, outer_from_y = convert_polar(outer, from_deg)
    outer_to_x, outer_to_y = convert_polar(outer, to_deg)
    inner_to_x, inner_to_y = convert_polar(inner, to_deg)
    inner_from_x, inner_from_y = convert_polar(inner, from_deg)
    middle_x, middle_y = convert_polar(RADIUS * nominal.amplitude / full, nominal.phase_deg)
    side = 2 * _SQUARE
    return (
        f'<g class="vector-target" fill="none" stroke="{BEAM}">'
        f'<path d="M{outer_from_x} {outer_from_y}A{outer} {outer} 0 0 0 {outer_to_x} {outer_to_y}'
        f"L{inner_to_x} {inner_to_y}A{inner} {inner} 0 0 1 {inner_from_x} {inner_from_y}Z"
        f'" stroke-width="2"/>'
        f'<path d="M{middle_x - _SQUARE} {middle_y - _SQUARE}h{side}v{side}h-{side}Z"'
        ' stroke-width="3"/></g>'
    )


def _draw_burst(burst: Vector, full: float, colour: str, name: str, width: int) -> str:
    """Return a line from the centre."""
    line = draw_radius(0, RADIUS * burst.amplitude / full, burst.phase_deg)
    return (
        f'<path class="{name}" d="{line}"'
        f' stroke="{colour}" stroke-width="{width}" stroke-linecap="round"/>'
    )


def _draw_measured(vector: Vector, nominal: Vector | None, full: float) -> str:
    """Return a diamond at a measured vector, with a line from its nominal place."""
    x, y = convert_polar(RADIUS * vector.amplitude / full, vector.phase_deg)
    diamond = (
        f'<path class="vector-measured" fill="{CAPTURED}" d="M{x} {y - _DIAMOND}'
        f'l{_DIAMOND} {_DIAMOND}l-{_DIAMOND} {_DIAMOND}l-{_DIAMOND} -{_DIAMOND}Z"/>'
    )
    if nominal is None:
        return diamond
    nominal_x, nominal_y = convert_polar(RADIUS * nominal.amplitude / full, nominal.phase_deg)
    if abs(x - nominal_x) + abs(y - nominal_y) <= RADIUS * _SAME_PLACE:
        return diamond
    return (
        f'<path class="vector-off" d="M{nominal_x} {nominal_y}L{x} {y}" stroke="{CAPTURED}"'
        f' stroke-width="2" stroke-dasharray="3 5"/>{diamond}'
    )


def _draw_name(box: TargetBox, full: float) -> str:
    """Return the colour's name outside its box, on the side away from the centre."""
    reach = min(RADIUS * box.high / full + _WORDS_BEYOND, RADIUS - 4)
    x, y = convert_polar(reach, box.nominal.phase_deg)
    anchor = (
        "start" if x > MIDDLE + _BESIDE_AXIS else "end" if x < MIDDLE - _BESIDE_AXIS else "middle"
    )
    return draw_words(box.nominal.name, x, y + 9, anchor)
