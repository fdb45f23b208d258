"""Notes as a table: as they read now, without those withdrawn."""

from __future__ import annotations

from pathlib import Path

import pytest
from pinfolio.plugins.notes.note_export import build_rows, is_note_table, is_reject_table
from pinfolio.plugins.notes.revisions import StoredNote, collect_notes
from pinfolio.schema.note import Note

FIELDS = {
    "id": "a" * 16, "kind": "remark", "shop": "bench-a", "author": "anna", "date": "2026-01-02",
    "chip": "TQZ5752", "at": "pin 3", "text": "Warm.",
}  # fmt: skip


def make_note(**fields: object) -> Note:
    return Note.model_validate(FIELDS | fields)


def test_a_row_has_the_fields_that_are_filled() -> None:
    table = build_rows(collect_notes([make_note()]))
    assert table.headings == ("chip", "at", "kind", "text", "author", "date")
    assert table.rows[0]["text"] == "Warm."


def test_the_newest_revision_counts_and_no_withdrawn_note() -> None:
    first = make_note()
    edit = make_note(text="Cold.", follows=[first.digest])
    gone = make_note(id="b" * 16, withdrawn=True)
    rows = build_rows(collect_notes([first, edit, gone])).rows
    assert [row["text"] for row in rows] == ["Cold."]


def test_conflicts_and_attachments_are_counted() -> None:
    picture = {"name": "a.png", "sha256": "0" * 64}
    sides = StoredNote((make_note(attachments=[picture]), make_note(text="Cold.")))
    table = build_rows([sides])
    assert (table.conflicts, len(table.rows)) == (1, 1)
    assert table.attachments in (0, 1)  # of the side that is in the table


@pytest.mark.parametrize(
    ("text", "is_notes", "is_rejects"),
    [
        ("\ufeffchip,at,kind\r\n", True, False),
        ('{"chip": "TQZ5752"}\n', True, False),
        ("\ufeffline,not taken because,IC\r\n", False, True),
        ("part: TQZ5752\n", False, False),
    ],
)
def test_only_a_table_of_its_kind_is_replaced(
    tmp_path: Path, text: str, is_notes: bool, is_rejects: bool
) -> None:
    path = tmp_path / "t"
    path.write_text(text, encoding="utf-8")
    assert (is_note_table(path), is_reject_table(path)) == (is_notes, is_rejects)
