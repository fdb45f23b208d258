"""Notes by their words, and cases like the set on the bench, from the demo's two shops."""

from __future__ import annotations

from pinfolio.loaders import Folio
from pinfolio.plugins.notes.note_search import find_notes


def test_notes_that_hold_the_words_come_with_their_chips(demo: Folio) -> None:
    answer = find_notes(demo, "no colour")
    symptoms = [view.note.symptom or "" for view in answer.notes]
    assert any("o colour" in symptom for symptom in symptoms)
    assert {view.note.chip for view in answer.notes} <= set(answer.parts)


def test_words_that_no_note_holds_find_nothing(demo: Folio) -> None:
    answer = find_notes(demo, "quernlow xyzzy")
    assert (answer.notes, answer.similar_cases, answer.parts) == ((), (), {})


def test_the_document_names_every_note_found(demo: Folio) -> None:
    answer = find_notes(demo, "picture rolls")
    document = answer.document()
    assert document["query"] == "picture rolls"
    assert len(document["notes"]) == len(answer.notes) > 0
