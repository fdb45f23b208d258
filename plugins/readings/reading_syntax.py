"""The one-line syntax of a reading, for the command line and the page."""

from __future__ import annotations

import re

from ...schema.reading import BadReading, read_reading
from .checks import PinReading
from .part_reading import PartReading, parse_part_reading


def parse_reading(text: str) -> PinReading | PartReading:
    """Return the reading in a text such as ``17 dc=3.1V freq=15.1kHz`` or ``C418 leaky``.

    A pin is followed by ``dc=``, ``vpp=``, ``freq=``, ``ohms=`` or ``seen=``; a part by a finding
    from out of circuit. Raises BadReading.
    """
    part = parse_part_reading(text)
    if part is not None:
        return part
    pin, figures = split_figures(text)
    if not pin or not figures:
        raise BadReading(f"found {text!r}, expected a reading such as '17 dc=3.1V freq=15.1kHz'")
    return PinReading(pin, read_reading(figures))


def split_figures(text: str) -> tuple[str, dict[str, str]]:
    """Return the text before the first ``dc=`` or the like, and the text of each figure by name."""
    place, *items = re.split(r"(?:^|\s+)(?=(?:dc|vpp|freq|ohms|seen)=)", text.strip())
    return place, dict(item.split("=", 1) for item in items)
