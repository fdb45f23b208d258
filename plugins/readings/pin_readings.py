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
    value_of = {quantity: figure.value for quantity, figure in point.figures}
    # Half the width of a range is no rounding: only a single figure shows its last digit.
    half_digits = tuple(
        ("vpp" if quantity == "ripple" else quantity, figure.half_digit)
        for quantity, figure in point.figures
        if not figure.is_range
    )
    seen = list(point.seen)
    if any(figure.is_range for _, figure in point.figures):
        seen.append("unstable")
    verdicts = []
    for quantity, word in point.words:
        if word == NOTHING:
            seen.append(word)
        elif word not in (SKIPPED, LOOKED_AT):
            verdicts.append((quantity, word))
    return Reading(
        dc_v=value_of.get("dc"),
        vpp_v=value_of.get("vpp", value_of.get("ripple")),
        frequency_hz=value_of.get("frequency"),
        resistance_ohm=value_of.get("resistance"),
        seen=tuple(dict.fromkeys(seen)),
        words=tuple(verdicts),
        half_digits=half_digits,
    )
