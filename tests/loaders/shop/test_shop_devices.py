"""Several computers of one shop: requests, certificates, revocation, rotation, backup."""

from __future__ import annotations

import shutil
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from pinfolio.loaders.errors import Fault
from pinfolio.loaders.keys.key_backup import BackupError
from pinfolio.loaders.shop.bundle_reading import Bundle, read_bundle
from pinfolio.loaders.shop.bundle_writing import select_notes_to_share, write_bundle
from pinfolio.loaders.shop.known_shops import load_known_shops, set_state
from pinfolio.loaders.shop.merging import MergeError, apply_plan, plan_merge
from pinfolio.loaders.shop.note_files import add_note, load_all_notes
from pinfolio.loaders.shop.shop_backup import restore_backup, write_backup
from pinfolio.loaders.shop.shop_devices import (
    certify_device,
    request_device,
    revoke_device,
    rotate_key,
)
from pinfolio.loaders.shop.shop_folder import KEY_FILE, Shop, ShopError, init_shop, open_shop
from pinfolio.schema.note import Note, find_newest, find_proposals

WORDS = "a solder joint in May"
_NUMBERS = count()


def make_note(shop: str, text: str = "Reads so.", name: str = "a", **fields: Any) -> Note:
    whole = {
        "id": f"{name * 8}22334455",
        "kind": "caution",
        "shop": shop,
        "author": shop,
        "date": "2026-11-25",
        "chip": "QZ1000",
        "at": "pin 3",
        "text": text,
    }
    return Note.model_validate(whole | fields)


def share(shop: Shop) -> Bundle:
    """The bundle that a computer of a shop would hand to others now."""
    path = shop.folder.parent / f"{next(_NUMBERS)}.bundle"
    write_bundle(shop, select_notes_to_share(shop, set_aside=[]), path)
    return read_bundle(path)


def merge(shop: Shop, *bundles: Bundle, name: str | None = None) -> None:
    apply_plan(plan_merge(shop, bundles, name), accept_new=True)


def read_texts(shop: Shop, set_aside: list[Fault] | None = None) -> set[str | None]:
    faults: list[Fault] = [] if set_aside is None else set_aside
    return {note.text for note in load_all_notes(shop, faults)}


def clone(shop: Shop, name: str) -> Shop:
    """A copy of the folder as version control makes it: without the private key."""
    folder = shop.folder.parent / name
    shutil.copytree(shop.folder, folder, ignore=shutil.ignore_patterns(KEY_FILE))
    return open_shop(folder)


@contextmanager
def on_a_strange_computer() -> Iterator[None]:
    """A computer that knows nothing of what this one remembers."""
    with TemporaryDirectory() as state, pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_STATE_HOME", state)
        yield


def carry(source: Shop, target: Shop) -> None:
    """Bring every file of the notes and statements over, as synchronisation does."""
    for inner in ("keys", "notes"):
        if (source.folder / inner).is_dir():
            shutil.copytree(source.folder / inner, target.folder / inner, dirs_exist_ok=True)


@pytest.fixture
def desk(tmp_path: Path) -> Shop:
    """The computer with the shop's key, and one note."""
    shop = init_shop(tmp_path / "desk", "bench-a")
    add_note(shop, make_note("bench-a", "By desk.", "d"))
    return shop


@pytest.fixture
def laptop(desk: Shop) -> Shop:
    """A certified second computer, which wrote a note."""
    shop = clone(desk, "laptop")
    request_device(shop, "laptop")
    carry(shop, desk)
    certify_device(desk, "laptop")
    carry(desk, shop)
    add_note(shop, make_note("bench-a", "By laptop.", "l"))
    return shop


@pytest.fixture
def other(tmp_path: Path) -> Shop:
    return init_shop(tmp_path / "other", "bench-b")


class TestDevices:
    def test_a_clone_reads_writes_and_is_certified_later(self, desk: Shop) -> None:
        shop = clone(desk, "laptop")
        assert read_texts(shop) == {"By desk."}
        request_device(shop, "laptop")
        assert stat.S_IMODE((shop.folder / KEY_FILE).stat().st_mode) == 0o600
        add_note(shop, make_note("bench-a", "Early.", "l"))
        assert read_texts(shop) == {"By desk.", "Early."}
        with pytest.raises(ShopError, match="not certified by the shop's key yet"):
            share(shop)
        carry(shop, desk)
        faults: list[Fault] = []
        assert read_texts(desk, faults) == {"By desk."}
        assert "pinfolio shop device certify laptop" in faults[0].expected
        certify_device(desk, "laptop")
        faults.clear()
        assert read_texts(desk, faults) == {"By desk.", "Early."}
        assert faults == []
        carry(desk, shop)
        assert share(shop).manifest.public_key == shop.find_public_key()

    def test_only_the_shops_key_certifies_and_revokes(self, laptop: Shop) -> None:
        for refused in (lambda: rotate_key(laptop), lambda: revoke_device(laptop, "laptop")):
            with pytest.raises(ShopError, match="the key of a device, not the shop's"):
                refused()

    def test_a_computer_with_a_key_draws_no_other(self, desk: Shop) -> None:
        before = desk.load_private_key()
        with pytest.raises(ShopError, match="this computer has a key"):
            request_device(desk, "desk")
        assert desk.load_private_key() == before

    @pytest.mark.parametrize("name", ["Laptop", "../x", "", "laptop"])
    def test_a_name_that_is_none_or_taken_is_refused(
        self, desk: Shop, laptop: Shop, name: str
    ) -> None:
        with pytest.raises(ShopError, match=r"is not a handle|another device has this name"):
            request_device(clone(desk, "third"), name)

    def test_an_unknown_device_is_named_with_those_there_are(
        self, desk: Shop, laptop: Shop
    ) -> None:
        with pytest.raises(ShopError, match="'tablet': no such device here to choose; there is la"):
            revoke_device(desk, "tablet")


class TestTwoComputers:
    def test_neither_refuses_the_others_news(self, desk: Shop, laptop: Shop, other: Shop) -> None:
        """The laptop, with fewer notes, is not an older state of the desk."""
        for name in "efgh":
            add_note(desk, make_note("bench-a", f"Desk {name}.", name))
        merge(other, share(desk))
        merge(other, share(laptop))
        assert {"By laptop.", "By desk.", "Desk h."} <= read_texts(other)
        add_note(desk, make_note("bench-a", "Desk again.", "i"))
        merge(other, share(desk))
        assert "Desk again." in read_texts(other)
        assert load_known_shops(other)["bench-a"].devices.keys() == {laptop.find_public_key()}

    def test_they_take_each_others_notes_by_bundles(self, desk: Shop, laptop: Shop) -> None:
        merge(desk, share(laptop))
        merge(laptop, share(desk))
        assert read_texts(desk) == read_texts(laptop) == {"By desk.", "By laptop."}

    def test_statements_come_with_the_own_shops_bundle(self, desk: Shop, laptop: Shop) -> None:
        rotate_key(desk)
        merge(laptop, share(desk))
        assert laptop.load_keys().chain == desk.load_keys().chain
        assert share(laptop).manifest.format == "pinfolio bundle 2"

    def test_a_shop_without_statements_writes_the_first_format(self, desk: Shop) -> None:
        assert share(desk).manifest.format == "pinfolio bundle 1"


class TestRevocation:
    def test_its_notes_that_are_here_stay_and_later_ones_are_set_aside(
        self, desk: Shop, laptop: Shop
    ) -> None:
        carry(laptop, desk)
        revoke_device(desk, "laptop")
        faults: list[Fault] = []
        assert read_texts(desk, faults) == {"By desk.", "By laptop."}
        assert faults == []
        with on_a_strange_computer():
            add_note(laptop, make_note("bench-a", "By the thief.", "t"))
        carry(laptop, desk)
        assert "By the thief." not in read_texts(desk, faults)
        assert any("the device laptop was revoked on" in fault.found for fault in faults)

    def test_other_shops_keep_what_they_had_and_take_no_more(
        self, desk: Shop, laptop: Shop, other: Shop
    ) -> None:
        merge(other, share(laptop))
        carry(laptop, desk)
        revoke_device(desk, "laptop")
        merge(other, share(desk))
        with on_a_strange_computer():
            add_note(laptop, make_note("bench-a", "By the thief.", "t"))
            bundle = share(laptop)
        with pytest.raises(MergeError, match="the device laptop was revoked on"):
            plan_merge(other, [bundle])
        assert read_texts(other) == {"By desk.", "By laptop."}

    def test_old_and_new_bundles_come_in_any_order_at_once(
        self, desk: Shop, laptop: Shop, other: Shop
    ) -> None:
        old = share(laptop)
        revoke_device(desk, "laptop")
        for bundles in ([old, share(desk)], [share(desk), old]):
            with pytest.raises(MergeError, match="was revoked"):
                plan_merge(other, bundles)

    def test_replaying_a_bundle_or_the_whole_folder_does_not_undo_it(
        self, desk: Shop, laptop: Shop, other: Shop, tmp_path: Path
    ) -> None:
        merge(other, share(laptop))
        replayed, folder = share(laptop), tmp_path / "old copy"
        shutil.copytree(other.folder, folder)
        revoke_device(desk, "laptop")
        merge(other, share(desk))
        for shop in (other, open_shop(folder)):
            with pytest.raises(MergeError, match="was revoked"):
                plan_merge(shop, [replayed])

    def test_the_computer_can_become_a_device_anew(self, desk: Shop, laptop: Shop) -> None:
        revoke_device(desk, "laptop")
        carry(desk, laptop)
        with pytest.raises(ShopError, match="the device laptop was revoked"):
            laptop.load_private_key()
        request_device(laptop, "laptop-again")
        carry(laptop, desk)
        certify_device(desk, "laptop-again")
        assert len(desk.load_keys().devices) == 1


class TestRotation:
    def test_notes_and_devices_stay_and_the_old_key_signs_no_more(
        self, desk: Shop, laptop: Shop, other: Shop
    ) -> None:
        carry(laptop, desk)
        merge(desk, share_of_stranger := share_one(other))
        old_folder = desk.folder.parent / "stolen"
        shutil.copytree(desk.folder, old_folder)
        before = desk.load_private_key()
        rotate_key(desk)
        faults: list[Fault] = []
        assert read_texts(desk, faults) == {"By desk.", "By laptop.", "Theirs."}
        assert faults == []
        assert desk.load_private_key() != before
        assert plan_merge(desk, [share_of_stranger]).is_empty
        with pytest.raises(ShopError, match="the shop changed this key for another"):
            share(open_shop(old_folder))
        carry(desk, laptop)
        merge(other, share(laptop), share(desk))
        assert read_texts(other) == {"By desk.", "By laptop.", "Theirs."}

    def test_a_bundle_of_the_old_key_is_refused_once_the_new_one_is_known(
        self, desk: Shop, other: Shop
    ) -> None:
        old = share(desk)
        merge(other, old)
        set_state(other, "bench-a", "trusted")
        rotate_key(desk)
        planned = plan_merge(other, [share(desk)])
        assert list(planned.changed_keys) == ["bench-a"]
        apply_plan(planned)
        known = load_known_shops(other)["bench-a"]
        assert (known.state, known.key) == ("known", desk.find_public_key())
        with pytest.raises(MergeError, match="the shop changed this key for another on"):
            plan_merge(other, [old])

    def test_a_thiefs_rotation_after_the_owners_is_refused(
        self, desk: Shop, other: Shop, tmp_path: Path
    ) -> None:
        stolen = tmp_path / "stolen"
        shutil.copytree(desk.folder, stolen)
        rotate_key(desk)
        merge(other, share(desk))
        with on_a_strange_computer():
            thief = open_shop(stolen)
            rotate_key(thief)
            bundle = share(thief)
        with pytest.raises(MergeError, match="THE KEY OF bench-a HAS CHANGED TWICE"):
            plan_merge(other, [bundle])

    def test_rotating_twice_leads_from_key_to_key(self, desk: Shop, other: Shop) -> None:
        merge(other, share(desk))
        rotate_key(desk)
        rotate_key(desk)
        merge(other, share(desk))
        assert load_known_shops(other)["bench-a"].key == desk.load_keys().chain[2]


class TestBackup:
    def test_it_is_restored_into_a_clone_and_into_a_new_folder(
        self, desk: Shop, laptop: Shop, tmp_path: Path
    ) -> None:
        write_backup(desk, tmp_path / "x.backup", WORDS)
        for folder in (clone(desk, "clone").folder, tmp_path / "new"):
            shop = restore_backup(tmp_path / "x.backup", folder, WORDS)
            assert shop.load_private_key() == desk.load_private_key()
            assert shop.load_keys() == desk.load_keys()
            assert stat.S_IMODE((folder / KEY_FILE).stat().st_mode) == 0o600

    def test_lost_notes_come_back_from_shared_bundles(
        self, desk: Shop, other: Shop, tmp_path: Path
    ) -> None:
        """The restored computer has fewer notes than its key signed before, and is heard."""
        write_backup(desk, tmp_path / "x.backup", WORDS)
        add_note(desk, make_note("bench-a", "More.", "m"))
        merge(other, share(desk))
        restored = restore_backup(tmp_path / "x.backup", tmp_path / "new", WORDS)
        add_note(restored, make_note("bench-a", "After the loss.", "n"))
        merge(other, share(restored))
        assert "After the loss." in read_texts(other)

    def test_a_backup_of_an_older_key_is_refused(self, desk: Shop, tmp_path: Path) -> None:
        write_backup(desk, tmp_path / "x.backup", WORDS)
        rotate_key(desk)
        with pytest.raises(ShopError, match="the shop changed this key for another"):
            restore_backup(tmp_path / "x.backup", clone(desk, "clone").folder, WORDS)

    def test_a_key_in_use_and_another_shops_folder_are_left_alone(
        self, desk: Shop, laptop: Shop, other: Shop, tmp_path: Path
    ) -> None:
        write_backup(desk, tmp_path / "x.backup", WORDS)
        before = laptop.load_private_key()
        with pytest.raises(ShopError, match="a key in use is here"):
            restore_backup(tmp_path / "x.backup", laptop.folder, WORDS)
        with pytest.raises(ShopError, match="the backup is of another shop"):
            restore_backup(tmp_path / "x.backup", other.folder, WORDS)
        assert laptop.load_private_key() == before

    def test_no_other_file_is_written_over(self, desk: Shop, tmp_path: Path) -> None:
        for path in (desk.folder / "shop.toml", desk.folder / KEY_FILE):
            before = path.read_bytes()
            with pytest.raises(ShopError, match="another file is here"):
                write_backup(desk, path, WORDS)
            assert path.read_bytes() == before

    def test_what_is_no_backup_makes_no_shop(self, tmp_path: Path) -> None:
        (tmp_path / "x").write_text("{}")
        with pytest.raises(BackupError, match="not a backup of a shop's key"):
            restore_backup(tmp_path / "x", tmp_path / "new", WORDS)
        assert not (tmp_path / "new").exists()


class TestOneNameTwoShops:
    @pytest.fixture
    def namesake(self, tmp_path: Path) -> Shop:
        shop = init_shop(tmp_path / "namesake", "bench-a")
        add_note(shop, make_note("bench-a", "By the namesake.", "n"))
        return shop

    def test_both_are_known_under_two_names(self, desk: Shop, other: Shop, namesake: Shop) -> None:
        merge(other, share(desk))
        with pytest.raises(MergeError, match="THE KEY HAS CHANGED"):
            plan_merge(other, [share(namesake)])
        merge(other, share(namesake), name="bench-north")
        known = load_known_shops(other)
        assert {(name, one.handle or name) for name, one in known.items()} == {
            ("bench-a", "bench-a"),
            ("bench-north", "bench-a"),
        }
        by = {note.text: note.shop for note in load_all_notes(other)}
        assert by == {"By desk.": "bench-a", "By the namesake.": "bench-north"}
        add_note(namesake, make_note("bench-a", "More.", "m"))
        merge(other, share(namesake))
        assert {note.shop for note in load_all_notes(other)} == {"bench-a", "bench-north"}

    def test_an_edit_by_the_namesake_is_a_proposal(
        self, desk: Shop, other: Shop, namesake: Shop
    ) -> None:
        first = make_note("bench-a", "By desk.", "d")
        add_note(namesake, make_note("bench-a", "Safe to touch.", "d", follows=[first.digest]))
        merge(other, share(desk))
        merge(other, share(namesake), name="bench-north")
        notes = [note for note in load_all_notes(other) if note.id == first.id]
        assert [note.text for note in find_newest(notes)] == ["By desk."]
        assert [(n.text, n.shop) for n in find_proposals(notes)] == [
            ("Safe to touch.", "bench-north")
        ]

    def test_a_namesake_of_the_own_shop_gets_another_name(self, desk: Shop, namesake: Shop) -> None:
        with pytest.raises(MergeError, match="says it is from your own shop"):
            plan_merge(desk, [share(namesake)])
        merge(desk, share(namesake), name="namesake")
        assert {note.shop for note in load_all_notes(desk)} == {"bench-a", "namesake"}

    @pytest.mark.parametrize("name", ["bench-a", "bench-b", "B", "../x"])
    def test_a_name_that_is_taken_or_none_is_refused(
        self, desk: Shop, other: Shop, namesake: Shop, name: str
    ) -> None:
        merge(other, share(desk))
        with pytest.raises((MergeError, ShopError)):
            merge(other, share(namesake), name=name)
        assert read_texts(other) == {"By desk."}


def share_one(shop: Shop) -> Bundle:
    """The bundle of a shop that has written one note."""
    add_note(shop, make_note(shop.handle, "Theirs.", "o"))
    return share(shop)
