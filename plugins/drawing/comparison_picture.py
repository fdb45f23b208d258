"""A captured trace over the expected one, with their difference below, as one drawing."""

from __future__ import annotations

from typing import Final

from ...schema.quantities import print_value
from .difference_picture import (
    DIVISIONS_UP,
    DifferenceTrace,
    draw_difference_body,
)
from .scope_picture import describe_scope, draw_scope_body
from .scope_screen import DIV, INK, LETTERS, Numbers
from .scope_settings import ScopeSettings
from .scope_trace import Trace
from .svg_frame import escape_svg_text, frame_svg

_GAP: Final = 16
_BELOW: Final = 62


def draw_comparison(
    trace: Trace,
    settings: ScopeSettings,
    over: tuple[Numbers, Numbers],
    difference: DifferenceTrace | None,
    title: str,
    *,
    standalone: bool = False,
) -> str:
    """Return the captured trace over the expected one; without ``difference`` the two alone."""
    body, (width, height), (left, _) = draw_scope_body(trace, settings, over)
    words = describe_scope(trace, settings)
    if difference is not None:
        per_div = print_value(difference.volts_per_div, "V")
        caption = f"Captured less expected, {per_div}/div; dashed: lower edge"
        body += (
            f'<g transform="translate({left} {height + _GAP})">{draw_difference_body(difference)}'
            f'<text class="scope-words" x="0" y="{DIVISIONS_UP * DIV + 46}" fill="{INK}"'
            f' font-size="{LETTERS - 6}">{escape_svg_text(caption)}</text></g>'
        )
        height += _GAP + DIVISIONS_UP * DIV + _BELOW
        words += f" Below: {caption}."
    return frame_svg(
        body,
        size=(width, height),
        name="scope-picture",
        title=title,
        description=words,
        standalone=standalone,
    )
