"""The answer to a search: chips, pins, functions, stages and notes, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from ...loaders.folio.chip_search import MARKING_SCORE, PinRow
from ...loaders.folio.word_search import Shared
from .marking_lookup import MarkingMatch

if TYPE_CHECKING:
    from ...schema.note import Note
    from .distinguishing_marks import DistinguishingMark

_DIGITS: Final = 3  # of a score or a probability in a document
GROUPS = ("chips", "pins", "functions", "blocks", "notes")
"""Names of the groups of an answer; groups of equal score keep this order."""


@dataclass(frozen=True)
class PinMatch:
    """A pin in the answer, the reason it matched, and its score from 0 to 1."""

    pin: PinRow
    match: str
    score: float


@dataclass(frozen=True)
class SharedMatch:
    """A stage, or a function that pins of several chips have, and its score from 0 to 1."""

    shared: Shared
    score: float


@dataclass(frozen=True)
class NoteMatch:
    """A shop's note, its text in one line, and its score from 0 to 1."""

    note: Note
    sentence: str
    score: float


@dataclass(frozen=True)
class SearchAnswer:
    """The answer in groups, each best first; the nearest part numbers when no group has a match."""

    query: str
    chips: tuple[MarkingMatch, ...] = ()
    pins: tuple[PinMatch, ...] = ()
    functions: tuple[SharedMatch, ...] = ()
    blocks: tuple[SharedMatch, ...] = ()
    notes: tuple[NoteMatch, ...] = ()
    distinguishing_marks: tuple[DistinguishingMark, ...] = ()
    """Features of the package that would decide between several chips."""
    nearest: tuple[str, ...] = ()
    is_by_marking: bool = False
    """Whether the query names these chips by a marking, so that all other matches are on them."""

    def __bool__(self) -> bool:
        return bool(self.groups)

    @property
    def is_exact(self) -> bool:
        """Whether every match is a chip that bears the marking exactly."""
        return self.groups == ("chips",) and all(
            match.score >= MARKING_SCORE for match in self.chips
        )

    @property
    def is_guess(self) -> bool:
        """Whether the marking is damaged, so that each chip has a probability."""
        return any(match.probability is not None for match in self.chips)

    @property
    def groups(self) -> tuple[str, ...]:
        """Names of the groups that hold a match, the group with the best match first.

        Chips that the query names precede the pins on them.
        """
        best = {
            name: max(match.score for match in matches)
            for name in GROUPS
            if (matches := getattr(self, name))
        }
        if self.is_by_marking:
            return tuple(best)
        return tuple(sorted(best, key=lambda name: -best[name]))

    def document(self) -> dict[str, Any]:
        """Return the answer as plain data, for ``--json`` and the page's ``.json``."""
        return {
            "query": self.query,
            "groups": list(self.groups),
            "chips": [_describe_chip(match) for match in self.chips],
            "pins": [_describe_pin(match) for match in self.pins],
            "functions": [_describe_shared(match) for match in self.functions],
            "blocks": [_describe_shared(match) for match in self.blocks],
            "notes": [_describe_note(match) for match in self.notes],
            "settles": [mark.document() for mark in self.distinguishing_marks],
            "nearest": list(self.nearest),
        }


def _round(score: float) -> float:
    """Return a score or a probability to the digits of a document."""
    return round(score, _DIGITS)


def _describe_chip(match: MarkingMatch) -> dict[str, Any]:
    """Return a chip in the answer as plain data."""
    chip = match.chip
    return {
        "part": chip.part,
        "maker": chip.maker,
        "kind": chip.kind,
        "package": chip.package,
        "match": match.match,
        "score": _round(match.score),
        "probability": None if match.probability is None else _round(match.probability),
    }


def _describe_pin(match: PinMatch) -> dict[str, Any]:
    """Return a pin in the answer as plain data."""
    pin = match.pin
    return {
        "part": pin.part,
        "pin": pin.number,
        "symbol": pin.symbol,
        "function": pin.function,
        "role": pin.role,
        "match": match.match,
        "score": _round(match.score),
    }


def _describe_shared(match: SharedMatch) -> dict[str, Any]:
    """Return a stage or function in the answer as plain data."""
    shared = match.shared
    return {
        "name": shared.text,
        "chips": shared.chips,
        "first": list(shared.first),
        "score": _round(match.score),
    }


def _describe_note(match: NoteMatch) -> dict[str, Any]:
    """Return a note in the answer as plain data."""
    note = match.note
    return {
        "note": note.id,
        "chip": note.chip,
        "at": note.at,
        "kind": note.kind,
        "says": match.sentence,
        "score": _round(match.score),
    }
