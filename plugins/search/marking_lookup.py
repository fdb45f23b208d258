"""Which chips can this marking belong to? Case, spaces and dashes do not count."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from ...loaders import Folio, UnknownPart
from ...loaders.folio.chip_search import ANY, ChipRow, MarkedChip, Only
from ...loaders.folio.exact_marking import explain_exact
from ...schema.text import part_key
from .typed_marking import UNREAD, interpret_marking, is_marking

if TYPE_CHECKING:
    from ...schema import Chip
    from .damaged_marking import Guess

_LONGEST_SUFFIX: Final = 3  # letters and digits that makers add for package, tape, selection
_SHORTEST_FRAGMENT: Final = 2
_SHORTEST_STEM: Final = 4
_MOST_GUESSES: Final = 10
_GUESS_WEIGHT: Final = 0.6  # a guess is never as sure as what is printed so


@dataclass(frozen=True)
class MarkingMatch:
    """A chip that a marking may belong to, why, and how sure that is."""

    chip: ChipRow
    match: str
    """Why it is in the answer, in words."""
    score: float
    """From 1 (printed exactly so) down to 0."""
    probability: float | None = None
    """Of a guess at a damaged marking."""

    @property
    def likely(self) -> str:
        """The probability in words; none for what is printed so."""
        if self.probability is None:
            return ""
        percent = round(100 * self.probability)
        return f"{min(percent, 99)} %" if percent else "under 1 %"


def find_marking(folio: Folio, text: str, limit: int = 20, only: Only = ANY) -> list[MarkingMatch]:
    """Chips that ``text`` may be printed on, surest first; each once, for its best reason."""
    return find_printed(folio, text, limit, only) or [
        convert_guess(guess) for guess in guess_damaged(folio, text, limit, only)
    ]


def find_printed(folio: Folio, text: str, limit: int = 20, only: Only = ANY) -> list[MarkingMatch]:
    """Chips that bear ``text`` whole, at the start or within, surest first."""
    best: dict[str, MarkingMatch] = {}
    for typed in interpret_marking(text) if UNREAD not in text else ():
        for found in _yield_candidates(folio, part_key(typed.text), limit, only):
            why = ", ".join((found.match, *typed.reasons))
            best.setdefault(found.chip.part, replace(found, match=why))
        if best:
            break
    return sorted(best.values(), key=lambda found: -found.score)[:limit]


def guess_damaged(folio: Folio, text: str, limit: int = 20, only: Only = ANY) -> list[Guess]:
    """Chips that a damaged marking may be on, likeliest first; none for what is no marking."""
    if not is_marking(text):
        return []
    from .damaged_marking import guess_chips

    return guess_chips(folio, text, min(limit, _MOST_GUESSES), only)


def convert_guess(guess: Guess) -> MarkingMatch:
    """A guess as an answer among others."""
    return MarkingMatch(
        guess.chip, ", ".join(guess.reasons), _GUESS_WEIGHT * guess.probability, guess.probability
    )


def find_chip(folio: Folio, text: str) -> Chip:
    """The chip with this part number or marking, or the only one that it can be a piece of.

    Raises UnknownPart, whose nearest are the chips that fit when there are several.
    """
    try:
        return folio.chip(text)
    except UnknownPart as unknown:
        fitting = find_marking(folio, text)
        if len(fitting) == 1 and any(find_printed(folio, text, 1)):
            return folio.chip(fitting[0].chip.part)
        if fitting:
            raise UnknownPart(text, tuple(found.chip.part for found in fitting[:5])) from None
        raise unknown from None


def _yield_candidates(folio: Folio, key: str, limit: int, only: Only) -> Iterator[MarkingMatch]:
    if not key:
        return
    exact = folio.chips_by_key(key, only)
    for marked in exact:
        yield MarkingMatch(marked.chip, *explain_exact(marked.chip.part, marked.marking, key))
    if exact or len(key) < _SHORTEST_FRAGMENT:  # what is whole need not be a piece
        return
    for marked in folio.chips_by_prefix(key, limit, only):
        yield MarkingMatch(
            marked.chip, f"{marked.marking} begins so", 0.6 + 0.3 * _compute_share(key, marked)
        )
    yield from _yield_without_suffix(folio, key, only)
    if key.isalpha():  # a word, or the beginning of many: to look within all takes long
        return
    for marked in folio.chips_by_fragment(key, limit, only):
        yield MarkingMatch(
            marked.chip, f"part of {marked.marking}", 0.3 + 0.3 * _compute_share(key, marked)
        )


def _yield_without_suffix(folio: Folio, key: str, only: Only) -> Iterator[MarkingMatch]:
    """Chips whose marking is ``key`` less what the maker added behind it."""
    for cut in range(1, min(_LONGEST_SUFFIX, len(key) - _SHORTEST_STEM) + 1):
        for marked in folio.chips_by_key(key[:-cut], only):
            yield MarkingMatch(marked.chip, f"suffix {key[-cut:]} left aside", 0.9 - 0.05 * cut)


def _compute_share(key: str, marked: MarkedChip) -> float:
    """How much of the whole marking was given."""
    return len(key) / max(len(part_key(marked.marking)), 1)
