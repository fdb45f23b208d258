"""Notes as files: written once, read again as they were, every fault with its line."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pinfolio.loaders.errors import Fault
from pinfolio.loaders.shop.note_files import (
    NoteFileError,
    add_note,
    draw_note_id,
    format_note,
    load_all_notes,
    load_own_notes,
    locate_attachment,
    read_note,
)
from pinfolio.loaders.shop.note_lines import LONGEST_LINE, NoteLinesError, format_lines, read_lines
from pinfolio.loaders.shop.shop_folder import Shop, ShopError, init_shop
from pinfolio.schema.note import Note

NOTE = """\
file_format: pinfolio note 1
id: abcdefgh22334455
kind: fault and remedy
shop: bench-a
author: anna
date: 2026-11-25
chip: QZ1000
at: pin 13
chassis: CH 12
symptom: No sync, picture rolls and tears.
readings: {dc: 0.4 V, seen: [missing]}
part: C712
failure: dried out
cure: Replaced by 1 µF, 105 °C.
"""


def make_note(text: str = "Reads so.", **fields: Any) -> Note:
    whole = {
        "id": draw_note_id(),
        "kind": "remark",
        "shop": "bench-a",
        "author": "bench-a",
        "date": "2026-11-25",
        "chip": "QZ1000",
        "at": "pin 3",
        "text": text,
    }
    return Note.model_validate(whole | fields)


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return init_shop(tmp_path / "a", "bench-a")


class TestOneFile:
    def test_what_people_write_is_read(self) -> None:
        note = read_note(NOTE.encode(), "note.yaml")
        assert (note.kind, note.part, note.cure) == (
            "fault and remedy",
            "C712",
            "Replaced by 1 µF, 105 °C.",
        )
        assert note.readings is not None
        assert str(note.readings.dc) == "0.4 V"

    def test_writing_gives_the_file_again(self) -> None:
        assert format_note(read_note(NOTE.encode(), "note.yaml")) == NOTE.replace(
            "2026-11-25", "'2026-11-25'"
        ).replace(
            "readings: {dc: 0.4 V, seen: [missing]}", "readings:\n  dc: 0.4 V\n  seen: [missing]"
        )

    @pytest.mark.parametrize(
        ("old", "new", "line", "message"),
        [
            ("kind: fault and remedy", "kind: fault", 3, "'fault': expected one of"),
            ("author: anna", "autor: anna", 5, "the key 'autor': expected one of"),
            ("0.4 V", "0.4 W", 11, "'0.4 W'"),
            ("seen: [missing]", "sen: [missing]", 11, "the key 'sen'"),
            ("symptom: No sync, picture rolls and tears.\n", "", 1, "needs the field symptom"),
            ("note 1", "note 2", 1, "'pinfolio note 2'"),
            ("2026-11-25", "2026-11-31", 6, "'2026-11-31'"),
        ],
    )
    def test_faults_have_their_line(self, old: str, new: str, line: int, message: str) -> None:
        with pytest.raises(NoteFileError) as refused:
            read_note(NOTE.replace(old, new).encode(), "note.yaml")
        assert any(
            fault.line == line and message in str(fault) for fault in refused.value.faults
        ), str(refused.value)

    @pytest.mark.parametrize("data", [b"", b"- a", b"text", b"\xff", b"a: [", b"&a [*a]"])
    def test_what_is_no_note_is_refused(self, data: bytes) -> None:
        with pytest.raises(NoteFileError, match=r"note\.yaml:[12]:"):
            read_note(data, "note.yaml")

    @given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=80))
    @example("two\n\nlines\n indented\n\tby a tab")
    @example(" # no comment: 'quoted' \"twice\"")
    @example("- [ { & * ! | > % @ `")
    @example("trailing\n \nblank")
    @example("null")
    def test_every_text_is_read_again_as_it_was(self, text: str) -> None:
        try:
            note = make_note(text)
        except ValueError:
            return  # blanks alone, or signs that no note may hold
        read = read_note(format_note(note).encode(), "note.yaml")
        assert (read, read.digest) == (note, note.digest)


class TestFolder:
    def test_added_notes_are_there_under_their_names(self, shop: Shop) -> None:
        note = make_note()
        path = add_note(shop, note)
        assert path == shop.notes / f"{note.id}-{note.digest[:8]}.yaml"
        assert load_own_notes(shop) == load_all_notes(shop) == [note]

    def test_an_edit_is_a_file_more_and_changes_none(self, shop: Shop) -> None:
        note = make_note()
        first = add_note(shop, note).read_bytes()
        add_note(shop, make_note("Better.", id=note.id, follows=[note.digest]))
        assert len(load_own_notes(shop)) == 2
        assert (shop.notes / f"{note.id}-{note.digest[:8]}.yaml").read_bytes() == first

    def test_attachments_are_kept_beside(self, shop: Shop) -> None:
        attached = {"name": "trace.csv", "sha256": "ab" * 32}
        note = make_note(attachments=[attached])
        add_note(shop, note, [b"0,1\n1,2\n"])
        path = locate_attachment(shop, note, note.attachments[0])
        assert path.read_bytes() == b"0,1\n1,2\n"
        assert path == shop.notes / "attachments" / f"{'ab' * 32}.csv"

    def test_the_faults_of_all_files_come_together(self, shop: Shop) -> None:
        for name in ("a.yaml", "b.yaml"):
            (shop.notes / name).write_text("kind: nothing", encoding="utf-8")
        with pytest.raises(NoteFileError) as refused:
            load_own_notes(shop)
        assert {Path(fault.file).name for fault in refused.value.faults} == {"a.yaml", "b.yaml"}

    def test_a_note_of_another_shop_is_not_among_the_own(self, shop: Shop) -> None:
        note = make_note(shop="bench-b")
        with pytest.raises(ValueError, match="cannot be added to the own notes of bench-a"):
            add_note(shop, note)
        (shop.notes / "x.yaml").write_text(format_note(note), encoding="utf-8")
        with pytest.raises(NoteFileError, match="a note of 'bench-b': expected a note of this"):
            load_own_notes(shop)

    def test_a_folder_that_cannot_be_written_is_one_clear_message(self, shop: Shop) -> None:
        shop.notes.rmdir()
        shop.notes.write_text("a file in its place")
        with pytest.raises(ShopError, match="cannot be saved"):
            add_note(shop, make_note())

    def test_ids_are_drawn_anew(self) -> None:
        assert len({draw_note_id() for _ in range(1000)}) == 1000


class TestLines:
    def test_lines_are_read_again(self) -> None:
        notes = sorted([make_note(str(n)) for n in range(20)], key=lambda n: (n.id, n.digest))
        data = b"".join(format_lines(notes))
        assert data.count(b"\n") == 20
        assert list(read_lines(io.BytesIO(data), "notes.jsonl")) == notes

    @pytest.mark.parametrize(
        ("change", "message"),
        [
            (lambda line: line + line, r"notes.jsonl:2:1: the note \w+ out of its place"),
            (lambda line: line.replace(b":", b": ", 1), "another spelling of the note"),
            (lambda line: line.replace(b'"text"', b'"sets":1,"text"'), "another spelling"),
            (lambda line: line.rstrip(b"\n"), "another spelling"),
            (lambda line: line.replace(b"remark", b"rumour"), "a faulty note"),
            (lambda line: b"[" * 1000 + b"\n", "a faulty note"),
            (lambda line: b'{"a":' + b"9" * 5000 + b"}\n", "a faulty note"),
            (lambda line: b"\xff\n", "a faulty note"),
            (lambda line: b" " * (LONGEST_LINE + 5), "a very long line"),
            (lambda line: b"\n", "a faulty note"),
        ],
    )
    def test_what_is_not_as_written_is_refused_by_its_line(self, change: Any, message: str) -> None:
        line = b"".join(format_lines([make_note()]))
        with pytest.raises(NoteLinesError, match=message) as refused:
            list(read_lines(io.BytesIO(change(line)), "notes.jsonl"))
        assert "\n" not in str(refused.value)


class TestSetAside:
    """One unreadable or changed note is named and left out; the others go on."""

    def test_a_damaged_note_counts_as_it_was_signed(self, shop: Shop) -> None:
        good, bad = make_note(), make_note(id="b" * 16)
        add_note(shop, good)
        path = add_note(shop, bad)
        path.write_text(path.read_text().replace("kind:", "kin:"))
        set_aside: list[Fault] = []
        digests = {note.digest for note in load_all_notes(shop, set_aside)}
        assert digests == {good.digest, bad.digest}  # as it was signed
        assert {fault.file for fault in set_aside} == {str(path)}

    def test_a_note_edited_at_rest_is_noticed(self, shop: Shop) -> None:
        caution = make_note(text="R712 carries mains.")
        path = add_note(shop, caution)
        path.write_text(path.read_text().replace("R712 carries mains.", "Safe to touch."))
        set_aside: list[Fault] = []
        assert load_all_notes(shop, set_aside) == [caution]
        assert "a note changed by hand" in set_aside[0].found
