"""The answer to a search: chips, pins, functions, stages and notes, each with why it is there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ...loaders.folio.chip_search import PinRow
from ...loaders.folio.word_search import Shared
from .marking_lookup import MarkingMatch

if TYPE_CHECKING:
    from ...schema.note import Note
    from .distinguishing_marks import DistinguishingMark

GROUPS = ("chips", "pins", "functions", "blocks", "notes")
"""The groups of an answer, in the order in which they stand when nothing else tells."""


@dataclass(frozen=True)
class PinMatch:
    """A pin in the answer, why, and how near it comes to what was asked."""

    pin: PinRow
    match: str
    score: float


@dataclass(frozen=True)
class SharedMatch:
    """A stage, or what pins of several chips do, and how near it comes to what was asked."""

    said: Shared
    score: float


@dataclass(frozen=True)
class NoteMatch:
    """A note of a shop, in one line, and how near it comes to what was asked."""

    note: Note
    says: str
    score: float


@dataclass(frozen=True)
class SearchAnswer:
    """The answer in groups, each best first; the nearest parts when there is none."""

    query: str
    chips: tuple[MarkingMatch, ...] = ()
    pins: tuple[PinMatch, ...] = ()
    functions: tuple[SharedMatch, ...] = ()
    blocks: tuple[SharedMatch, ...] = ()
    notes: tuple[NoteMatch, ...] = ()
    settles: tuple[DistinguishingMark, ...] = ()
    """What on the chip would settle which of several it is."""
    nearest: tuple[str, ...] = ()
    marked: bool = False
    """Whether the chips are those that a marking in the question names, and all else is theirs."""

    def __bool__(self) -> bool:
        return bool(self.groups)

    @property
    def groups(self) -> tuple[str, ...]:
        """The names of the groups that hold anything, the one with the best match first; chips
        that were named go before what they hold."""
        best = {
            name: max(match.score for match in matches)
            for name in GROUPS
            if (matches := getattr(self, name))
        }
        if self.marked:
            return tuple(best)
        return tuple(sorted(best, key=lambda name: -best[name]))

    def document(self) -> dict[str, Any]:
        """The answer as plain data, for ``--json`` and the page's ``.json``."""
        return {
            "query": self.query,
            "groups": list(self.groups),
            "chips": [_describe_chip(found) for found in self.chips],
            "pins": [_describe_pin(found) for found in self.pins],
            "functions": [_describe_shared(found) for found in self.functions],
            "blocks": [_describe_shared(found) for found in self.blocks],
            "notes": [_describe_note(found) for found in self.notes],
            "settles": [look.document() for look in self.settles],
            "nearest": list(self.nearest),
        }


def _describe_chip(found: MarkingMatch) -> dict[str, Any]:
    chip = found.chip
    return {
        "part": chip.part,
        "maker": chip.maker,
        "kind": chip.kind,
        "package": chip.package,
        "match": found.match,
        "score": round(found.score, 3),
        "probability": None if found.probability is None else round(found.probability, 3),
    }


def _describe_pin(found: PinMatch) -> dict[str, Any]:
    pin = found.pin
    return {
        "part": pin.part,
        "pin": pin.number,
        "symbol": pin.symbol,
        "function": pin.function,
        "role": pin.role,
        "match": found.match,
        "score": round(found.score, 3),
    }


def _describe_shared(found: SharedMatch) -> dict[str, Any]:
    said = found.said
    return {
        "name": said.text,
        "chips": said.chips,
        "first": list(said.first),
        "score": round(found.score, 3),
    }


def _describe_note(found: NoteMatch) -> dict[str, Any]:
    note = found.note
    return {
        "note": note.id,
        "chip": note.chip,
        "at": note.at,
        "kind": note.kind,
        "says": found.says,
        "score": round(found.score, 3),
    }
