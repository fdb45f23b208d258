"""The finding on a part measured out of circuit, as a technician writes it.

``C418 leaky``, ``C418: open``, ``R402 measures 5k2``, ``C418: good``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

PART_OUTCOMES: Final = (
    "good",
    "value too low",
    "value too high",
    "open",
    "off frequency",
    "leaky",
    "shorted",
)
"""Possible findings on a part measured out of circuit, the good one first."""

WORDS: Final = {
    **{outcome: outcome for outcome in PART_OUTCOMES},
    "ok": "good",
    "fine": "good",
    "short": "shorted",
    "short circuit": "shorted",
    "open circuit": "open",
    "dead": "open",
    "leaks": "leaky",
    "dried out": "value too low",
    "dry": "value too low",
    "low": "value too low",
    "too low": "value too low",
    "high": "value too high",
    "too high": "value too high",
    "drifted": "value too high",
    "drifted up": "value too high",
}
"""The words that are understood, each with the finding it means."""

_WRITTEN: Final = re.compile(r"(?P<ref>[^\s:=]+)\s*(?::|\s)\s*(?P<found>[^=]+)", re.DOTALL)
_MEASURES: Final = re.compile(r"(?:measures|reads|is)\s+", re.IGNORECASE)


@dataclass(frozen=True)
class PartReading:
    """The finding on a part out of circuit, as written."""

    ref: str
    found: str
    """One of ``WORDS``, or a value: ``leaky``, ``5k2``."""


def parse_part_reading(text: str) -> PartReading | None:
    """Return the finding in a text such as ``C418 leaky`` or ``R402 measures 5k2``, else None."""
    match = _WRITTEN.fullmatch(text.strip())
    # A reference has a letter; a bare number is a pin.
    if match is None or not re.search(r"[A-Za-z]", match["ref"]):
        return None
    finding = " ".join(match["found"].split())
    outcome = _MEASURES.sub("", finding, count=1)
    is_word = outcome.casefold() in WORDS
    # Without a known word, "measures" or a colon, the text is not about a part.
    if not is_word and outcome == finding and ":" not in text:
        return None
    return PartReading(match["ref"], outcome.casefold() if is_word else outcome)
