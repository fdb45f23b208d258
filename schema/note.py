"""Notes of a shop on a pin: readings of good sets, faults and remedies, cautions.

A note is the set of its revisions, each of which names those it follows by digest. So two shops
that hold some revisions each hold all of them after swapping, in any order: the union of two
sets. A note speaks for the shop that began it: its newest revisions are those by that shop that no
other by it follows; when there are several, the note is in conflict until a revision follows them
all. An edit by another shop is a proposal, until a revision by the note's own shop follows it. A
note that was withdrawn once stays withdrawn, and no shop can withdraw a note that another began.
"""

import hashlib
import re
from collections.abc import Iterable, Iterator
from datetime import date
from functools import cached_property
from typing import Annotated, Final, Literal, Self, get_args

from pydantic import AfterValidator, Field, StringConstraints, model_validator

from .model import Listed, Model, Text, Whole, Word, YesNo
from .quantities.fields import Frequency, PeakToPeak, Resistance, Voltage
from .reading import Seen

NoteKind = Literal["known-good reading", "fault and remedy", "caution", "correction", "remark"]
Confidence = Literal["once", "several times", "always"]
NOTE_KINDS: Final[tuple[str, ...]] = get_args(NoteKind)

UNCOMPARED: Final = "shops whose key was not compared"
"""The voice of all shops together that nobody has compared the key of."""
HANDLE_LOOKS: Final = "small letters, digits and hyphens, such as bench-and-coil"
# Characters that act on a screen instead of being seen: controls (except newline and tab), line
# separators, and marks that turn the text direction around (Unicode Standard Annex 9, table 4).
_ACTS: Final = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")


def _check_day(text: str) -> str:
    """Raise ValueError for a day that the calendar does not have."""
    try:
        date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"'{text}' is not a day; write it as 2026-11-25") from None
    return text


Handle = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$", max_length=40)]
NoteId = Annotated[str, StringConstraints(pattern=r"^[a-z2-7]{16}$")]
Digest = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
Day = Annotated[
    str, StringConstraints(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$"), AfterValidator(_check_day)
]
FileName = Annotated[
    str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]*\.(csv|png|jpg)$", max_length=80)
]


class Readings(Model):
    """The readings at the place of the note."""

    dc: Voltage | None = None
    """DC voltage to ground."""
    vpp: PeakToPeak | None = None
    """Peak-to-peak voltage."""
    frequency: Frequency | None = None
    """Frequency."""
    resistance: Resistance | None = None
    """Resistance to ground, set off."""
    seen: Annotated[tuple[Seen, ...], Listed] = ()
    """Observations without a figure."""

    @model_validator(mode="after")
    def _check_given(self) -> Self:
        """Raise ValueError if no reading is given."""
        if not any(self.__dict__.values()):
            raise ValueError("the readings are empty; give dc, vpp, frequency, resistance or seen")
        return self


class Attachment(Model):
    """A capture or a photograph that belongs to a note; its bytes are a file of their own."""

    name: FileName
    """File name, with its ending: csv, png or jpg."""
    sha256: Digest
    """SHA-256 of the bytes."""
    caption: Word | None = None
    """Subject of the picture or capture."""


class Anchor(Model):
    """The place that a note means, in case the chip file numbers or names it anew."""

    symbol: Word
    """Symbol of the pin; of a part its sort and value, of a node or block its name."""
    function: Text
    """Function of the pin; of a part its ends, of a node or block its id."""
    chip_file: Digest
    """SHA-256 of the chip's document when the note was written."""


class Note(Model):
    """One revision of a note."""

    file_format: Literal["pinfolio note 1"] = "pinfolio note 1"
    """Format of the note."""
    id: NoteId
    """Names the note through all its revisions: sixteen letters drawn at random."""
    follows: Annotated[tuple[Digest, ...], Field(max_length=16), Listed] = ()
    """Digests of the revisions that this one replaces; none for the first."""
    kind: NoteKind
    """Kind of note."""
    shop: Handle
    """Handle of the shop it comes from."""
    author: Handle
    """Handle of who wrote it; no name is asked for."""
    date: Day
    """Day it was written, as year-month-day."""
    confidence: Confidence = "once"
    """How often it was seen so."""
    withdrawn: YesNo = False
    """Yes when the shop takes the note back."""
    chip: Word
    """Part number."""
    at: Word
    """Where: ``pin 17``, a node's or block's id, or the reference of a part."""
    chassis: Word | None = None
    """Type of the set's chassis, not its serial number."""
    set_name: Word | None = None
    """The shop's own name for the set, such as a job number; all its readings are of one set."""
    sets: Whole = 1
    """Number of sets it was seen in."""
    condition: Word | None = None
    """State of the set, one of the chip's conditions."""
    meter: Word | None = None
    """Meter used."""
    probe: Word | None = None
    """Probe used."""
    scope: Word | None = None
    """Oscilloscope used."""
    symptom: Text | None = None
    """Symptom of the set, in the trade's words."""
    readings: Readings | None = None
    """Readings in a good set, or before the repair."""
    part: Word | None = None
    """Reference of the part that had failed."""
    failure: Text | None = None
    """How it had failed."""
    proof: Text | None = None
    """How it was proved that this part had failed; fault finding counts a part only with it."""
    cure: Text | None = None
    """The cure."""
    readings_after: Readings | None = None
    """Readings after the repair."""
    text: Text | None = None
    """Anything else, in Markdown."""
    reason: Text | None = None
    """Why it is right although it is hardly possible: a figure above the absolute maximum."""
    anchor: Anchor | None = None
    """The place it is on, by symbol and function; none in older notes."""
    attachments: Annotated[tuple[Attachment, ...], Field(max_length=8), Listed] = ()
    """Captures and photographs."""

    @model_validator(mode="after")
    def _check_signs(self) -> Self:
        """Raise ValueError for a character that acts on the screen."""
        if not _ACTS.search("".join([text for _, text in _walk_texts(self)])):
            return self
        field, acts = next(
            (f, acts) for f, text in _walk_texts(self) if (acts := _ACTS.search(text))
        )
        sign = f"U+{ord(acts[0]):04X}"
        raise ValueError(f"{field} holds the control character {sign}; remove it")

    @model_validator(mode="after")
    def _check_whole(self) -> Self:
        """Raise ValueError if a field that this kind of note must have is missing."""
        if self.withdrawn:
            return self
        for field in NEEDS[self.kind]:
            if getattr(self, field) is None:
                raise ValueError(f"a note of kind '{self.kind}' needs the field {field}; add it")
        return self

    @cached_property
    def digest(self) -> str:
        """SHA-256 of the revision in its one spelling, by which other revisions name it."""
        return hashlib.sha256(self.document().encode()).hexdigest()

    @cached_property
    def voice(self) -> str:
        """The name under which its shop is counted: its own, or one for several shops."""
        return self.shop

    def count_as(self, voice: str) -> Self:
        """Return the revision with its shop counted as part of ``voice``."""
        counted = self.model_copy()
        counted.__dict__["voice"] = voice
        return counted

    def attribute(self, shop: str) -> Self:
        """Return the revision as by ``shop``, the name here of a shop whose handle another has.

        The digest stays that of the revision under the shop's own handle.
        """
        if shop == self.shop:
            return self
        digest = self.digest
        attributed = self.model_copy(update={"shop": shop})
        attributed.__dict__["digest"] = digest
        return attributed

    def document(self) -> str:
        """Return the revision as JSON in its one spelling: fields in order, defaults left out."""
        return self.model_dump_json(exclude_defaults=True)


# The fields that each kind of note must have.
NEEDS: Final[dict[str, tuple[str, ...]]] = {
    "known-good reading": ("readings", "condition"),
    "fault and remedy": ("symptom", "cure"),
    "caution": ("text",),
    "correction": ("readings", "condition", "text"),
    "remark": ("text",),
}


def _walk_texts(note: Note) -> Iterator[tuple[str, str]]:
    """Yield every text of a note that no pattern restricts, with the name of its field."""
    for field, value in note.__dict__.items():
        if isinstance(value, str):
            yield field, value
    for attachment in note.attachments:
        yield "caption", attachment.caption or ""


def find_newest(revisions: Iterable[Note]) -> tuple[Note, ...]:
    """Return the newest revisions of one note by the shop that began it, by date and digest.

    A note speaks for that shop only; ``find_proposals`` returns the edits of other shops. More
    than one newest revision is a conflict. A shop that withdraws takes back all its revisions,
    before and after; when it began the note, the withdrawn revision alone is left. While the
    first revision is unknown, every shop counts as the one that began the note.
    """
    revisions = tuple(revisions)
    if len(revisions) == 1:  # as most notes have; their digest need not be computed
        return revisions
    known = {note.digest: note for note in revisions}
    authors = _find_authors(known.values())
    remaining = _select_remaining(known.values())
    newest = [
        note
        for shop in authors
        for note in _select_newest(remaining, shop, _collect_followed(remaining, {shop}, known))
    ]
    # The shop that began the note has withdrawn it.
    if not newest:
        return _sort_by_date(note for note in known.values() if note.withdrawn)[:1]
    return _sort_by_date(newest)


def find_proposals(revisions: Iterable[Note]) -> tuple[Note, ...]:
    """Return the edits of one note by other shops that its own shop has not dealt with.

    The note's own shop deals with an edit by a revision that follows it. They are in the order of
    date and digest; a withdrawn note has none.
    """
    known = {note.digest: note for note in revisions}
    authors = _find_authors(known.values())
    remaining = _select_remaining(known.values())
    if not any(note.shop in authors for note in remaining):
        return ()
    others = {note.shop for note in remaining} - authors
    return _sort_by_date(
        note
        for shop in others
        for note in _select_newest(
            remaining, shop, _collect_followed(remaining, authors | {shop}, known)
        )
    )


def _find_authors(notes: Iterable[Note]) -> set[str]:
    """Return the shops that began a note: one, unless somebody copied the note's id."""
    notes = list(notes)
    return {note.shop for note in notes if not note.follows} or {note.shop for note in notes}


def _select_remaining(notes: Iterable[Note]) -> list[Note]:
    """Return the revisions of the shops that have not withdrawn theirs."""
    notes = list(notes)
    gone = {note.shop for note in notes if note.withdrawn}
    return [note for note in notes if note.shop not in gone]


def _select_newest(notes: Iterable[Note], shop: str, followed: set[str]) -> list[Note]:
    return [note for note in notes if note.shop == shop and note.digest not in followed]


def _collect_followed(notes: Iterable[Note], shops: set[str], known: dict[str, Note]) -> set[str]:
    """Return the digests that revisions of these shops follow, directly or through others."""
    followed: set[str] = set()
    waiting = [digest for note in notes if note.shop in shops for digest in note.follows]
    while waiting:
        digest = waiting.pop()
        if digest not in followed:
            followed.add(digest)
            waiting += known[digest].follows if digest in known else ()
    return followed


def _sort_by_date(notes: Iterable[Note]) -> tuple[Note, ...]:
    return tuple(sorted(notes, key=lambda note: (note.date, note.digest)))
