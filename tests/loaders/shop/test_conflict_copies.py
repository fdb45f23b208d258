"""Copies that synchronisation leaves are named, merged and set aside; version control merges."""

from __future__ import annotations

import shutil
import subprocess
from itertools import count
from pathlib import Path

import pytest
from pinfolio.loaders.errors import Fault
from pinfolio.loaders.shop.bundle_reading import Bundle, read_bundle
from pinfolio.loaders.shop.bundle_writing import select_notes_to_share, write_bundle
from pinfolio.loaders.shop.conflict_copies import find_conflict_copies
from pinfolio.loaders.shop.copy_merging import merge_conflict_copies
from pinfolio.loaders.shop.known_shops import load_known_shops, set_state
from pinfolio.loaders.shop.merging import apply_plan, plan_merge
from pinfolio.loaders.shop.note_files import add_note, load_all_notes
from pinfolio.loaders.shop.shop_devices import certify_device, request_device, revoke_device
from pinfolio.loaders.shop.shop_folder import KEY_FILE, Shop, init_shop, open_shop

from .exchanged_bundles import make_note

_NUMBERS = count()

# Shapes of names as synchronisation services, editors and file managers give them. Common practice.
SHAPES = (
    "{stem} (conflicted copy 2026-11-25){ending}",
    "{stem}-laptop{ending}",
    "{stem} (1){ending}",
    "{stem}_conflict-20261125{ending}",
    "{stem}.copy{ending}",
    "{stem}{ending}~",
    "{stem}{ending}.orig",
)


def share(folder: Path, handle: str, text: str, name: str) -> Bundle:
    shop = init_shop(folder / handle, handle)
    add_note(shop, make_note(handle, text, name))
    path = folder / f"{next(_NUMBERS)}.bundle"
    write_bundle(shop, select_notes_to_share(shop), path)
    return read_bundle(path)


def read(shop: Shop) -> tuple[set[str | None], list[Fault]]:
    set_aside: list[Fault] = []
    return {note.text for note in load_all_notes(shop, set_aside)}, set_aside


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    shop = init_shop(tmp_path / "desk", "bench-a")
    add_note(shop, make_note("bench-a", "Own.", "a"))
    return shop


def synchronise(source: Shop, target: Shop, shape: str) -> None:
    """Bring files over; of one that both changed, theirs comes under another name."""
    for path in sorted(source.folder.rglob("*")):
        place = target.folder / path.relative_to(source.folder)
        if path.is_dir() or path.name in (KEY_FILE, ".gitignore", ".gitattributes", "shop.toml"):
            continue
        if place.exists() and place.read_bytes() != path.read_bytes():
            name = shape.format(stem=place.stem, ending=place.suffix)
            place = place.with_name(name)
        place.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, place)


def make_second(shop: Shop) -> Shop:
    """A certified second computer with a copy of the folder."""
    folder = shop.folder.parent / "laptop"
    shutil.copytree(shop.folder, folder, ignore=shutil.ignore_patterns(KEY_FILE))
    laptop = open_shop(folder)
    request_device(laptop, "laptop")
    shutil.copytree(laptop.folder / "keys", shop.folder / "keys", dirs_exist_ok=True)
    certify_device(shop, "laptop")
    shutil.copytree(shop.folder / "keys", laptop.folder / "keys", dirs_exist_ok=True)
    return laptop


@pytest.mark.parametrize("shape", SHAPES)
def test_two_computers_that_merged_at_once_lose_nothing(
    shop: Shop, shape: str, tmp_path: Path
) -> None:
    laptop = make_second(shop)
    common = share(tmp_path, "bench-b", "Common.", "b")
    for one in (shop, laptop):
        apply_plan(plan_merge(one, [common]), accept_new=True)
    mine = share(tmp_path, "bench-c", "To the desk.", "c")
    theirs = share(tmp_path, "bench-d", "To the laptop.", "d")
    apply_plan(plan_merge(shop, [mine]), accept_new=True)
    apply_plan(plan_merge(laptop, [theirs]), accept_new=True)
    add_note(laptop, make_note("bench-a", "By the laptop.", "e"))
    set_state(laptop, "bench-b", "muted")
    synchronise(laptop, shop, shape)
    copies = find_conflict_copies(shop.folder)
    assert {copy.original.name for copy in copies} >= {"shops.toml"}
    _, set_aside = read(shop)
    assert {fault.file for fault in set_aside} == {str(copy.path) for copy in copies}
    assert all("pinfolio shop mend" in fault.expected for fault in set_aside)
    assert merge_conflict_copies(shop) == copies
    assert read(shop) == ({"Own.", "By the laptop.", "To the desk.", "To the laptop."}, [])
    known = load_known_shops(shop)
    assert known.keys() == {"bench-b", "bench-c", "bench-d"}
    assert known["bench-b"].state == "muted"
    assert len(list((shop.folder / "set-aside").iterdir())) == len(copies)
    assert merge_conflict_copies(shop) == []


@pytest.mark.parametrize("shape", SHAPES)
def test_received_notes_of_two_computers_are_united(shop: Shop, shape: str, tmp_path: Path) -> None:
    """Each computer merged another bundle of one shop."""
    laptop = make_second(shop)
    first = share(tmp_path, "bench-b", "First.", "b")
    sender = open_shop(tmp_path / "bench-b")
    apply_plan(plan_merge(shop, [first]), accept_new=True)
    add_note(sender, make_note("bench-b", "Second.", "c"))
    write_bundle(sender, select_notes_to_share(sender, since="2026-01-01"), tmp_path / "x")
    apply_plan(plan_merge(laptop, [read_bundle(tmp_path / "x")]), accept_new=True)
    synchronise(laptop, shop, shape)
    merge_conflict_copies(shop)
    assert read(shop) == ({"Own.", "First.", "Second."}, [])


@pytest.mark.parametrize("shape", SHAPES)
def test_statements_and_signatures_in_copies_count_under_their_own_names(
    shop: Shop, shape: str
) -> None:
    laptop = make_second(shop)
    add_note(laptop, make_note("bench-a", "By the laptop.", "e"))
    synchronise(laptop, shop, shape)
    revoke_device(shop, "laptop")
    for folder in ("keys", "notes", "notes/signed"):
        for path in [p for p in (shop.folder / folder).iterdir() if p.is_file()]:
            path.rename(path.with_name(shape.format(stem=path.stem, ending=path.suffix)))
    merge_conflict_copies(shop)
    assert read(shop) == ({"Own.", "By the laptop."}, [])
    assert [s.name for s in shop.load_keys().revocations] == ["laptop"]


def test_a_forged_copy_adds_nothing(shop: Shop, tmp_path: Path) -> None:
    apply_plan(plan_merge(shop, [share(tmp_path, "bench-b", "True.", "b")]), accept_new=True)
    stranger = init_shop(tmp_path / "stranger", "bench-a")
    forged = share(tmp_path / "forged", "bench-b", "Forged.", "f")
    apply_plan(plan_merge(stranger, [forged]), accept_new=True)
    for name in ("notes.jsonl", "notes.signed"):
        source = stranger.received / "bench-b" / name
        shutil.copyfile(source, shop.received / "bench-b" / name.replace(".", " (copy)."))
    shutil.copyfile(stranger.known_shops, shop.folder / "shops (copy).toml")
    before = load_known_shops(shop)
    merge_conflict_copies(shop)
    assert read(shop) == ({"Own.", "True."}, [])
    assert load_known_shops(shop)["bench-b"].public_key == before["bench-b"].public_key


def test_an_edited_copy_of_a_note_waits_to_be_signed(shop: Shop) -> None:
    (path,) = shop.notes.glob("*.yaml")
    copy = path.with_name(f"{path.stem}-laptop.yaml")
    copy.write_text(path.read_text().replace("Own.", "Edited."))
    merge_conflict_copies(shop)
    said, (fault,) = read(shop)
    assert said == {"Own."}
    assert "if it is yours, sign it with: pinfolio note edit aaaaaaaa22334455" in fault.expected


@pytest.mark.parametrize(
    "name", ["shopping.toml", "notesxyz.jsonl", "mine.yaml", "shops.toml", "odds.yaml"]
)
def test_other_files_are_no_copies(shop: Shop, name: str) -> None:
    (shop.folder / name).touch()
    (shop.notes / name).touch()
    assert find_conflict_copies(shop.folder) == []


def test_version_control_merges_what_two_computers_wrote(shop: Shop, tmp_path: Path) -> None:
    """Clone, write on both sides, certify, merge: no file is changed on both sides."""

    def git(folder: Path, *words: str) -> None:
        identity = ("-c", "user.name=x", "-c", "user.email=x@example.invalid")
        subprocess.run(["git", *identity, *words], cwd=folder, check=True, capture_output=True)

    def commit(one: Shop) -> None:
        git(one.folder, "add", "-A")
        git(one.folder, "commit", "-q", "-m", "notes")

    git(shop.folder, "init", "-q", "-b", "main")
    commit(shop)
    git(tmp_path, "clone", "-q", str(shop.folder), "laptop")
    laptop = open_shop(tmp_path / "laptop")
    assert not laptop.has_private_key()
    request_device(laptop, "laptop")
    add_note(laptop, make_note("bench-a", "By the laptop.", "b"))
    add_note(shop, make_note("bench-a", "By the desk.", "c"))
    commit(shop)
    commit(laptop)
    git(shop.folder, "pull", "-q", "--no-rebase", "--no-edit", str(laptop.folder), "main")
    certify_device(shop, "laptop")
    commit(shop)
    git(laptop.folder, "pull", "-q", "--no-rebase", "--no-edit", str(shop.folder), "main")
    for one in (shop, laptop):
        assert read(one) == ({"Own.", "By the laptop.", "By the desk."}, [])
    assert shop.find_public_key() != laptop.find_public_key()
