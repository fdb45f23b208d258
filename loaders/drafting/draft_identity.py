"""The identity of a drafted chip: part, kind and package by the words of its sheet."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Any, Final

from pydantic import ValidationError

from ...schema.chips.package import Package
from ...schema.vocabulary import KINDS
from .pin_table import PinTable

_LONGEST_STEM: Final = 80
_LONGEST_ABOUT: Final = 200
_FEWEST_SUMMARY_WORDS: Final = 3
_FAMILIES: Final = (
    ("SDIP", r"shrink (?:dual|dil|dip)|sdip|sdil"),
    ("SSOP", r"shrink small|ssop"),
    ("DIP", r"dual[- ]in|dip|dil"),
    ("SIP", r"single[- ]in|sip|sil"),
    ("ZIP", r"zig[- ]?zag|zip"),
    ("QFP", r"quad flat|qfp"),
    ("SO", r"small outline|sop?"),
)
_PART: Final = re.compile(r"\b(?=[A-Z0-9-]*[0-9]{2})(?=[0-9-]*[A-Z])[A-Z0-9][A-Z0-9-]{3,19}\b")


@dataclass(frozen=True)
class Identity:
    """The identity of a chip, as far as it is known; None becomes a blank."""

    part: str | None = None
    maker: str | None = None
    kind: str | None = None
    package: Package | None = None
    summary: str | None = None
    suggested: frozenset[str] = frozenset()
    """Names of the fields that were taken from the words of the sheet."""


def suggest_identity(identity: Identity, table: PinTable, stem: str) -> Identity:
    """Return the identity with unknown fields suggested by words of the sheet or file name."""
    words = f"{table.title} {table.words}"
    stem = stem[:_LONGEST_STEM]
    part = _PART.search(table.title) or _PART.search(stem.upper()) or _PART.search(table.words)
    about = table.title or table.words[:_LONGEST_ABOUT]
    title = " ".join(table.title.split()).strip(" -:,")
    guesses: dict[str, Any] = {
        "part": part[0] if part else None,
        "kind": next((kind for kind in KINDS if kind.lower() in about.lower()), None),
        "package": _find_package(words, max((pin.number for pin in table.pins), default=0)),
        "summary": title if len(title.split()) >= _FEWEST_SUMMARY_WORDS else None,
    }
    suggestions = {
        key: guess
        for key, guess in guesses.items()
        if getattr(identity, key) is None and guess is not None
    }
    return replace(identity, **suggestions, suggested=frozenset(suggestions))


def _find_package(words: str, highest_pin: int) -> Package | None:
    """Return the first package in the words that has enough pins, or None."""
    for family, sign in _FAMILIES:
        before = rf"\b([0-9]{{1,3}})[- ](?:pin|lead)\w*\b[^.;]{{0,30}}\b(?:{sign})"
        pattern = rf"\b(?:{sign})[- ]?([0-9]{{1,3}})\b|{before}"
        for match in re.finditer(pattern, words.lower()):
            pins = int(match[1] or match[2])
            try:
                if pins >= highest_pin:
                    return Package.model_validate({"family": family, "pins": pins})
            except ValidationError:
                continue
    return None
