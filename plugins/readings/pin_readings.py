"""Readings as the verdicts take them: one figure for each quantity, and words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from ...schema.reading import Reading
from .reading_syntax import LOOKED_AT, NOTHING, SKIPPED, PointReading, read_keyed

FIELDS: Final = ("dc", "vpp", "freq", "ohms", "seen")
"""Names of the figures of one pin in options, forms and addresses."""


def read_fields(written: Mapping[str, str | None]) -> Reading:
    """Return the reading in the texts under ``dc``, ``vpp``, ``freq``, ``ohms`` and ``seen``, each
    a figure in its own unit, a range or a word. Raises BadReading."""
    return convert_point(read_keyed("", ((key, written.get(key) or "") for key in FIELDS)))


def convert_point(point: PointReading) -> Reading:
    """Return a reading in SI units: of a range its middle, and that it was unstable."""
    figures = {quantity: figure.value for quantity, figure in point.figures}
    wanders = any(figure.is_range for _, figure in point.figures)
    words = [(quantity, word) for quantity, word in point.words if word not in (SKIPPED, LOOKED_AT)]
    seen = [*point.seen, *(["unstable"] if wanders else [])]
    seen += [word for _, word in words if word == NOTHING]
    return Reading(
        figures.get("dc"),
        figures.get("vpp", figures.get("ripple")),
        figures.get("frequency"),
        figures.get("resistance"),
        tuple(dict.fromkeys(seen)),
        tuple(pair for pair in words if pair[1] != NOTHING),
        tuple(
            ("vpp" if quantity == "ripple" else quantity, figure.half_digit)
            for quantity, figure in point.figures
            if not figure.is_range
        ),
    )
