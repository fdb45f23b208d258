"""A note in words: provenance, circumstances, readings, one sentence for lists."""

from __future__ import annotations

from pinfolio.plugins.notes.note_view import NoteView, RevisionView, describe_readings
from pinfolio.schema.note import Note, Readings

REMEDY = Note.model_validate(
    {
        "id": "a" * 16, "kind": "fault and remedy", "shop": "our-shop", "author": "tester",
        "date": "2026-01-02", "chip": "QZ1", "at": "pin 13", "sets": 3,
        "confidence": "several times",
        "chassis": "Morvane P14", "condition": "no signal", "meter": "digital meter",
        "symptom": "No colour.", "part": "C418", "failure": "leaky", "cure": "New part.",
        "readings": {"dc": "0.2 V", "seen": ["hum"]}, "readings_after": {"dc": "3.1 V"},
        "text": "Look\n here  first.",
        "attachments": [{"name": "scope.csv", "sha256": "0" * 64, "caption": "before"}],
    }
)  # fmt: skip


def test_provenance_and_circumstances() -> None:
    view = RevisionView(REMEDY)
    assert view.provenance == "our-shop, 3 sets, seen several times, 2026-01-02"
    assert view.circumstances == "Morvane P14, no signal, digital meter"
    one_set = RevisionView(REMEDY.model_copy(update={"sets": 1}))
    assert "1 set," in one_set.provenance


def test_a_remedy_tells_before_and_after() -> None:
    assert RevisionView(REMEDY).lines == (
        ("Symptom", "No colour."),
        ("Read before", "DC 0.2 V, hum"),
        ("Part", "C418"),
        ("Failure", "leaky"),
        ("Cure", "New part."),
        ("After", "DC 3.1 V"),
    )


def test_a_sentence_holds_all_of_it() -> None:
    assert RevisionView(REMEDY).sentence == (
        "fault and remedy; symptom: No colour; read before: DC 0.2 V, hum; part: C418; failure:"
        " leaky; cure: New part; after: DC 3.1 V; Look here first.; attached: scope.csv (before)"
        " (our-shop, 3 sets, seen several times, 2026-01-02)"
    )


def test_readings_name_what_is_not_plain_from_the_unit() -> None:
    readings = {"dc": "3.1 V", "vpp": "1 Vpp", "frequency": "15.625 kHz", "resistance": "4.7 kΩ"}
    words = describe_readings(Readings.model_validate(readings))
    assert words == "DC 3.1 V, 1 Vpp, 15.625 kHz, to ground 4.7 kΩ"
    assert describe_readings(None) == ""


def test_a_note_on_a_part_has_no_pin() -> None:
    assert NoteView((RevisionView(REMEDY),)).pin == 13
    on_part = REMEDY.model_copy(update={"at": "C418"})
    assert NoteView((RevisionView(on_part),)).pin is None
