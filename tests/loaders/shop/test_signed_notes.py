"""Signed notes: every change made without the shop's key is detected."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pinfolio.loaders.errors import Fault
from pinfolio.loaders.shop.bundle_reading import read_bundle
from pinfolio.loaders.shop.bundle_writing import select_notes_to_share, write_bundle
from pinfolio.loaders.shop.hand_edits import find_hand_edit, sign_hand_edit
from pinfolio.loaders.shop.merging import apply_plan, plan_merge
from pinfolio.loaders.shop.note_files import add_note, format_note, load_all_notes
from pinfolio.loaders.shop.received_notes import load_received_notes
from pinfolio.loaders.shop.shop_folder import Shop, ShopError, init_shop
from pinfolio.loaders.shop.signed_notes import load_signed_list, load_signed_notes
from pinfolio.schema.note import Note, find_newest

from .exchanged_bundles import make_note

CAUTION = "R712 carries mains."
RAW = b"0,1.5\n1e-6,1.6\n"


def make_caution(shop: str, text: str = CAUTION, name: str = "a", **fields: Any) -> Note:
    return make_note(shop, text, name, kind="caution", **fields)


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    """A shop with two signed notes of its own, and two received from another."""
    shop, other = init_shop(tmp_path / "a", "bench-a"), init_shop(tmp_path / "b", "bench-b")
    add_note(shop, make_caution("bench-a"))
    add_note(shop, make_caution("bench-a", "Goes hot.", "b"))
    add_note(other, make_caution("bench-b", "The tab is live.", "c"))
    add_note(other, make_caution("bench-b", "Discharge C901.", "d"))
    write_bundle(other, select_notes_to_share(other), tmp_path / "b.bundle")
    apply_plan(plan_merge(shop, [read_bundle(tmp_path / "b.bundle")]), accept_new=True)
    return shop


def read_texts(shop: Shop) -> tuple[set[str | None], list[Fault]]:
    """The texts of the shop's notes, and the names of those set aside."""
    set_aside: list[Fault] = []
    return {note.text for note in load_all_notes(shop, set_aside)}, set_aside


ALL = {CAUTION, "Goes hot.", "The tab is live.", "Discharge C901."}


def own_file(shop: Shop) -> Path:
    return next(iter(shop.notes.glob("aaaa*.yaml")))


def find_signed_file(shop: Shop) -> Path:
    return next(iter(shop.notes.glob("signed/aaaa*")))


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))


def rename_to_fit(shop: Shop) -> None:
    rogue = make_caution("bench-a", "Safe to touch.")
    own_file(shop).rename(shop.notes / f"{rogue.id}-{rogue.digest[:8]}.yaml")
    edit(own_file(shop), CAUTION, "Safe to touch.")


def add_as_newer_revision(shop: Shop) -> None:
    rogue = make_caution("bench-a", "Safe to touch.", follows=[make_caution("bench-a").digest])
    path = shop.notes / f"{rogue.id}-{rogue.digest[:8]}.yaml"
    path.write_text(format_note(rogue), encoding="utf-8")


def sign_with_another_key(shop: Shop) -> None:
    rogue = init_shop(shop.folder.parent / "rogue", "bench-a")
    shutil.rmtree(shop.notes)
    add_note(rogue, make_caution("bench-a", "Safe to touch."))
    shutil.copytree(rogue.notes, shop.notes)


def swap_signatures(shop: Shop) -> None:
    find_signed_file(shop).write_bytes(next(iter(shop.notes.glob("signed/bbbb*"))).read_bytes())


ATTACKS: dict[str, Callable[[Shop], object]] = {
    "edit the file": lambda s: edit(own_file(s), CAUTION, "Safe to touch."),
    "edit it and name it by the new digest": rename_to_fit,
    "delete the file": lambda s: own_file(s).unlink(),
    "replace the file by rubbish": lambda s: own_file(s).write_bytes(b"\xff\x00"),
    "replace the file by a folder": lambda s: (own_file(s).unlink(), own_file_folder(s)),
    "add a newer revision": add_as_newer_revision,
}


def own_file_folder(shop: Shop) -> None:
    (shop.notes / f"{find_signed_file(shop).stem}.yaml").mkdir()


class TestOwnNotes:
    @pytest.mark.parametrize("attack", ATTACKS.values(), ids=list(ATTACKS))
    def test_the_signed_words_still_count_and_the_file_is_named(
        self, shop: Shop, attack: Callable[[Shop], object]
    ) -> None:
        attack(shop)
        said, set_aside = read_texts(shop)
        assert said == ALL
        assert {Path(fault.file).name[:4] for fault in set_aside} == {"aaaa"}

    @pytest.mark.parametrize(
        "attack",
        [
            lambda s: edit(find_signed_file(s), CAUTION, "Safe to touch."),
            lambda s: find_signed_file(s).write_bytes(b"\xff"),
            lambda s: find_signed_file(s).unlink(),
            swap_signatures,
        ],
        ids=["edited", "rubbish", "deleted", "another note's"],
    )
    def test_a_note_without_its_signature_is_set_aside_and_the_rest_goes_on(
        self, shop: Shop, attack: Callable[[Shop], object]
    ) -> None:
        attack(shop)
        said, set_aside = read_texts(shop)
        assert said == ALL - {CAUTION}
        (fault,) = set_aside
        assert "pinfolio note edit aaaaaaaa22334455" in fault.expected

    def test_another_key_signs_nothing_here(self, shop: Shop) -> None:
        sign_with_another_key(shop)
        said, set_aside = read_texts(shop)
        assert said == {"The tab is live.", "Discharge C901."}
        assert [fault.found for fault in set_aside] == ["a signature that does not fit"]

    def test_removing_every_signature_does_not_make_it_an_old_folder(self, shop: Shop) -> None:
        shutil.rmtree(shop.notes / "signed")
        (shop.received / "bench-b" / "notes.signed").unlink()
        edit(own_file(shop), CAUTION, "Safe to touch.")
        assert read_texts(shop)[0] == set()

    def test_comments_and_layout_of_a_file_are_free(self, shop: Shop) -> None:
        path = own_file(shop)
        path.write_text(path.read_text() + "\n# seen again in May\n")
        assert read_texts(shop) == (ALL, [])

    def test_the_next_note_writes_a_lost_file_again(self, shop: Shop) -> None:
        before = own_file(shop).read_bytes()
        own_file(shop).unlink()
        add_note(shop, make_caution("bench-a", "More.", "e"))
        assert own_file(shop).read_bytes() == before


class TestReceivedNotes:
    def received(self, shop: Shop) -> Path:
        return shop.received / "bench-b" / "notes.jsonl"

    @pytest.mark.parametrize("rogue", ["Safe to touch.", '","kind":"remark'])
    def test_a_changed_line_is_set_aside_alone(self, shop: Shop, rogue: str) -> None:
        edit(self.received(shop), "The tab is live.", rogue)
        said, set_aside = read_texts(shop)
        assert said == ALL - {"The tab is live."}
        assert f"{self.received(shop)}:1:1" in str(set_aside[0])

    @pytest.mark.parametrize(
        "change",
        [
            lambda lines: lines[::-1],
            lambda lines: [lines[0], *lines],
            lambda lines: [*lines, b"{broken"],
            lambda lines: [*lines, b"x" * 200_000],
            lambda lines: [*lines, make_caution("bench-b", "Forged.", "e").document().encode()],
            lambda lines: lines[:1],
        ],
        ids=["order", "twice", "broken", "very long", "forged", "one missing"],
    )
    def test_whatever_was_done_to_the_file_the_reading_goes_on(
        self, shop: Shop, change: Callable[[list[bytes]], list[bytes]]
    ) -> None:
        path = self.received(shop)
        path.write_bytes(b"".join(line + b"\n" for line in change(path.read_bytes().splitlines())))
        said, set_aside = read_texts(shop)
        assert said <= ALL
        assert len(said) >= 3
        assert len(set_aside) == 1

    @pytest.mark.parametrize("data", [None, b"", b"\xff" * 300, b"0" * 128 + b"\n"])
    def test_without_its_list_none_of_a_shops_notes_counts(
        self, shop: Shop, data: bytes | None
    ) -> None:
        path = shop.received / "bench-b" / "notes.signed"
        path.unlink() if data is None else path.write_bytes(data)
        said, set_aside = read_texts(shop)
        assert said == {CAUTION, "Goes hot."}
        assert "merge the latest bundle of bench-b again" in set_aside[0].expected

    def test_the_list_of_one_shop_is_none_of_another(self, shop: Shop) -> None:
        shutil.copytree(shop.received / "bench-b", shop.received / "bench-c")
        with pytest.raises(ValueError, match="another shop"):
            load_signed_list(shop, "bench-c")

    def test_merging_the_bundle_again_heals_and_keeps_what_was_set_aside(
        self, shop: Shop, tmp_path: Path
    ) -> None:
        edit(self.received(shop), "The tab is live.", "Safe to touch.")
        forged = self.received(shop).read_bytes()
        apply_plan(plan_merge(shop, [read_bundle(tmp_path / "b.bundle")]))
        assert read_texts(shop) == (ALL, [])
        (kept,) = self.received(shop).parent.glob("set-aside-*.jsonl")
        assert kept.read_bytes() == forged


class TestOldFolders:
    """A folder of version 0.1 has no signatures; the first change signs all that it holds."""

    @pytest.fixture
    def old(self, tmp_path: Path, shop: Shop) -> Shop:
        folder = tmp_path / "old"
        shutil.copytree(shop.folder, folder, ignore=shutil.ignore_patterns("*signed"))
        return Shop(folder, shop.handle, shop.public_key)

    def test_its_notes_count(self, old: Shop) -> None:
        assert read_texts(old) == (ALL, [])

    def test_the_first_note_signs_all(self, old: Shop) -> None:
        add_note(old, make_caution("bench-a", "More.", "e"))
        assert len(load_signed_notes(old, [])) == 3
        assert len(load_signed_list(old, "bench-b") or ()) == 2
        edit(own_file(old), CAUTION, "Safe to touch.")
        assert read_texts(old)[0] == ALL | {"More."}

    def test_without_the_key_it_stays_as_it_is(self, old: Shop) -> None:
        (old.folder / ".pinfolio-key").unlink()
        add_note(old, make_caution("bench-a", "More.", "e"))
        assert read_texts(old) == (ALL | {"More."}, [])

    def test_a_note_written_without_the_key_waits_for_it(self, shop: Shop) -> None:
        key = shop.folder / ".pinfolio-key"
        away = key.read_bytes()
        key.unlink()
        add_note(shop, make_caution("bench-a", "More.", "e"))
        assert read_texts(shop)[0] == ALL
        with pytest.raises(ShopError, match="private key is not here"):
            sign_hand_edit(shop, find_hand_edit(shop, "eeee"))  # type: ignore[arg-type]
        key.write_bytes(away)
        sign_hand_edit(shop, find_hand_edit(shop, "eeee"))  # type: ignore[arg-type]
        assert read_texts(shop) == (ALL | {"More."}, [])


class TestHandEdits:
    def test_signing_makes_a_revision_that_follows_the_signed_one(self, shop: Shop) -> None:
        edit(own_file(shop), CAUTION, "R712 and R713 carry mains.")
        found = find_hand_edit(shop, "aaaa")
        assert found is not None
        sign_hand_edit(shop, found)
        set_aside: list[Fault] = []
        notes = [note for note in load_all_notes(shop, set_aside) if note.id.startswith("aaaa")]
        assert (len(notes), set_aside) == (2, [])
        (newest,) = find_newest(notes)
        assert (newest.text, newest.follows) == (
            "R712 and R713 carry mains.",
            (make_caution("bench-a").digest,),
        )

    def test_a_file_written_by_hand_gets_its_name(self, shop: Shop) -> None:
        (shop.notes / "mine.yaml").write_text(format_note(make_caution("bench-a", "New.", "f")))
        found = find_hand_edit(shop, "ffff")
        assert found is not None
        assert sign_hand_edit(shop, found).exists()
        assert not (shop.notes / "mine.yaml").exists()
        assert read_texts(shop) == (ALL | {"New."}, [])

    def test_there_is_none_in_a_sound_folder(self, shop: Shop) -> None:
        assert find_hand_edit(shop, "aaaa") is None

    def test_received_notes_are_not_for_signing(self, shop: Shop) -> None:
        edit(shop.received / "bench-b" / "notes.jsonl", "The tab is live.", "Safe to touch.")
        assert find_hand_edit(shop, "cccc") is None
        assert len(load_received_notes(shop, "bench-b", [])) == 1


class TestSharing:
    def test_a_note_whose_attachment_is_lost_is_set_aside(self, shop: Shop, tmp_path: Path) -> None:
        from pinfolio.loaders.shop.attachments import prepare_attachment

        prepared = prepare_attachment(RAW, "trace.csv")
        attached = make_caution("bench-a", "See.", "g", attachments=[prepared.attachment])
        add_note(shop, attached, [prepared.data])
        (shop.notes / "attachments" / f"{prepared.attachment.sha256}.csv").write_bytes(b"0,9\n")
        set_aside: list[Fault] = []
        notes = select_notes_to_share(shop, set_aside=set_aside)
        assert {note.text for note in notes} == {CAUTION, "Goes hot."}
        assert "--detach trace.csv" in set_aside[0].expected
        write_bundle(shop, notes, tmp_path / "a.bundle")
        assert len(read_bundle(tmp_path / "a.bundle").notes) == 2
