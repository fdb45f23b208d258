"""The limits of a figure as a bar: zone, expected tick, and the reading as a triangle."""

from __future__ import annotations

from typing import Final

from ...schema.chips.limits import Limits
from ...schema.quantities import print_value
from .svg_frame import frame_svg

_WIDTH, _HEIGHT = 300, 56
_LINE_Y: Final = 26
_MARGIN: Final = 26
_ROOM: Final = 0.6  # of the zone's width on either side, where no reading needs more
_FARTHEST: Final = 3.0  # zone widths; a reading beyond is drawn at the end
_READING_ROOM: Final = 0.2  # zone widths beside a reading outside the zone
_NARROWEST: Final = 1e-12  # zone of limits that are one figure
_HALF_LETTERS: Final = 4.2  # half the width of a figure's letter


def draw_limit_bar(limits: Limits, read: float | None = None, *, is_right: bool = False) -> str:
    """Return the bar as SVG; ``read`` is the reading in the unit of the limits."""
    zone_width = max(limits.high - limits.low, _NARROWEST)
    bar_low, bar_high = limits.low - _ROOM * zone_width, limits.high + _ROOM * zone_width
    if read is not None:
        shown_reading = _pull_in(read, limits, zone_width)
        bar_low = min(bar_low, shown_reading - _READING_ROOM * zone_width)
        bar_high = max(bar_high, shown_reading + _READING_ROOM * zone_width)

    def place(value: float) -> float:
        return _MARGIN + (value - bar_low) / (bar_high - bar_low) * (_WIDTH - 2 * _MARGIN)

    start_x, end_x, typical_x = place(limits.low), place(limits.high), place(limits.typ)
    triangle = description = ""
    if read is not None:
        words = print_value(read, limits.unit)
        triangle = _draw_reading(place(shown_reading), words, is_right=is_right)
        description = f"Read {words}."
    return frame_svg(
        f'<line x1="4" x2="{_WIDTH - 4}" y1="{_LINE_Y}" y2="{_LINE_Y}"/>'
        f'<rect class="z" x="{start_x:.1f}" y="19" width="{end_x - start_x:.1f}" height="14"'
        f' rx="2"/><path class="t" d="M{typical_x - 1.5:.1f} 15h3v22h-3z"/>'
        f"{_draw_ends(limits, start_x, end_x)}{triangle}",
        size=(_WIDTH, _HEIGHT),
        name="rng",
        title=f"{limits.quantity}: {limits.span}",
        description=description,
    )


def _pull_in(read: float, limits: Limits, zone_width: float) -> float:
    """Return the reading, or the end of the bar for one far away."""
    farthest = _FARTHEST * zone_width
    return min(max(read, limits.low - farthest), limits.high + farthest)


def _draw_ends(limits: Limits, start: float, end: float) -> str:
    """Return the figures under the two ends of the zone, kept apart from one another."""
    low, high = (print_value(value, limits.unit) for value in (limits.low, limits.high))
    least = (len(low) + len(high) + 2) * _HALF_LETTERS
    apart = max(least - (end - start), 0) / 2
    start = max(start - apart, len(low) * _HALF_LETTERS)
    end = min(max(end + apart, start + least), _WIDTH - len(high) * _HALF_LETTERS)
    return (
        f'<text x="{start:.1f}" y="50" text-anchor="middle">{low}</text>'
        f'<text x="{end:.1f}" y="50" text-anchor="middle">{high}</text>'
    )


def _draw_reading(x: float, words: str, *, is_right: bool) -> str:
    is_near_end = x > _WIDTH / 2
    text_x, anchor = (x - 9, "end") if is_near_end else (x + 9, "start")
    return (
        f'<path class="{"r ok" if is_right else "r"}" d="M{x:.1f} 20l-7 -11h14z"/>'
        f'<text x="{text_x:.1f}" y="12" text-anchor="{anchor}" font-weight="700">{words} read'
        "</text>"
    )
