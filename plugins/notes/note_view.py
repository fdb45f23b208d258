"""Notes as they are shown: the newest revisions of one together, its readings and text in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from ...schema.note import Note, Readings


@dataclass(frozen=True)
class RevisionView:
    """One revision, its parts in words."""

    note: Note

    @property
    def behind(self) -> str:
        """Who saw it, in how many sets, how surely and when."""
        note = self.note
        sets = f"{note.sets} set{'s' if note.sets > 1 else ''}"
        words = [note.shop, sets, f"seen {note.confidence}", note.date]
        return ", ".join(words)

    @property
    def taken(self) -> str:
        """In which set and state, and with what, it was read."""
        note = self.note
        parts = (note.chassis, note.condition, note.meter, note.probe, note.scope)
        return ", ".join(part for part in parts if part)

    @property
    def lines(self) -> tuple[tuple[str, str], ...]:
        """What it says apart from its text, each with its name."""
        note = self.note
        after = "After" if note.kind == "fault and remedy" else "Read"
        named = (
            ("Symptom", note.symptom),
            (
                "Read" if note.kind != "fault and remedy" else "Read before",
                describe_readings(note.readings),
            ),
            ("Part", note.part),
            ("Failure", note.failure),
            ("Cure", note.cure),
            (after, describe_readings(note.readings_after)),
        )
        return tuple((name, value) for name, value in named if value)

    @property
    def attached(self) -> tuple[str, ...]:
        """What is attached, each by its name and what it shows."""
        named = self.note.attachments
        return tuple(f"{a.name} ({a.caption})" if a.caption else a.name for a in named)

    @property
    def sentence(self) -> str:
        """All of it in a line, for lists."""
        said = [f"{name.lower()}: {value.rstrip('.')}" for name, value in self.lines]
        said += [" ".join(self.note.text.split())] if self.note.text else []
        said += [f"attached: {', '.join(self.attached)}"] if self.attached else []
        return f"{self.note.kind}; {'; '.join(said)} ({self.behind})"


@dataclass(frozen=True)
class NoteView:
    """One note: its newest revision, or those that are in conflict, side by side."""

    revisions: tuple[RevisionView, ...]

    @property
    def note(self) -> Note:
        """The first revision, which tells what they all are about."""
        return self.revisions[0].note

    @property
    def in_conflict(self) -> bool:
        """True while nobody has chosen between several revisions."""
        return len(self.revisions) > 1

    @property
    def pin(self) -> int | None:
        """Number of the pin it hangs on, if it hangs on one."""
        digits = self.note.at.removeprefix("pin ")
        return int(digits) if digits != self.note.at and digits.isdecimal() else None

    def document(self) -> dict[str, Any]:
        """As plain data: the first revision, and all of them while they are in conflict."""
        documents = [
            {"digest": each.note.digest, **each.note.model_dump(mode="json", exclude_defaults=True)}
            for each in self.revisions
        ]
        return {**documents[0], "in_conflict": documents if self.in_conflict else []}


def group_revisions(notes: Iterable[Note]) -> tuple[NoteView, ...]:
    """Notes in the order they come, each with all of its revisions among them."""
    found: dict[str, list[RevisionView]] = {}
    for note in notes:
        found.setdefault(note.id, []).append(RevisionView(note))
    return tuple(NoteView(tuple(revisions)) for revisions in found.values())


def describe_readings(readings: Readings | None) -> str:
    """Readings in a line: ``DC 3.1 V, 0.98 Vpp``."""
    if readings is None:
        return ""
    figures = (
        ("DC ", readings.dc),
        ("", readings.vpp),
        ("", readings.frequency),
        ("to ground ", readings.resistance),
    )
    said = [f"{name}{figure}" for name, figure in figures if figure is not None]
    return ", ".join([*said, *readings.seen])
