"""A small mark for the role of a pin, for lines of text and lists of pins.

Filled triangle in, open triangle out; ground, capacitor and supply as in circuit diagrams
(IEC 60617); a wave for an oscillator, a falling curve for a filter, a cross for a pin not used.
"""

from __future__ import annotations

from typing import Final

_SHAPES: Final = {
    "input": '<path class="f" d="M4 2l7 5-7 5z"/>',
    "output": '<path d="M4 2l7 5-7 5z"/>',
    "bus": '<path d="M1 7l4-4v8zM13 7L9 3v8z"/>',
    "supply": '<path d="M7 2v10M2 7h10"/>',
    "ground": '<path d="M7 1v6M2 7h10M4 9.7h6M6 12.4h2"/>',
    "control": '<circle cx="7" cy="7" r="4.8"/><path d="M7 7l3-3"/>',
    "oscillator": '<path d="M1 7c2-7 4-7 6 0s4 7 6 0"/>',
    "filter": '<path d="M1 4h5c3 0 3 7 7 7"/>',
    "decoupling": '<path d="M1 7h4.5M5.5 2v10M8.5 2v10M8.5 7H13"/>',
    "reference": '<path d="M2 2h10v10H2zM5 7h4"/>',
    "unused": '<path d="M3 3l8 8M11 3l-8 8"/>',
}

ROLE_WORDS: Final = {
    role: {"filter": "filter or store", "unused": "not used"}.get(role, role) for role in _SHAPES
}
"""Roles in the words of a page, in the order of a legend."""


def draw_glyph(role: str) -> str:
    """Return the mark of a role as SVG of 14 by 14 units, without a name of its own."""
    return (
        f'<svg class="glyph {role}" viewBox="0 0 14 14" width="14" height="14" aria-hidden="true"'
        f' fill="none" stroke="currentColor" stroke-width="1.7">{_SHAPES[role]}</svg>'
    )
