"""What a shop learns at a pin and keeps: readings of good sets, faults and remedies, cautions.

A note is the set of its revisions, each of which names those it follows by digest. So two shops
that hold some revisions each hold all of them after swapping, in whatever order: the union of two
sets. The newest are those that no other follows; when there are several, the note is in conflict
until a revision follows them all. A note that was withdrawn once stays withdrawn.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from typing import Annotated, Final, Literal, get_args

from pydantic import StringConstraints, model_validator

from .model import Listed, Model, Text, Whole, Word, YesNo
from .quantity import Frequency, PeakToPeak, Resistance, Voltage

NoteKind = Literal["known-good reading", "fault and remedy", "caution", "correction", "remark"]
Confidence = Literal["once", "several times", "always"]
NOTE_KINDS: Final[tuple[str, ...]] = get_args(NoteKind)

Handle = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$", max_length=40)]
NoteId = Annotated[str, StringConstraints(pattern=r"^[a-z2-7]{16}$")]
Digest = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
Day = Annotated[str, StringConstraints(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$")]
Seen = Literal["unstable", "distorted", "missing", "clipped", "hum"]
FileName = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]*\.(csv|png|jpg)$")]


class Readings(Model):
    """What was read at the place of the note."""

    dc: Voltage | None = None
    """DC voltage to ground."""
    vpp: PeakToPeak | None = None
    """Peak-to-peak voltage."""
    frequency: Frequency | None = None
    """Frequency."""
    resistance: Resistance | None = None
    """Resistance to ground, set off."""
    seen: Annotated[tuple[Seen, ...], Listed] = ()
    """What was seen without a figure."""

    @model_validator(mode="after")
    def _check_given(self) -> Readings:
        if self == Readings.model_construct():
            raise ValueError("expected at least one of dc, vpp, frequency, resistance, seen")
        return self


class Attachment(Model):
    """A capture or a photograph that belongs to a note; its bytes are kept beside."""

    name: FileName
    """File name, with its ending: csv, png or jpg."""
    sha256: Digest
    """SHA-256 of the bytes."""
    caption: Word | None = None
    """What it shows."""


class Note(Model):
    """One revision of a note."""

    file_format: Literal["pinfolio note 1"] = "pinfolio note 1"
    """Format of the note."""
    id: NoteId
    """Names the note through all its revisions: sixteen letters drawn at random."""
    follows: Annotated[tuple[Digest, ...], Listed] = ()
    """Digests of the revisions that this one replaces; none for the first."""
    kind: NoteKind
    """What sort of note it is."""
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
    """What the set did, in the trade's words."""
    readings: Readings | None = None
    """What was read: in a good set, or before the repair."""
    part: Word | None = None
    """Reference of the part that had failed."""
    failure: Text | None = None
    """How it had failed."""
    cure: Text | None = None
    """What cured it."""
    readings_after: Readings | None = None
    """What was read after the repair."""
    text: Text | None = None
    """Anything else, in Markdown."""
    attachments: Annotated[tuple[Attachment, ...], Listed] = ()
    """Captures and photographs."""

    @model_validator(mode="after")
    def _check_whole(self) -> Note:
        if self.withdrawn:
            return self
        for field in _NEEDS[self.kind]:
            if getattr(self, field) is None:
                raise ValueError(f"found no {field}, expected one in a {self.kind}")
        return self

    @property
    def digest(self) -> str:
        """SHA-256 of the revision in its one spelling: what others name it by."""
        return hashlib.sha256(self.document().encode()).hexdigest()

    def document(self) -> str:
        """The revision as JSON in one spelling: fields in order, defaults left out."""
        return self.model_dump_json(exclude_defaults=True)


# What each sort of note is nothing without.
_NEEDS: Final[dict[str, tuple[str, ...]]] = {
    "known-good reading": ("readings", "condition"),
    "fault and remedy": ("symptom", "cure"),
    "caution": ("text",),
    "correction": ("readings", "condition", "text"),
    "remark": ("text",),
}


def newest(revisions: Iterable[Note]) -> tuple[Note, ...]:
    """The revisions of one note that no other follows, in the order of date and digest.

    More than one is a conflict. A withdrawn revision is the only one left, whatever follows it.
    """
    known = {note.digest: note for note in revisions}
    withdrawn = [digest for digest, note in known.items() if note.withdrawn]
    if withdrawn:
        return (known[min(withdrawn, key=lambda digest: (known[digest].date, digest))],)
    followed = {digest for note in known.values() for digest in note.follows}
    heads = [digest for digest in known if digest not in followed]
    return tuple(known[d] for d in sorted(heads, key=lambda d: (known[d].date, d)))
