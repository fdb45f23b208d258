"""Find the chips that carry a marking; case, spaces and dashes do not matter."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final, NamedTuple

from ...loaders import Folio, UnknownPart
from ...loaders.folio.chip_search import ANY, ChipRow, MarkedChip, Only, explain_exact
from ...schema.text import part_key
from .typed_marking import UNREAD, interpret_marking, is_marking

if TYPE_CHECKING:
    from ...schema.chip import Chip
    from .damaged_marking import Guess

_LONGEST_SUFFIX: Final = 3  # letters and digits that makers add for package, tape, selection
_SHORTEST_FRAGMENT: Final = 2
_SHORTEST_STEM: Final = 4
_MOST_GUESSES: Final = 10
# Scores rank an exact suffix-less match above a prefix, and a prefix above a fragment; a longer
# share of the whole marking scores higher within its band. A guess never reaches a certain match.
_PREFIX_SCORE: Final = 0.6
_FRAGMENT_SCORE: Final = 0.3
_SHARE_SCORE: Final = 0.3
_SUFFIX_SCORE: Final = 0.9
_SUFFIX_CHARACTER_COST: Final = 0.05
_GUESS_WEIGHT: Final = 0.6
_MOST_NEAREST: Final = 5  # parts named in an error


class MarkingMatch(NamedTuple):
    """A chip that may carry a marking, the reason, and a score."""

    chip: ChipRow
    match: str
    """The reason in words."""
    score: float
    """From 1, printed exactly so, down to 0."""
    probability: float | None = None
    """Of a guess at a damaged marking; None for a marking that is printed so."""

    @property
    def probability_words(self) -> str:
        """The probability in words, from ``under 1 %`` to ``99 %``; empty without one."""
        if self.probability is None:
            return ""
        percent = round(100 * self.probability)
        return f"{min(percent, 99)} %" if percent else "under 1 %"


def find_marking(folio: Folio, text: str, limit: int = 20, only: Only = ANY) -> list[MarkingMatch]:
    """Return the chips that may carry ``text``, best first; each once, for its best reason."""
    return find_printed(folio, text, limit, only) or [
        convert_guess(guess) for guess in guess_damaged(folio, text, limit, only)
    ]


def find_printed(folio: Folio, text: str, limit: int = 20, only: Only = ANY) -> list[MarkingMatch]:
    """Return the chips that carry ``text`` whole, at the start or inside a marking, best first."""
    best_match: dict[str, MarkingMatch] = {}
    for typed in interpret_marking(text) if UNREAD not in text else ():
        for match in _yield_candidates(folio, part_key(typed.text), limit, only):
            reasons = ", ".join((match.match, *typed.reasons))
            best_match.setdefault(match.chip.part, match._replace(match=reasons))
        if best_match:
            break
    return sorted(best_match.values(), key=lambda match: -match.score)[:limit]


def guess_damaged(folio: Folio, text: str, limit: int = 20, only: Only = ANY) -> list[Guess]:
    """Return guesses at a damaged marking, most probable first; none for other text."""
    if not is_marking(text):
        return []
    from .damaged_marking import guess_chips

    return guess_chips(folio, text, min(limit, _MOST_GUESSES), only)


def convert_guess(guess: Guess) -> MarkingMatch:
    """Return a guess as a match, to rank it among others."""
    return MarkingMatch(
        guess.chip, ", ".join(guess.reasons), _GUESS_WEIGHT * guess.probability, guess.probability
    )


def find_chip(folio: Folio, text: str) -> Chip:
    """Return the chip with this part number or marking, or the only one of which it is a fragment.

    Raises UnknownPart, which names up to five matching chips when there are several.
    """
    try:
        return folio.chip(text)
    except UnknownPart as unknown:
        matches = find_marking(folio, text)
        if len(matches) == 1 and any(find_printed(folio, text, 1)):
            return folio.chip(matches[0].chip.part)
        if matches:
            nearest = tuple(match.chip.part for match in matches[:_MOST_NEAREST])
            raise UnknownPart(text, nearest) from None
        raise unknown from None


def _yield_candidates(folio: Folio, key: str, limit: int, only: Only) -> Iterator[MarkingMatch]:
    """Yield the chips whose marking equals, begins with or contains ``key``, with repeats."""
    if not key:
        return
    exact_matches = folio.find_chips_by_key(key, only)
    for marked in exact_matches:
        yield MarkingMatch(marked.chip, *explain_exact(marked.chip.part, marked.marking, key))
    # A whole marking needs no search for fragments; one character would match half the folio.
    if exact_matches or len(key) < _SHORTEST_FRAGMENT:
        return
    for marked in folio.find_chips_by_prefix(key, limit, only):
        score = _PREFIX_SCORE + _SHARE_SCORE * _compute_share(key, marked)
        yield MarkingMatch(marked.chip, f"{marked.marking} begins so", score)
    yield from _yield_without_suffix(folio, key, only)
    # Letters alone are probably a word; scanning every marking for them would be slow.
    if key.isalpha():
        return
    for marked in folio.find_chips_by_fragment(key, limit, only):
        score = _FRAGMENT_SCORE + _SHARE_SCORE * _compute_share(key, marked)
        yield MarkingMatch(marked.chip, f"part of {marked.marking}", score)


def _yield_without_suffix(folio: Folio, key: str, only: Only) -> Iterator[MarkingMatch]:
    """Yield the chips whose marking is ``key`` without one to three characters at its end."""
    for cut in range(1, min(_LONGEST_SUFFIX, len(key) - _SHORTEST_STEM) + 1):
        for marked in folio.find_chips_by_key(key[:-cut], only):
            score = _SUFFIX_SCORE - _SUFFIX_CHARACTER_COST * cut
            yield MarkingMatch(marked.chip, f"suffix {key[-cut:]} left aside", score)


def _compute_share(key: str, marked: MarkedChip) -> float:
    """Return the length of the key as a share of the whole marking, 0 to 1."""
    return len(key) / max(len(part_key(marked.marking)), 1)
