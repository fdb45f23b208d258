"""Do two texts speak of the same function? The trade says one thing in many ways."""

from __future__ import annotations

from typing import Final, Literal

from ...loaders.words.full_text_query import words
from ...loaders.words.thesaurus import load
from ...schema import Pin
from ...schema.text import part_key

Likeness = Literal["same", "perhaps", "another"]

_SAME: Final = 0.6  # share of the shorter text's terms that the longer one has too
_PERHAPS: Final = 0.3

# Words that say nothing about which function it is; which way it goes is what the role is for.
_IDLE: Final = frozenset(
    words(
        "a an and at by for from in input inputs is of off on or out output outputs per pin signal "
        "the to v voltage vpp with"
    )
)
# Words of which one excludes the others, however near the rest of the text: common practice.
_ONE_OF: Final = (
    ({"red", "R"}, {"green", "G"}, {"blue", "B"}),
    ({"R-Y"}, {"G-Y"}, {"B-Y"}),
    ({"left"}, {"right"}),
    ({"line", "horizontal"}, {"field", "vertical", "frame"}),
    ({"luminance", "luma"}, {"chrominance", "chroma"}),
    ({"clock", "SCL"}, {"data", "SDA"}),
    ({"vision", "video"}, {"sound", "audio"}),
)


def same_function(one: Pin, other: Pin) -> Likeness:
    """How near the functions of two pins are, by their words, else by a symbol they share."""
    if any(_excludes(choice, one.function, other.function) for choice in _ONE_OF):
        return "another"
    share = _shared(_terms(one.function), _terms(other.function))
    if share >= _SAME:
        return "same"
    same_symbol = part_key(one.symbol) == part_key(other.symbol)
    return "perhaps" if share >= _PERHAPS or same_symbol else "another"


def _terms(text: str) -> list[frozenset[str]]:
    """Each word or known phrase that tells something, with the wordings it may stand for."""
    terms = load().expand(text)
    return [frozenset(map(str.lower, term)) for term in terms if _tells(term[0])]


def _tells(wording: str) -> bool:
    return not wording[0].isdigit() and wording.lower() not in _IDLE


def _shared(one: list[frozenset[str]], other: list[frozenset[str]]) -> float:
    """Share of the shorter list's terms that have an equivalent in the longer; 0 for no terms."""
    shorter, longer = sorted((one, other), key=len)
    found = sum(any(term & candidate for candidate in longer) for term in shorter)
    return found / len(shorter) if shorter else 0.0


def _excludes(choice: tuple[set[str], ...], one: str, other: str) -> bool:
    """True when each text has words of the choice and none in common."""
    here, there = _chosen(choice, one), _chosen(choice, other)
    return bool(here and there and not here & there)


def _chosen(choice: tuple[set[str], ...], text: str) -> set[int]:
    """Which members of a choice a text names; single capitals count as they are only."""
    joined = text.replace("−", "-").replace("(", " ").replace(")", " ").split()
    typed = {word.strip(",;:.") for word in joined}
    known = typed | {word.lower() for word in typed}
    return {place for place, members in enumerate(choice) if members & known}
