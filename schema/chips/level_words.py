"""Which field of a waveform a parameter states, by the words of its name. Common practice."""

from __future__ import annotations

import re
from typing import Final

# Fields of a waveform by its kind, with their unit and the words that name them.
_FIELDS: Final = {
    "sandcastle": (
        ("burst_key", "V", r"\b(?:burst|key|gate)"),
        ("field_blanking", "V", r"\b(?:field|vertical|frame)\b.*\bblank"),
        ("line_blanking", "V", r"\b(?:line|horizontal)\b.*\bblank"),
    ),
    "line pulse": (("vpp", "Vpp", r"\bamplitude|peak[- ]to[- ]peak"),),
    "pulse": (("low", "V", r"\blow\b"), ("high", "V", r"\bhigh\b")),
    "bus activity": (("low", "V", r"\blow\b"), ("high", "V", r"\bhigh\b")),
}
_OF_ANY_KIND: Final = (
    ("vpp", "Vpp", r"\b(?:amplitude|peak[- ]to[- ]peak|signal|swing|level)"),
    ("frequency", "Hz", r"\bfrequency\b"),
)
# Limits of a signal, thresholds and disturbances are not its usual size.
_NOT_USUAL: Final = re.compile(
    r"absolute maximum|\b(?:thresholds?|sensitivity|limiting|clipping|overload|noise|ripple|hum"
    r"|residual|crosstalk|rejection|hysteresis|range|bandwidth|maximum|minimum|switching|input low"
    r"|input high)\b",
    re.IGNORECASE,
)


def find_stated_field(kind: str, name: str, unit: str) -> str | None:
    """Return the field of a waveform of this kind that a parameter states, or None.

    >>> find_stated_field("sandcastle", "burst key level", "V")
    'burst_key'
    """
    if _NOT_USUAL.search(name):
        return None
    for field, field_unit, words in _FIELDS.get(kind, _OF_ANY_KIND):
        if unit == field_unit and re.search(words, name, re.IGNORECASE):
            return field
    return None
