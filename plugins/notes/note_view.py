"""Views of notes: the newest revisions of a note together, readings and text in words."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

from ...schema.note import UNCOMPARED, Note, Readings


class RevisionView(NamedTuple):
    """One revision with its fields in words."""

    note: Note

    @property
    def provenance(self) -> str:
        """Shop, number of sets, confidence and date."""
        note = self.note
        sets = f"{note.sets} set{'s' if note.sets > 1 else ''}"
        words = [note.shop, sets, f"seen {note.confidence}", note.date]
        return ", ".join(words)

    @property
    def reserve(self) -> str:
        """Warning beside the words of a shop whose key nobody compared; else empty."""
        return "Its key was not compared." if self.note.voice == UNCOMPARED else ""

    @property
    def circumstances(self) -> str:
        """Chassis, condition and instruments of the readings."""
        note = self.note
        parts = (note.chassis, note.set_name, note.condition, note.meter, note.probe, note.scope)
        return ", ".join(part for part in parts if part)

    @property
    def lines(self) -> tuple[tuple[str, str], ...]:
        """Name and value of each field that is filled, apart from the free text."""
        note = self.note
        # Only a repair has a before and an after.
        is_repair = note.kind == "fault and remedy"
        fields = (
            ("Symptom", note.symptom),
            ("Read before" if is_repair else "Read", describe_readings(note.readings)),
            ("Part", note.part),
            ("Failure", note.failure),
            ("Proved", note.proof),
            ("Cure", note.cure),
            ("After" if is_repair else "Read", describe_readings(note.readings_after)),
            ("Right because", note.reason),
        )
        return tuple((name, value) for name, value in fields if value)

    @property
    def attachment_names(self) -> tuple[str, ...]:
        """Name and caption of each attachment."""
        named = self.note.attachments
        return tuple(f"{a.name} ({a.caption})" if a.caption else a.name for a in named)

    @property
    def sentence(self) -> str:
        """The whole revision in one line, for lists."""
        pieces = [f"{name.lower()}: {value.rstrip('.')}" for name, value in self.lines]
        pieces += [" ".join(self.note.text.split())] if self.note.text else []
        names = ", ".join(self.attachment_names)
        pieces += [f"attached: {names}"] if names else []
        return f"{self.note.kind}; {'; '.join(pieces)} ({self.provenance})"

    def document(self) -> dict[str, Any]:
        """Return the revision and its digest as plain data."""
        fields = self.note.model_dump(mode="json", exclude_defaults=True)
        return {"digest": self.note.digest, **fields}


class NoteView(NamedTuple):
    """One note: its newest revision, or all newest ones while they conflict."""

    revisions: tuple[RevisionView, ...]
    proposals: tuple[RevisionView, ...] = ()
    """Edits by other shops, shown beside the note until its own shop takes them."""

    @property
    def note(self) -> Note:
        """The first revision, for the fields that all of them share."""
        return self.revisions[0].note

    @property
    def in_conflict(self) -> bool:
        """Whether there are several newest revisions."""
        return len(self.revisions) > 1

    @property
    def pin(self) -> int | None:
        """Number of the pin it is on; None for another place."""
        digits = self.note.at.removeprefix("pin ")
        return int(digits) if digits != self.note.at and digits.isdecimal() else None

    def document(self) -> dict[str, Any]:
        """Return the first revision as plain data, and all of them while they conflict."""
        documents = [each.document() for each in self.revisions]
        proposals = [each.document() for each in self.proposals]
        conflict = documents if self.in_conflict else []
        shown = {**documents[0], "in_conflict": conflict}
        return shown | ({"proposals": proposals} if proposals else {})


def group_revisions(notes: Iterable[Note], proposals: Iterable[Note] = ()) -> tuple[NoteView, ...]:
    """Return notes in the order given, each with its newest revisions and the proposals to it."""
    views_of_note: dict[str, list[RevisionView]] = {}
    for note in notes:
        views_of_note.setdefault(note.id, []).append(RevisionView(note))
    proposals_to: dict[str, list[RevisionView]] = {}
    for note in proposals:
        proposals_to.setdefault(note.id, []).append(RevisionView(note))
    return tuple(
        NoteView(tuple(revisions), tuple(proposals_to.get(name, ())))
        for name, revisions in views_of_note.items()
    )


def describe_readings(readings: Readings | None) -> str:
    """Return readings in one line: ``DC 3.1 V, 0.98 Vpp``."""
    if readings is None:
        return ""
    figures = (
        ("DC ", readings.dc),
        ("", readings.vpp),
        ("", readings.frequency),
        ("to ground ", readings.resistance),
    )
    pieces = [f"{name}{figure}" for name, figure in figures if figure is not None]
    return ", ".join([*pieces, *readings.seen])
