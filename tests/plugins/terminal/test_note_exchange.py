"""Notes and attachments that two shops change, settle and withdraw."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result
from PIL import Image
from pinfolio.loaders.captures.capture_file import read_capture
from pinfolio.loaders.shop.bundle_reading import read_bundle
from pinfolio.loaders.shop.note_files import load_all_notes, load_own_notes, locate_attachment
from pinfolio.loaders.shop.shop_folder import Shop
from pinfolio.plugins.notes.revisions import collect_notes
from pinfolio.schema.note import Note

Run = Callable[..., Result]
GOOD = "/chip/TQZ5752/13?dc=3.07V&vpp=0.98Vpp&condition=colour+bars"
KNOWN_GOOD = "known-good reading"


def read_fields(note: Note) -> dict[str, Any]:
    """The fields of a note, apart from random ones and today's date."""
    document = note.model_dump(mode="json", exclude_defaults=True)
    return {key: value for key, value in document.items() if key not in ("id", "date")}


def swap(run: Run, one: Shop, other: Shop, folder: Path) -> None:
    """Each shop merges all that the other wrote."""
    for sender, receiver in ((one, other), (other, one)):
        bundle = folder / f"{sender.handle}.bundle"
        shared = run("share", "-o", bundle, "--shop", sender.folder)
        if shared.exit_code == 0:
            merge = ("merge", bundle, "--accept-new", "--yes", "--shop", receiver.folder)
            assert run(*merge).exit_code == 0


class TestTwoShops:
    @pytest.fixture
    def disputed(
        self, note: Callable[..., Note], run: Run, shop: Shop, other: Shop, tmp_path: Path
    ) -> Note:
        """A note that both shops changed before they heard of each other."""
        first = note("add", "--from", GOOD, "--kind", KNOWN_GOOD)
        swap(run, shop, other, tmp_path)
        assert run("note", "edit", first.id, "--sets", 2).exit_code == 0
        assert run("note", "edit", first.id, "--sets", 5, "--shop", other.folder).exit_code == 0
        swap(run, shop, other, tmp_path)
        return first

    def test_both_changes_are_shown_until_one_is_chosen(
        self, disputed: Note, note: Callable[..., Note], run: Run, shop: Shop, other: Shop,
        tmp_path: Path,
    ) -> None:  # fmt: skip
        listed = json.loads(run("note", "list", "--conflicts", "--json").output)["notes"]
        assert listed[0]["sets"] == 2
        (theirs,) = listed[0]["proposals"]
        assert (theirs["sets"], theirs["shop"]) == (5, "bench-b")
        chosen = note("edit", disputed.id, "--keep", theirs["digest"][:8], "--yes")
        assert (chosen.sets, len(chosen.follows), chosen.shop) == (5, 2, "bench-a")
        swap(run, shop, other, tmp_path)
        for one in (shop, other):
            assert [k.heads for k in collect_notes(load_all_notes(one))] == [(chosen,)]
        assert run("note", "list", "--conflicts").exit_code == 1

    def test_a_conflict_is_shown_with_what_each_side_says(self, disputed: Note, run: Run) -> None:
        shown = run("note", "show", disputed.id[:6]).output
        assert "bench-a, 2 sets" in shown
        assert "bench-b, 5 sets" in shown
        assert "Proposed by bench-b, not by bench-a" in shown
        assert f"Take it: pinfolio note edit {disputed.id[:6]} --keep " in shown

    def test_who_began_it_takes_back_the_whole_and_it_stays_so(
        self, disputed: Note, run: Run, shop: Shop, other: Shop, tmp_path: Path
    ) -> None:
        assert run("note", "withdraw", disputed.id, "--yes").exit_code == 0
        swap(run, shop, other, tmp_path)
        for one in (shop, other):
            assert run("note", "list", "--shop", one.folder).exit_code == 1
            again = run("note", "edit", disputed.id, "--sets", 9, "--shop", one.folder)
            assert "withdrawn and stays so" in again.output

    def test_nobody_takes_back_what_only_another_wrote(
        self, note: Callable[..., Note], run: Run, shop: Shop, other: Shop, tmp_path: Path
    ) -> None:
        first = note("add", "--from", GOOD, "--kind", KNOWN_GOOD)
        swap(run, shop, other, tmp_path)
        result = run("note", "withdraw", first.id, "--yes", "--shop", other.folder)
        assert result.exit_code == 1
        assert f"the note {first.id} is by bench-a" in result.output

    def test_what_was_attached_goes_with_every_revision(
        self, note: Callable[..., Note], run: Run, shop: Shop, other: Shop, tmp_path: Path
    ) -> None:
        picture = tmp_path / "screen.png"
        Image.new("RGB", (8, 8), "green").save(picture)
        first = note("add", "--from", GOOD, "--kind", KNOWN_GOOD, "--attach", picture)
        swap(run, shop, other, tmp_path)
        assert run("note", "edit", first.id, "--sets", 4, "--shop", other.folder).exit_code == 0
        swap(run, shop, other, tmp_path)
        revisions = load_all_notes(shop)
        assert {n.shop for n in revisions} == {"bench-a", "bench-b"}
        for one in revisions:
            assert locate_attachment(shop, one, one.attachments[0]).is_file()


class TestWithdrawing:
    def test_the_last_word_says_nothing_of_what_was_said(
        self, note: Callable[..., Note], run: Run
    ) -> None:
        first = note("add", "TQZ5752", "13", "--kind", "remark", "--text", "Not so.")
        last = note("withdraw", first.id, "--yes")
        assert read_fields(last) == {
            "kind": "remark",
            "shop": "bench-a",
            "author": "anna",
            "chip": "TQZ5752",
            "at": "pin 13",
            "withdrawn": True,
            "follows": [first.digest],
        }
        assert "Withdrawn by bench-a" in run("note", "show", first.id).output
        assert "withdrawn already" in run("note", "withdraw", first.id, "--yes").output

    def test_it_is_asked_first(self, note: Callable[..., Note], run: Run, shop: Shop) -> None:
        first = note("add", "TQZ5752", "13", "--kind", "remark", "--text", "So.")
        result = run("note", "withdraw", first.id)
        assert result.exit_code == 1
        assert "TQZ5752 pin 13: remark; So." in result.output
        assert load_own_notes(shop) == [first]


class TestAttaching:
    @pytest.fixture
    def files(self, tmp_path: Path) -> list[Path]:
        capture, picture = tmp_path / "pin 13.csv", tmp_path / "screen.jpg"
        capture.write_text("Serial,SN0042\n\ntime (us),CH1 (V)\n0,1\n1,2\n2,1\n")
        Image.new("RGB", (8, 8), "green").save(picture, comment=b"Anna")
        return [capture, picture]

    def test_captures_and_pictures_are_kept_by_their_digest_and_shared(
        self, note: Callable[..., Note], run: Run, shop: Shop, files: list[Path], tmp_path: Path
    ) -> None:
        captions = ("--caption", "At the pin.", "--caption", "The screen.")
        attach = [word for path in files for word in ("--attach", path)]
        made = note("add", "--from", GOOD, "--kind", KNOWN_GOOD, *attach, *captions)
        assert [(a.name, a.caption) for a in made.attachments] == [
            ("pin-13.csv", "At the pin."),
            ("screen.jpg", "The screen."),
        ]
        kept = [shop.notes / "attachments" / f"{a.sha256}{Path(a.name).suffix}"
                for a in made.attachments]  # fmt: skip
        assert [*read_capture(kept[0].read_bytes(), "x").channels[0]] == [1, 2, 1]
        assert b"SN0042" not in kept[0].read_bytes()
        assert b"Anna" not in kept[1].read_bytes()
        assert run("share", "-o", tmp_path / "x.bundle").exit_code == 0
        assert (
            read_bundle(tmp_path / "x.bundle").read_attachment(kept[1].name) == kept[1].read_bytes()
        )

    def test_what_is_attached_can_be_left_out_and_added_to(
        self, note: Callable[..., Note], run: Run, files: list[Path]
    ) -> None:
        first = note("add", "--from", GOOD, "--kind", KNOWN_GOOD, "--attach", files[0])
        refused = run("note", "edit", first.id, "--detach", "pin-12.csv")
        assert "attached is pin-13.csv" in refused.output
        second = note("edit", first.id, "--detach", "pin-13.csv", "--attach", files[1])
        assert [a.name for a in second.attachments] == ["screen.jpg"]

    @pytest.mark.parametrize(
        ("name", "told"),
        [
            ("a.png", "a.png: not a sound PNG or JPEG picture; save it again"),
            ("a.csv", "a.csv: line 1: no line of numbers: expected lines of time and volts"),
            ("a.svg", "a.svg: a file .svg cannot be attached; take a capture (.csv, .txt"),
        ],
    )
    def test_what_is_no_picture_and_no_capture_is_refused(
        self, name: str, told: str, run: Run, shop: Shop, tmp_path: Path
    ) -> None:
        (tmp_path / name).write_text("<svg onload='alert(1)'/>")
        result = run(
            *("note", "add", "--from", GOOD, "--kind", KNOWN_GOOD, "--attach", tmp_path / name)
        )
        assert result.exit_code == 2
        assert told in result.output
        assert list(shop.notes.iterdir()) == []
