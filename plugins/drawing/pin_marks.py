"""A small mark for each role of a pin, recognised by its shape, and the legend of the marks.

Ground, capacitor and arrows follow the usual circuit symbols (IEC 60617); the others are plain.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from ...schema.vocabulary import ROLES
from .svg_frame import escape_svg_text

MARK_SIZE: Final = 10
"""Width and height of a mark."""

# Path data about the middle of the mark, with the chip on its left; filled, or drawn as lines.
_FILLED: Final = {
    "input": "M4.5 -4.5L-4.5 0L4.5 4.5Z",
    "output": "M-4.5 -4.5L4.5 0L-4.5 4.5Z",
    "bus": "M-.8 -4.2L-5 0L-.8 4.2ZM.8 -4.2L5 0L.8 4.2Z",
}
_LINES: Final = {
    "supply": "M-4.5 0h9M0 -4.5v9",
    "ground": "M-5 0h3.8M-1.2 -4.5v9M1.5 -3v6M4.2 -1.4v2.8",
    "control": "M4 0A4 4 0 1 1 -4 0A4 4 0 1 1 4 0M0 0L2.8 -2.8",
    "oscillator": "M-5 0c1.6 -6 3.4 -6 5 0s3.4 6 5 0",
    "filter": "M-5 -3h4c2.5 0 3 6.5 6 6.5",
    "decoupling": "M-5 0h3.3M-1.7 -4.5v9M1.7 -4.5v9M1.7 0h3.3",
    "reference": "M-4 -4h8v8h-8Z",
    "unused": "M-3.8 -3.8L3.8 3.8M-3.8 3.8L3.8 -3.8",
}
_TURNING: Final = ("input", "output", "bus", "ground", "decoupling")

_COLUMNS: Final = 3
_LINE: Final = 19
_LETTERS: Final = 12


def draw_mark(role: str, x: float, turned: int = 0) -> str:
    """Return the mark of a role with its middle at (x, 0), in a frame ``turned`` by degrees.

    A mark without a direction is turned back upright.
    """
    upright = f" rotate({-turned})" if turned and role not in _TURNING else ""
    path, look = (
        (_FILLED[role], 'fill="currentColor"')
        if role in _FILLED
        else (_LINES[role], 'fill="none" stroke="currentColor" stroke-width="1.7"')
    )
    place = f'transform="translate({x:.2f} 0){upright}"'
    return f'<path class="pin-mark" d="{path}" {place} {look}/>'


def draw_legend(roles: Iterable[str], width: float) -> tuple[str, float]:
    """Return the marks of the roles that occur, each with its word, and their height."""
    present = set(roles)
    listed = [role for role in ROLES if role in present]
    entries = (
        _draw_entry(role, (index % _COLUMNS) * width / _COLUMNS, (index // _COLUMNS + 0.5) * _LINE)
        for index, role in enumerate(listed)
    )
    words = f'<g class="pin-legend" font-size="{_LETTERS}">{"".join(entries)}</g>'
    return words, -(-len(listed) // _COLUMNS) * _LINE


def _draw_entry(role: str, x: float, y: float) -> str:
    """Return a mark beside a piece of the chip's edge, with its word."""
    return (
        f'<g transform="translate({x:.1f} {y:.1f})">'
        f'<path d="M2 -6v12" stroke="currentColor" stroke-width="2"/>{draw_mark(role, 11)}'
        f'<text x="20" y="4" fill="currentColor">{escape_svg_text(role)}</text></g>'
    )
