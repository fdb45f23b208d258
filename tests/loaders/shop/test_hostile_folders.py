"""Links, names that differ only in case or in Unicode form, and odd names in a shop's folder.

File systems of two systems fold case (FAT, NTFS, APFS as shipped) and one normalises names (HFS+);
a name must mean one thing on all of them. Unicode forms: Unicode Standard Annex 15.
"""

from __future__ import annotations

import os
import shutil
import unicodedata
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.errors import Fault
from pinfolio.loaders.keys.statement_files import name_statement
from pinfolio.loaders.note_tables.remembered_columns import load_columns
from pinfolio.loaders.shop.bundle_reading import read_bundle
from pinfolio.loaders.shop.bundle_writing import select_notes_to_share, write_bundle
from pinfolio.loaders.shop.copy_merging import merge_conflict_copies
from pinfolio.loaders.shop.merging import MergeError, apply_plan, plan_merge
from pinfolio.loaders.shop.note_files import add_note, load_all_notes
from pinfolio.loaders.shop.shop_backup import restore_backup, write_backup
from pinfolio.loaders.shop.shop_devices import request_device, rotate_key
from pinfolio.loaders.shop.shop_folder import (
    KEY_FILE,
    Shop,
    ShopError,
    check_handle,
    init_shop,
    open_shop,
)

from .exchanged_bundles import make_note

WORDS = "a solder joint in May"
HANDLES = st.text(max_size=12).filter(lambda text: text.strip() != "")


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    shop = init_shop(tmp_path / "bench", "bench-a")
    add_note(shop, make_note("bench-a", "Own."))
    sender = init_shop(tmp_path / "sender", "bench-b")
    add_note(sender, make_note("bench-b", "Theirs.", "b"))
    write_bundle(sender, select_notes_to_share(sender), tmp_path / "b.bundle")
    apply_plan(plan_merge(shop, [read_bundle(tmp_path / "b.bundle")]), accept_new=True)
    rotate_key(shop)
    return shop


def read_texts(shop: Shop) -> tuple[set[str | None], list[Fault]]:
    set_aside: list[Fault] = []
    return {note.text for note in load_all_notes(shop, set_aside)}, set_aside


@pytest.mark.parametrize(
    "place", ["keys", "received/bench-b/keys", "set-aside", ".", "notes", "notes/lists"]
)
@pytest.mark.parametrize("is_folder", [True, False])
def test_a_link_anywhere_stops_every_command(
    shop: Shop, place: str, is_folder: bool, tmp_path: Path
) -> None:
    """Nothing behind it is read, moved or written."""
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "file").write_text("theirs")
    folder = shop.folder / place
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "link.json").symlink_to(outside if is_folder else outside / "file")
    for to_change in (True, False):
        with pytest.raises(ShopError, match="links are not followed in a shop's folder"):
            open_shop(shop.folder, to_change=to_change)
    assert [path.name for path in outside.iterdir()] == ["file"]
    assert (outside / "file").read_text() == "theirs"


def test_a_link_in_place_of_the_key_or_the_keys_folder_is_not_written_through(
    shop: Shop, tmp_path: Path
) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "key").write_text("theirs")
    shutil.rmtree(shop.folder / "keys")
    (shop.folder / "keys").symlink_to(outside)
    (shop.folder / KEY_FILE).unlink()
    (shop.folder / KEY_FILE).symlink_to(outside / "key")
    with pytest.raises(ShopError):
        request_device(shop, "laptop")
    assert {path.name: path.read_text() for path in outside.iterdir()} == {"key": "theirs"}


def test_a_backup_restored_into_a_folder_of_links_writes_nothing_outside(
    shop: Shop, tmp_path: Path
) -> None:
    write_backup(shop, tmp_path / "x.backup", WORDS)
    outside, target = tmp_path / "outside", tmp_path / "target"
    outside.mkdir()
    target.mkdir()
    (target / "keys").symlink_to(outside)
    with pytest.raises(ShopError):
        restore_backup(tmp_path / "x.backup", target, WORDS)
    assert list(outside.iterdir()) == []


@pytest.mark.parametrize("name", ["Bench-B", "BENCH-B", "bench-ｂ", "bench-b\u0301", "bench-b "])
def test_a_folder_of_nearly_the_same_name_is_another_shops(shop: Shop, name: str) -> None:
    """Its notes do not count: no list that this shop signed has that name in it."""
    shutil.copytree(shop.received / "bench-b", shop.received / name)
    said, set_aside = read_texts(shop)
    assert said == {"Own.", "Theirs."}
    assert set_aside


@given(name=HANDLES)
def test_a_name_that_folds_or_normalises_into_another_is_no_handle(name: str) -> None:
    """So that two handles never share a folder, on whatever file system."""
    try:
        check_handle(name, "")
    except ShopError:
        return
    for form in ("NFC", "NFD", "NFKC", "NFKD"):
        assert unicodedata.normalize(form, name.casefold()) == name


@pytest.mark.parametrize(
    "name", ["ｌaptop", "laptop\u200b", "Laptop", "lapto\u0440", "con.", "../laptop", "a/b", "a\\b"]
)
def test_a_device_of_a_misleading_name_is_refused(shop: Shop, name: str) -> None:
    (shop.folder / KEY_FILE).unlink()
    with pytest.raises(ShopError, match="is not a handle"):
        request_device(shop, name)
    assert not (shop.folder / KEY_FILE).exists()


@pytest.mark.parametrize("name", ["Bench-c", "bench-ç", "../bench-c", "bench/c", ".", "keys\x00"])
def test_a_name_here_of_a_new_shop_is_a_handle_too(shop: Shop, name: str, tmp_path: Path) -> None:
    namesake = init_shop(tmp_path / "namesake", "bench-b")
    add_note(namesake, make_note("bench-b", "Namesake.", "c"))
    write_bundle(namesake, select_notes_to_share(namesake), tmp_path / "n.bundle")
    with pytest.raises((MergeError, ShopError), match="is not a handle"):
        plan_merge(shop, [read_bundle(tmp_path / "n.bundle")], name)


def test_statements_renamed_by_case_or_form_count_the_same(shop: Shop) -> None:
    """The name of a file is no part of a statement; its signature is."""
    (statement,) = shop.load_keys().rotations
    path = shop.folder / "keys" / name_statement(statement)
    path.rename(path.with_name(f"ROTATION-É{path.stem[-4:].upper()}.json"))
    assert shop.load_keys().rotations == (statement,)
    assert read_texts(shop) == ({"Own.", "Theirs."}, [])


def test_signed_notes_under_another_name_are_set_aside(shop: Shop) -> None:
    (path,) = (shop.notes / "signed").glob("*.signed")
    path.rename(path.with_name(path.name.upper().replace(".SIGNED", ".signed")))
    said, set_aside = read_texts(shop)
    assert said == {"Theirs."}
    assert set_aside


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
@pytest.mark.parametrize(
    "place",
    [
        *("keys/device-x.json", "keys/device-x (1).json", ".pinfolio-key"),
        *("notes/lists/x.signed", "import-columns.toml"),
    ],
)
def test_a_pipe_in_place_of_a_file_is_not_waited_for(shop: Shop, place: str) -> None:
    (shop.folder / place).unlink(missing_ok=True)
    (shop.folder / place).parent.mkdir(exist_ok=True)
    os.mkfifo(shop.folder / place)
    read_texts(shop)
    with suppress(ShopError):
        load_columns(shop)
    shop.find_public_key()


def test_a_copy_with_a_long_or_odd_name_is_moved_within_the_folder(shop: Shop) -> None:
    names = [
        "shops (../../x).toml".replace("/", "\u2215"),
        f"shops {'n' * 200}.toml",
        "shops\n.toml",
    ]
    for name in names:
        shutil.copyfile(shop.known_shops, shop.folder / name)
    assert len(merge_conflict_copies(shop)) == len(names)
    kept = list((shop.folder / "set-aside").iterdir())
    assert len(kept) == len(names)
    assert all(path.name.isascii() and path.name.isprintable() for path in kept)
