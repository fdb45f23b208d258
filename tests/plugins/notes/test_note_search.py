"""Notes by their words, and cases like the set on the bench, from the demo's two shops."""

from __future__ import annotations

from pathlib import Path

import pytest
from pinfolio.loaders import Folio, open_folio
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.plugins.notes.note_search import find_notes
from pinfolio.schema import Chip
from pinfolio.schema.note import Note


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


@pytest.mark.parametrize("text", ["rolls", "", "the rolls"])
def test_pages_hold_every_note_once(jungle: Chip, tmp_path: Path, text: str) -> None:
    fields = {
        "kind": "fault and remedy", "shop": "bench", "author": "bench", "date": "2026-01-02",
        "chip": "TQZ5752", "at": "pin 13", "symptom": "Picture rolls", "cure": "Part changed.",
    }  # fmt: skip
    names = [f"{number:016b}".replace("0", "a").replace("1", "b") for number in range(120)]
    notes = [Note.model_validate({"id": name, **fields}) for name in names]
    build_from_chips([jungle], tmp_path / "folio.db", notes=notes)
    with open_folio(tmp_path / "folio.db") as folio:
        answers = [find_notes(folio, text, page=number) for number in (1, 2, 3)]
        beyond = find_notes(folio, text, page=9)
    assert [len(answer.notes) for answer in answers] == [50, 50, 20]
    assert sorted(view.note.id for answer in answers for view in answer.notes) == sorted(names)
    assert (beyond.page, beyond.pages, beyond.total) == (3, 3, 120)
    assert beyond.document()["notes"] == answers[2].document()["notes"]
