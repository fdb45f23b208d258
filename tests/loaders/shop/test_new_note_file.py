"""A note file made by a page: the fields it holds, and the contents it must not carry."""

from __future__ import annotations

from pathlib import Path

import pytest
from pinfolio.loaders.shop.new_note_file import load_new_note, read_new_note
from pinfolio.loaders.shop.note_files import NoteFileError

SIGNED = {"id": "a" * 16, "shop": "bench-a", "author": "anna", "date": "2026-11-27"}
REMARK = "file_format: pinfolio note 1\nkind: remark\nchip: QZ1\nat: pin 1\ntext: Warm.\n"


def test_shop_author_and_day_are_put_in(tmp_path: Path) -> None:
    path = tmp_path / "x.note.yaml"
    path.write_text(REMARK)
    note = load_new_note(path, SIGNED)
    assert (note.shop, note.author, note.date) == ("bench-a", "anna", "2026-11-27")
    assert note.text == "Warm."


def test_a_day_in_the_file_goes_before_today() -> None:
    assert read_new_note(f"{REMARK}date: 2026-10-01\n".encode(), "x", SIGNED).date == "2026-10-01"


@pytest.mark.parametrize(
    "line", ["id: bbbbbbbbbbbbbbbb", "shop: another", "withdrawn: yes", "follows: []"]
)
def test_a_note_of_another_hand_is_refused_with_its_line(line: str) -> None:
    with pytest.raises(NoteFileError, match=r"x:6:1.*come by merging"):
        read_new_note(f"{REMARK}{line}\n".encode(), "x", SIGNED)


def test_a_fault_has_its_line() -> None:
    with pytest.raises(NoteFileError, match=r"x:2:"):
        read_new_note(REMARK.replace("remark", "remarc").encode(), "x", SIGNED)


def test_a_list_and_a_missing_file_are_refused(tmp_path: Path) -> None:
    with pytest.raises(NoteFileError):
        read_new_note(b"- one\n", "x", SIGNED)
    with pytest.raises(NoteFileError, match="readable note"):
        load_new_note(tmp_path / "none.yaml", SIGNED)
