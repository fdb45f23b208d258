"""Which chips can this marking belong to? Case, spaces and dashes do not count."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from ...loaders import Folio, UnknownPart
from ...loaders.folio import ChipRow, MarkedChip
from ...schema import Chip
from ...schema.text import part_key
from .damaged import damaged_key, guesses, has_unread

_LONGEST_SUFFIX: Final = 3  # letters and digits that makers add for package, tape, selection
_SHORTEST_FRAGMENT: Final = 2
_SHORTEST_STEM: Final = 4
_SHORTEST_DAMAGED: Final = 4
_LEAST_PROBABILITY: Final = 0.05


@dataclass(frozen=True)
class MarkingMatch:
    """A chip that a marking may belong to, why, and how sure that is."""

    chip: ChipRow
    match: str
    """Why it is in the answer, in words."""
    score: float
    """From 1 (printed exactly so) down to 0."""


def find_marking(folio: Folio, text: str, limit: int = 20) -> list[MarkingMatch]:
    """Chips that ``text`` may be printed on, surest first; each once, for its best reason."""
    best: dict[str, MarkingMatch] = {}
    if not has_unread(text):
        for found in _candidates(folio, part_key(text), limit):
            best.setdefault(found.chip.part, found)
    if not best and _is_marking(text):
        for found in _damaged(folio, text, limit):
            best.setdefault(found.chip.part, found)
    return sorted(best.values(), key=lambda found: -found.score)[:limit]


def _is_marking(text: str) -> bool:
    """Three characters or more with a digit, or an unread one, among them."""
    key = damaged_key(text)
    return len(key) >= _SHORTEST_DAMAGED and re.search(r"[0-9?]", key) is not None


def _damaged(folio: Folio, text: str, limit: int) -> Iterator[MarkingMatch]:
    """Chips that a damaged marking may be, with what must have happened to it."""
    for guess in guesses(folio, text, limit):
        if guess.probability >= _LEAST_PROBABILITY:
            (chip,) = (m.chip for m in folio.chips_by_key(part_key(guess.part))
                       if m.chip.part == guess.part)  # fmt: skip
            yield MarkingMatch(chip, ", ".join(guess.reasons), 0.6 * guess.probability)


def chip_marked(folio: Folio, text: str) -> Chip:
    """The chip with this part number or marking, or the only one that it can be a piece of.

    Raises UnknownPart, whose nearest are the chips that fit when there are several.
    """
    try:
        return folio.chip(text)
    except UnknownPart as unknown:
        fitting = find_marking(folio, text)
        if len(fitting) == 1 and any(_candidates(folio, part_key(text), 1)):
            return folio.chip(fitting[0].chip.part)
        if fitting:
            raise UnknownPart(text, tuple(found.chip.part for found in fitting[:5])) from None
        raise unknown from None


def _candidates(folio: Folio, key: str, limit: int) -> Iterator[MarkingMatch]:
    if not key:
        return
    for marked in folio.chips_by_key(key):
        if part_key(marked.chip.part) == key:
            yield MarkingMatch(marked.chip, "part number", 1.0)
        else:
            yield MarkingMatch(marked.chip, f"marking {marked.marking}", 0.95)
    if len(key) < _SHORTEST_FRAGMENT:
        return
    for marked in folio.chips_by_prefix(key, limit):
        yield MarkingMatch(
            marked.chip, f"{marked.marking} begins so", 0.6 + 0.3 * _share(key, marked)
        )
    yield from _without_suffix(folio, key)
    for marked in folio.chips_by_fragment(key, limit):
        yield MarkingMatch(
            marked.chip, f"part of {marked.marking}", 0.3 + 0.3 * _share(key, marked)
        )


def _without_suffix(folio: Folio, key: str) -> Iterator[MarkingMatch]:
    """Chips whose marking is ``key`` less what the maker added behind it."""
    for cut in range(1, min(_LONGEST_SUFFIX, len(key) - _SHORTEST_STEM) + 1):
        for marked in folio.chips_by_key(key[:-cut]):
            yield MarkingMatch(marked.chip, f"suffix {key[-cut:]} left aside", 0.9 - 0.05 * cut)


def _share(key: str, marked: MarkedChip) -> float:
    """How much of the whole marking was given."""
    return len(key) / max(len(part_key(marked.marking)), 1)
