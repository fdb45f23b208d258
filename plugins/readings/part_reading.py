"""What was found of a part out of circuit, as a technician writes it down.

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
"""How a part measured out of circuit may turn out: as many, and what is right comes first."""

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
"""What may be written, and the outcome that it means."""

_WRITTEN: Final = re.compile(r"(?P<ref>[^\s:=]+)\s*(?::|\s)\s*(?P<found>[^=]+)", re.DOTALL)
_MEASURES: Final = re.compile(r"(?:measures|reads|is)\s+", re.IGNORECASE)


@dataclass(frozen=True)
class PartReading:
    """What was found of a part out of circuit, as it was written."""

    ref: str
    found: str
    """One of the words, or a value: ``leaky``, ``5k2``."""


def parse_part_reading(text: str) -> PartReading | None:
    """A text such as ``C418 leaky`` or ``R402 measures 5k2``; None where it is none of these."""
    whole = _WRITTEN.fullmatch(text.strip())
    if whole is None or not re.search(r"[A-Za-z]", whole["ref"]):
        return None
    found = " ".join(whole["found"].split())
    bare = _MEASURES.sub("", found, count=1)
    named = bare.casefold() in WORDS
    if not named and bare == found and ":" not in text:
        return None
    return PartReading(whole["ref"], bare.casefold() if named else bare)
