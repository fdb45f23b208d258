"""Compare the functions of two pins by their words, which vary for the same thing."""

from __future__ import annotations

from typing import Final, Literal

from ...loaders.words.full_text_query import split_words
from ...loaders.words.thesaurus import load_thesaurus
from ...schema import Pin
from ...schema.text import part_key

Likeness = Literal["same", "perhaps", "another"]

_SAME: Final = 0.6  # share of the shorter text's terms that the longer one has too
_PERHAPS: Final = 0.3

# Words that do not tell one function from another; direction and store are in the role.
_IDLE: Final = frozenset(
    split_words(
        "a an and at by capacitor filter for from in input inputs is of off on or out output "
        "outputs per pin signal the to v voltage vpp with"
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


def compare_functions(one: Pin, other: Pin) -> Likeness:
    """Return how alike two pins' functions are, by their words, else by a shared symbol."""
    likeness = compare_wordings(one.function, other.function)
    excluded = any(_excludes(choice, one.function, other.function) for choice in _ONE_OF)
    if likeness == "another" and not excluded and part_key(one.symbol) == part_key(other.symbol):
        return "perhaps"
    return likeness


def compare_wordings(one: str, other: str) -> Likeness:
    """Return how alike two texts are, by their words and the trade's other words for them."""
    if any(_excludes(choice, one, other) for choice in _ONE_OF):
        return "another"
    share = _measure_shared_part(_find_terms(one), _find_terms(other))
    return "same" if share >= _SAME else "perhaps" if share >= _PERHAPS else "another"


def _find_terms(text: str) -> list[frozenset[str]]:
    """Return the distinctive words and phrases, each with its equivalent wordings."""
    terms = load_thesaurus().expand(text)
    return [frozenset(map(str.lower, term)) for term in terms if _is_distinctive(term[0])]


def _is_distinctive(wording: str) -> bool:
    return not wording[0].isdigit() and wording.lower() not in _IDLE


def _measure_shared_part(one: list[frozenset[str]], other: list[frozenset[str]]) -> float:
    """Return the share of the shorter list's terms with an equivalent in the longer, 0 to 1."""
    shorter, longer = sorted((one, other), key=len)
    shared = sum(any(term & candidate for candidate in longer) for term in shorter)
    return shared / len(shorter) if shorter else 0.0


def _excludes(choice: tuple[set[str], ...], one: str, other: str) -> bool:
    """Return whether each text names members of the choice, but no common one."""
    here, there = _find_named_members(choice, one), _find_named_members(choice, other)
    return bool(here and there and not here & there)


def _find_named_members(choice: tuple[set[str], ...], text: str) -> set[int]:
    """Return the members of a choice that a text names; single capitals match only as such."""
    joined = text.replace("−", "-").replace("(", " ").replace(")", " ").split()
    typed = {word.strip(",;:.") for word in joined}
    known = typed | {word.lower() for word in typed}
    return {place for place, members in enumerate(choice) if members & known}
