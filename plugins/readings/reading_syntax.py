"""A reading written in one line, as the command line and the page take it."""

from __future__ import annotations

import re

from ...schema.reading import BadReading, read_reading
from .checks import PinReading
from .part_reading import PartReading, parse_part_reading


def parse_reading(text: str) -> PinReading | PartReading:
    """A reading in one text: pin, then ``dc=``, ``vpp=``, ``freq=``, ``ohms=``, ``seen=``; or a
    part out of circuit, ``C418 leaky``. Raises BadReading."""
    part = parse_part_reading(text)
    if part is not None:
        return part
    pin, written = split_figures(text)
    if not pin or not written:
        raise BadReading(f"found {text!r}, expected a reading such as '17 dc=3.1V freq=15.1kHz'")
    return PinReading(pin, read_reading(written))


def split_figures(text: str) -> tuple[str, dict[str, str]]:
    """What stands before the first ``dc=`` or the like, and the text of each figure by its name."""
    place, *items = re.split(r"(?:^|\s+)(?=(?:dc|vpp|freq|ohms|seen)=)", text.strip())
    return place, dict(item.split("=", 1) for item in items)
