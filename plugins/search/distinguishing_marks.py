"""What on the chip settles which of several parts it is: its package, its pins, a supply pin."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from ...loaders import Folio
from .damaged_marking import Guess

_MOST_MARKS: Final = 3
_MOST_PARTS: Final = 5
_LEAST_BITS: Final = 0.1


@dataclass(frozen=True)
class DistinguishingMark:
    """Something to look at, and which parts go with what is seen there."""

    at: str
    """``package``, ``pins`` or ``supply``: as an answer is kept to it."""
    question: str
    seen: tuple[tuple[str, tuple[str, ...]], ...]
    """What may be seen, and the parts that have it, likeliest first."""
    bits: float
    """What seeing it is expected to tell."""
    pin: str = ""
    """Which pin, where it is a supply that is looked for."""

    def __str__(self) -> str:
        said = (f"{value}: {_list_parts(parts)}" for value, parts in self.seen)
        return f"{self.question} {'; '.join(said)}."

    def keeps(self, value: str) -> str:
        """What an answer is kept to when this is seen; empty where it cannot be said."""
        if self.at == "pins":
            return value.partition(" ")[0]
        if self.at == "supply":
            return self.pin if value == "yes" else ""
        return value

    def document(self) -> dict[str, Any]:
        """As plain data."""
        seen = [{"value": value, "parts": list(parts)} for value, parts in self.seen]
        return {"look_at": self.at, "seen": seen, "words": str(self)}


def find_distinguishing_marks(
    folio: Folio, guesses: Sequence[Guess]
) -> tuple[DistinguishingMark, ...]:
    """What to look at to tell the guesses apart, the most telling first."""
    if len(guesses) < 2:
        return ()
    likely = {guess.chip.part: guess.probability for guess in guesses}
    packages = {guess.chip.part: guess.chip.package for guess in guesses}
    pins = {guess.chip.part: f"{guess.chip.pins} pins" for guess in guesses}
    looks = [
        _build_mark("package", "Which package?", packages, likely),
        _build_mark("pins", "How many pins?", pins, likely),
        *_find_supply_mark(folio, likely),
    ]
    package, count = looks[:2]
    if count.bits >= package.bits or len(set(pins.values())) == len(set(packages.values())):
        looks.remove(package)  # as telling, and counting is easier than naming a package
    looks = [look for look in looks if look.bits >= _LEAST_BITS]
    return tuple(sorted(looks, key=lambda look: -look.bits)[:_MOST_MARKS])


def _find_supply_mark(folio: Folio, likely: Mapping[str, float]) -> list[DistinguishingMark]:
    """The pin where it tells most whether a supply enters there."""
    fed = folio.supply_pins(list(likely))
    looks = [
        _build_mark(
            "supply",
            f"Is pin {pin} a supply?",
            _answer_yes_first({part: pin in fed.get(part, ()) for part in likely}),
            likely,
            str(pin),
        )
        for pin in sorted(set().union(*fed.values()))
    ]
    return [max(looks, key=lambda look: look.bits)] if looks else []


def _answer_yes_first(fed: Mapping[str, bool]) -> dict[str, str]:
    return {
        part: "yes" if fed[part] else "no" for part in sorted(fed, key=lambda part: not fed[part])
    }


def _build_mark(
    at: str, question: str, shown: Mapping[str, str], likely: Mapping[str, float], pin: str = ""
) -> DistinguishingMark:
    groups: dict[str, list[str]] = {}
    for part, value in shown.items():
        groups.setdefault(value, []).append(part)
    total = sum(likely.values())
    shares = [sum(likely[part] for part in parts) / total for parts in groups.values()]
    bits = -sum(share * math.log2(share) for share in shares)
    return DistinguishingMark(
        at, question, tuple((v, tuple(parts)) for v, parts in groups.items()), bits, pin
    )


def _list_parts(parts: Sequence[str]) -> str:
    more = len(parts) - _MOST_PARTS
    return ", ".join(parts[:_MOST_PARTS]) + (f" and {more} more" if more > 0 else "")
