"""Revise a note: find it, choose the revision to start from, withdraw it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from ...schema.errors import Unknown
from ...schema.note import Note, find_newest, find_proposals
from ...schema.text import part_key

_SHORTEST: Final = 4  # characters of a note's id
_MOST_FOLLOWED: Final = 16  # as many as a note may name; the next revision follows the others
_MOST_LISTED: Final = 5  # ids in an error
_DIGEST_SHOWN: Final = 8  # characters of a revision's digest, enough to tell a few apart


class NoSuchNote(Unknown):
    """The id fits no note, or several."""


class NotRevisable(Unknown):
    """The shop cannot change the note in this way; the message names the alternative."""


@dataclass(frozen=True)
class StoredNote:
    """A note as the shop stores it: all of its revisions."""

    revisions: tuple[Note, ...]

    @property
    def heads(self) -> tuple[Note, ...]:
        """The newest revisions by the note's own shop; more than one is a conflict."""
        return find_newest(self.revisions)

    @property
    def proposals(self) -> tuple[Note, ...]:
        """Edits by other shops that the note's own shop has neither taken nor dismissed."""
        return find_proposals(self.revisions)

    @property
    def follows(self) -> tuple[str, ...]:
        """Digests of the revisions that a new one replaces."""
        return tuple(note.digest for note in self.heads[:_MOST_FOLLOWED])

    def list_followed(self, shop: str, *, is_choice: bool) -> tuple[str, ...]:
        """Return the digests that a new revision by ``shop`` replaces.

        Proposals of other shops are replaced only by choice, so that no edit dismisses one unseen.
        """
        replaced = [
            note for note in self.proposals if note.shop == shop or (is_choice and self.is_by(shop))
        ]
        return tuple(note.digest for note in (*self.heads, *replaced)[:_MOST_FOLLOWED])

    def is_by(self, shop: str) -> bool:
        """Return whether the note is this shop's own, so that its revisions count."""
        return any(note.shop == shop for note in self.heads)

    @property
    def is_withdrawn(self) -> bool:
        """Whether the note was withdrawn."""
        return self.heads[0].withdrawn


def collect_notes(revisions: Iterable[Note]) -> list[StoredNote]:
    """Return revisions grouped by their notes, in the order of the notes' ids."""
    revisions_of_note: dict[str, list[Note]] = {}
    for note in revisions:
        revisions_of_note.setdefault(note.id, []).append(note)
    return [StoredNote(tuple(revisions_of_note[name])) for name in sorted(revisions_of_note)]


def find_note(revisions: Iterable[Note], name: str) -> StoredNote:
    """Return the note with this id, or the only one whose id begins so. Raises NoSuchNote."""
    if len(name) < _SHORTEST:
        raise NoSuchNote(
            f"{name!r} is too short for a note's id; give at least {_SHORTEST} letters"
        )
    matches = [note for note in collect_notes(revisions) if note.revisions[0].id.startswith(name)]
    if len(matches) == 1:
        return matches[0]
    if not matches:
        raise NoSuchNote(f"no note {name!r} here; 'pinfolio note list' shows those there are")
    ids = ", ".join(note.revisions[0].id for note in matches[:_MOST_LISTED])
    raise NoSuchNote(f"several notes begin with {name!r}: {ids}")


def choose_base_revision(stored: StoredNote, shop: str, keep: str | None = None) -> Note:
    """Return the revision to start a new one from; ``keep`` begins the digest of the one to keep.

    Raises NotRevisable for a withdrawn note, and for a conflict that ``keep`` does not decide.
    """
    name = stored.revisions[0].id
    is_withdrawn_here = any(note.withdrawn and note.shop == shop for note in stored.revisions)
    if stored.is_withdrawn or is_withdrawn_here:
        raise NotRevisable(f"the note {name} was withdrawn and stays so; add a new one")
    # Without a choice a shop goes on from its own proposal, if it has made one.
    own_proposals = tuple(note for note in stored.proposals if note.shop == shop)
    candidates = (*stored.heads, *stored.proposals) if keep else own_proposals or stored.heads
    matches = [note for note in candidates if note.digest.startswith(keep or "")]
    if len(matches) == 1:
        return matches[0]
    choices = ", ".join(f"{note.digest[:_DIGEST_SHOWN]} by {note.shop}" for note in candidates)
    if keep and not matches:
        raise NotRevisable(f"no newest revision {keep!r} of the note {name}; there is {choices}")
    raise NotRevisable(f"the note {name} is in conflict; choose by --keep: {choices}")


def build_withdrawal(stored: StoredNote, shop: str, author: str, day: str) -> Note:
    """Return the revision that withdraws a note; it repeats none of the note's text.

    Raises NotRevisable for a withdrawn note, and for one in which the shop wrote nothing.
    """
    own_revisions = _select_own(stored.revisions, shop)
    if any(note.withdrawn for note in own_revisions):
        raise NotRevisable(f"the note {own_revisions[0].id} is withdrawn already")
    if not own_revisions:
        author_shop = stored.revisions[0].shop
        mute = f"mute them with 'pinfolio shops mute {author_shop}'"
        raise NotRevisable(
            f"the note {stored.revisions[0].id} is by {author_shop}"
            f"; ask them, {mute}, or add a note of your own"
        )
    last = own_revisions[-1]
    return Note(
        id=last.id, follows=stored.follows, kind=last.kind, shop=shop, author=author, date=day,
        withdrawn=True, chip=last.chip, at=last.at,
    )  # fmt: skip


def _select_own(revisions: Sequence[Note], shop: str) -> list[Note]:
    """Return the shop's own revisions, oldest first."""
    return sorted((n for n in revisions if n.shop == shop), key=lambda n: (n.date, n.digest))


def filter_notes(
    notes: Iterable[StoredNote],
    chip: str | None = None,
    at: str | None = None,
    kind: str | None = None,
    by: str | None = None,
    conflicts: bool = False,
) -> list[StoredNote]:
    """Return the notes that fit and are not withdrawn, by chip and place, the newest first.

    ``at`` is a pin's number or a place as notes write it; ``by`` a shop that wrote a revision.
    """
    place = f"pin {at}" if at and at.isdecimal() else at

    def fits(stored: StoredNote) -> bool:
        newest = stored.heads[0]
        return (
            not stored.is_withdrawn
            and (chip is None or part_key(newest.chip) == part_key(chip))
            and (place is None or newest.at.casefold() == place.casefold())
            and (kind is None or newest.kind == kind)
            and (by is None or any(note.shop == by for note in stored.revisions))
            and (not conflicts or len(stored.heads) > 1 or bool(stored.proposals))
        )

    newest_first = sorted(filter(fits, notes), key=lambda note: note.heads[0].date, reverse=True)
    # Sorting keeps the order of equals: at one place the newest note stays first.
    return sorted(
        newest_first, key=lambda note: (note.heads[0].chip, _split_pin_number(note.heads[0].at))
    )


def _split_pin_number(place: str) -> tuple[str, int]:
    """Return a place as a sort key, so that pin 9 precedes pin 10."""
    word, _, digits = place.rpartition(" ")
    return (word, int(digits)) if digits.isdecimal() else (place, 0)
