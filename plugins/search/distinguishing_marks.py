"""Choose the features that decide between several parts: package, pin count, a supply pin."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from ...loaders import Folio
from .damaged_marking import Guess

_MOST_PARTS: Final = 5  # listed by name for each value
_LEAST_BITS: Final = 0.1  # of information; a feature that tells less is not worth a look


@dataclass(frozen=True)
class DistinguishingMark:
    """A feature to look at on the chip, and the parts that go with each of its values."""

    feature: str
    """``package``, ``pins`` or ``supply``: the name of the search filter for it."""
    question: str
    parts_by_value: tuple[tuple[str, tuple[str, ...]], ...]
    """Each value, and the parts that have it, most probable first."""
    bits: float
    """Expected information from looking, in bits."""
    pin: str = ""
    """Number of the pin, where the feature is a supply."""

    def __str__(self) -> str:
        values = (f"{value}: {_list_parts(parts)}" for value, parts in self.parts_by_value)
        return f"{self.question} {'; '.join(values)}."

    def get_filter(self, value: str) -> str:
        """Return the search filter that keeps the parts with a value; empty where none can."""
        if self.feature == "pins":
            return value.partition(" ")[0]
        # A filter names the pin of a supply; none can ask for a pin that is no supply.
        if self.feature == "supply":
            return self.pin if value == "yes" else ""
        return value

    def document(self) -> dict[str, Any]:
        """Return the feature as plain data."""
        values = [{"value": value, "parts": list(parts)} for value, parts in self.parts_by_value]
        return {"look_at": self.feature, "seen": values, "words": str(self)}


def find_distinguishing_marks(
    folio: Folio, guesses: Sequence[Guess]
) -> tuple[DistinguishingMark, ...]:
    """Return up to three features that tell the guesses apart, the most informative first."""
    if len(guesses) < 2:
        return ()
    probability_of = {guess.chip.part: guess.probability for guess in guesses}
    package_of = {guess.chip.part: guess.chip.package for guess in guesses}
    pins_of = {guess.chip.part: f"{guess.chip.pins} pins" for guess in guesses}
    package_mark = _build_mark("package", "Which package?", package_of, probability_of)
    pins_mark = _build_mark("pins", "How many pins?", pins_of, probability_of)
    marks = [pins_mark, *_find_supply_mark(folio, probability_of)]
    # Counting pins is easier than recognising a package, which is asked only if it tells more.
    if package_mark.bits > pins_mark.bits:
        marks.insert(0, package_mark)
    informative_marks = [mark for mark in marks if mark.bits >= _LEAST_BITS]
    return tuple(sorted(informative_marks, key=lambda mark: -mark.bits))


def _find_supply_mark(folio: Folio, probabilities: Mapping[str, float]) -> list[DistinguishingMark]:
    """Return the pin whose use as a supply tells the guesses apart best, or an empty list."""
    supply_pins = folio.supply_pins(list(probabilities))
    marks = [
        _build_mark(
            "supply",
            f"Is pin {pin} a supply?",
            _answer_yes_first({part: pin in supply_pins.get(part, ()) for part in probabilities}),
            probabilities,
            str(pin),
        )
        for pin in sorted(set().union(*supply_pins.values()))
    ]
    return [max(marks, key=lambda mark: mark.bits)] if marks else []


def _answer_yes_first(is_supply: Mapping[str, bool]) -> dict[str, str]:
    """Return ``yes`` or ``no`` for each part, those with ``yes`` first."""
    return {
        part: "yes" if is_supply[part] else "no"
        for part in sorted(is_supply, key=lambda part: not is_supply[part])
    }


def _build_mark(
    feature: str,
    question: str,
    values: Mapping[str, str],
    probabilities: Mapping[str, float],
    pin: str = "",
) -> DistinguishingMark:
    """Return a feature from the value that each part has, with its entropy as information."""
    parts_of: dict[str, list[str]] = {}
    for part, value in values.items():
        parts_of.setdefault(value, []).append(part)
    total = sum(probabilities.values())
    shares = [sum(probabilities[part] for part in parts) / total for parts in parts_of.values()]
    # Shannon entropy of the answer: the expected information in bits.
    bits = -sum(share * math.log2(share) for share in shares)
    parts_by_value = tuple((value, tuple(parts)) for value, parts in parts_of.items())
    return DistinguishingMark(feature, question, parts_by_value, bits, pin)


def _list_parts(parts: Sequence[str]) -> str:
    """Return the first parts by name, and the number of the others."""
    more = len(parts) - _MOST_PARTS
    return ", ".join(parts[:_MOST_PARTS]) + (f" and {more} more" if more > 0 else "")
