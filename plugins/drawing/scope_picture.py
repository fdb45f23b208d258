"""The screen of an oscilloscope as SVG: graticule, trace, a captured trace over it, settings."""

from __future__ import annotations

from typing import Final

import numpy as np

from ...schema.quantities import print_value
from .scope_beam import draw_beam, draw_captured
from .scope_screen import HEIGHT, INK, LETTERS, WIDTH, Numbers, convert_height, draw_graticule
from .scope_settings import ScopeSettings
from .scope_trace import Trace
from .svg_frame import escape_svg_text, frame_svg

_LEFT, _TOP, _BELOW, _RIGHT = 152, 8, 62, 8
_ROW: Final = 52


def draw_scope(
    trace: Trace,
    settings: ScopeSettings,
    title: str,
    *,
    standalone: bool = False,
    over: tuple[Numbers, Numbers] | None = None,
    bare: bool = False,
) -> str:
    """Return the screen as SVG: graticule, zero marker, and the trace graded by dwell time.

    ``bare`` leaves out all that is around the screen: the page says it in words. ``over`` is a
    second trace: lowest and highest volts of each column at the input, not a number where it has
    none.
    """
    # Without words around it a screen may take any width and height the page has room for.
    if bare:
        return frame_svg(
            _draw_screen(trace, settings, over),
            size=(WIDTH, HEIGHT),
            name="scope-picture scope-bare",
            title=title,
            description=describe_scope(trace, settings),
            stretches=True,
        )
    body, size, _ = draw_scope_body(trace, settings, over)
    return frame_svg(
        body,
        size=size,
        name="scope-picture",
        title=title,
        description=describe_scope(trace, settings),
        standalone=standalone,
    )


def draw_scope_body(
    trace: Trace, settings: ScopeSettings, over: tuple[Numbers, Numbers] | None = None
) -> tuple[str, tuple[int, int], tuple[int, int]]:
    """Return the screen with marker and settings, its width and height, and where it begins."""
    body = (
        f'<g transform="translate({_LEFT} {_TOP})">{_draw_screen(trace, settings, over)}'
        f"{_draw_zero_marker(trace, settings)}{_draw_settings(settings)}"
        f"{_draw_caption() if over is not None else ''}</g>"
    )
    height = _TOP + HEIGHT + _BELOW + (_ROW if over is not None else 0)
    return body, (_LEFT + WIDTH + _RIGHT, height), (_LEFT, _TOP)


def _draw_screen(
    trace: Trace, settings: ScopeSettings, over: tuple[Numbers, Numbers] | None
) -> str:
    captured = "" if over is None else draw_captured(over, trace, settings)
    return f"{draw_graticule()}{draw_beam(trace, settings)}{captured}"


def describe_scope(trace: Trace, settings: ScopeSettings) -> str:
    """Return the picture in words: settings, place of zero volts, extent of the trace."""
    zero_divisions = round(-trace.centre_v / settings.volts_per_div)  # above the middle line
    zero_place = "the middle line"
    if zero_divisions:
        divisions = "division" if abs(zero_divisions) == 1 else "divisions"
        direction = "above" if zero_divisions > 0 else "below"
        zero_place = f"{abs(zero_divisions)} {divisions} {direction} the middle line"
    # AC coupling blocks the DC voltage, so that zero on the screen is the signal's mean.
    if settings.coupling == "AC":
        mean = print_value(trace.removed_v, "V")
        zero_place += f", where the mean of the signal lies ({mean} to ground)"
    low = print_value(float(trace.low_v.min()), "V")
    high = print_value(float(trace.high_v.max()), "V")
    return f"{settings.sentence} Zero volts is {zero_place}. The trace goes from {low} to {high}."


def _draw_caption() -> str:
    """Return the words that tell the captured trace, a row below the settings."""
    return (
        f'<text class="scope-words" x="0" y="{HEIGHT + 46 + _ROW}" font-size="{LETTERS}"'
        f' fill="{INK}">strong edge: captured</text>'
    )


def _draw_zero_marker(trace: Trace, settings: ScopeSettings) -> str:
    """Return the marker at the line of zero volts, or of the mean with AC coupling."""
    y = int(convert_height(np.zeros(1), trace.centre_v, settings.volts_per_div)[0])
    words = "0 V" if settings.coupling == "DC" else "mean"
    return (
        f'<g class="scope-zero" fill="{INK}"><path d="M-20 {y - 12}L0 {y}L-20 {y + 12}Z"/>'
        f'<text x="-26" y="{y + 13}" font-size="{LETTERS}" text-anchor="end">{words}</text></g>'
    )


def _draw_settings(settings: ScopeSettings) -> str:
    """Return the settings as text below the screen."""
    words = "   ".join(
        (
            f"{print_value(settings.volts_per_div, 'V')}/div",
            f"{print_value(settings.time_per_div_s, 's')}/div",
            settings.coupling,
            f"{settings.probe} probe",
        )
    )
    return (
        f'<text class="scope-words" x="0" y="{HEIGHT + 46}" font-size="{LETTERS}"'
        f' fill="{INK}" xml:space="preserve">{escape_svg_text(words)}</text>'
    )
