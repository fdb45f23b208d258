"""Another revision of a note: which note is meant, what it follows, what it keeps."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from ...schema.errors import Unknown
from ...schema.note import Note, find_newest
from ...schema.text import part_key

_SHORTEST: Final = 4
_MOST_FOLLOWED: Final = 16  # as many as a note may name; editing again follows the others


class NoSuchNote(Unknown):
    """No note, or more than one, is meant."""


class NotRevisable(Unknown):
    """A note that this shop cannot change so; the message says why and what can be done."""


@dataclass(frozen=True)
class StoredNote:
    """A note as the shop holds it: all of its revisions."""

    revisions: tuple[Note, ...]

    @property
    def heads(self) -> tuple[Note, ...]:
        """The newest revisions; more than one is a conflict."""
        return find_newest(self.revisions)

    @property
    def follows(self) -> tuple[str, ...]:
        """What a new revision replaces."""
        return tuple(note.digest for note in self.heads[:_MOST_FOLLOWED])

    @property
    def is_withdrawn(self) -> bool:
        """Whether it was taken back."""
        return self.heads[0].withdrawn


def collect_notes(revisions: Iterable[Note]) -> list[StoredNote]:
    """Revisions taken together by the notes they belong to, in the order of their ids."""
    found: dict[str, list[Note]] = {}
    for note in revisions:
        found.setdefault(note.id, []).append(note)
    return [StoredNote(tuple(found[name])) for name in sorted(found)]


def find_note(revisions: Iterable[Note], name: str) -> StoredNote:
    """The note with this id, or whose id alone begins so; raises NoSuchNote."""
    if len(name) < _SHORTEST:
        raise NoSuchNote(f"found {name!r}, expected at least {_SHORTEST} letters of a note's id")
    fitting = [note for note in collect_notes(revisions) if note.revisions[0].id.startswith(name)]
    if len(fitting) == 1:
        return fitting[0]
    if not fitting:
        raise NoSuchNote(f"no note {name!r} here; 'pinfolio note list' shows those there are")
    ids = ", ".join(note.revisions[0].id for note in fitting[:5])
    raise NoSuchNote(f"several notes begin with {name!r}: {ids}")


def choose_base_revision(kept: StoredNote, shop: str, keep: str | None = None) -> Note:
    """The revision that a new one starts from; ``keep`` begins the digest of the one chosen.

    Raises NotToBeRevised.
    """
    name = kept.revisions[0].id
    if kept.is_withdrawn or any(n.withdrawn and n.shop == shop for n in kept.revisions):
        raise NotRevisable(f"the note {name} was withdrawn and stays so; add a new one")
    chosen = [note for note in kept.heads if note.digest.startswith(keep or "")]
    if len(chosen) == 1:
        return chosen[0]
    choices = ", ".join(f"{note.digest[:8]} by {note.shop}" for note in kept.heads)
    if keep and not chosen:
        raise NotRevisable(f"no newest revision {keep!r} of the note {name}; there is {choices}")
    raise NotRevisable(f"the note {name} is in conflict; choose by --keep: {choices}")


def build_withdrawal(kept: StoredNote, shop: str, author: str, day: str) -> Note:
    """The revision that takes a note back; it says nothing of what the note said.

    Raises NotToBeRevised for a note in which the shop wrote nothing.
    """
    own = _select_own(kept.revisions, shop)
    if any(note.withdrawn for note in own):
        raise NotRevisable(f"the note {own[0].id} is withdrawn already")
    if not own:
        of = kept.revisions[0].shop
        hint = f"ask them, mute them with 'pinfolio shops mute {of}', or add a note of your own"
        raise NotRevisable(f"the note {kept.revisions[0].id} is by {of}; {hint}")
    last = own[-1]
    return Note(
        id=last.id, follows=kept.follows, kind=last.kind, shop=shop, author=author, date=day,
        withdrawn=True, chip=last.chip, at=last.at,
    )  # fmt: skip


def _select_own(revisions: Sequence[Note], shop: str) -> list[Note]:
    return sorted((n for n in revisions if n.shop == shop), key=lambda n: (n.date, n.digest))


def filter_notes(
    notes: Iterable[StoredNote],
    chip: str | None = None,
    at: str | None = None,
    kind: str | None = None,
    by: str | None = None,
    conflicts: bool = False,
) -> list[StoredNote]:
    """The notes that were not taken back and fit, by chip and place, the newest first.

    ``at`` is a pin's number or a place as notes write it; ``by`` a shop with a hand in the note.
    """
    place = f"pin {at}" if at and at.isdecimal() else at
    found = [
        kept
        for kept in notes
        if not kept.is_withdrawn
        and (chip is None or part_key(kept.heads[0].chip) == part_key(chip))
        and (place is None or kept.heads[0].at.casefold() == place.casefold())
        and (kind is None or kept.heads[0].kind == kind)
        and (by is None or any(note.shop == by for note in kept.revisions))
        and (not conflicts or len(kept.heads) > 1)
    ]
    found.sort(key=lambda kept: kept.heads[0].date, reverse=True)
    return sorted(found, key=lambda kept: (kept.heads[0].chip, _split_pin_number(kept.heads[0].at)))


def _split_pin_number(place: str) -> tuple[str, int]:
    """Pin 9 goes before pin 10."""
    word, _, digits = place.rpartition(" ")
    return (word, int(digits)) if digits.isdecimal() else (place, 0)
