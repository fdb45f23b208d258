"""Many own notes in one signed file: they count like any other, and no change goes unnoticed."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from pinfolio.loaders.errors import Fault
from pinfolio.loaders.shop.bundle_reading import read_bundle
from pinfolio.loaders.shop.bundle_writing import select_notes_to_share, write_bundle
from pinfolio.loaders.shop.conflict_copies import find_conflict_copies
from pinfolio.loaders.shop.copy_merging import merge_conflict_copies
from pinfolio.loaders.shop.merging import apply_plan, plan_merge
from pinfolio.loaders.shop.note_files import (
    add_notes,
    draw_note_id,
    load_all_notes,
    load_own_notes,
)
from pinfolio.loaders.shop.shop_devices import (
    certify_device,
    request_device,
    revoke_device,
    rotate_key,
)
from pinfolio.loaders.shop.shop_folder import Shop, ShopError, init_shop
from pinfolio.schema.note import Note

from .exchanged_bundles import make_note
from .shop_computers import clone_folder, copy_notes

COUNT = 60


def make_many(handle: str) -> list[Note]:
    note = make_note(handle, "Warm.", "a")
    return [note.model_copy(update={"id": draw_note_id()}) for _ in range(COUNT)]


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    shop = init_shop(tmp_path / "a", "bench-a")
    add_notes(shop, make_many("bench-a"))
    return shop


def find_list(shop: Shop) -> Path:
    (path,) = (shop.notes / "lists").iterdir()
    return path


def count_notes(shop: Shop) -> int:
    return len(load_own_notes(shop))


def test_many_notes_are_one_file_and_count(shop: Shop) -> None:
    assert not list(shop.notes.glob("*.yaml"))
    assert count_notes(shop) == len(load_all_notes(shop)) == COUNT


def test_the_same_notes_make_the_same_file(shop: Shop, tmp_path: Path) -> None:
    before = find_list(shop).read_bytes()
    add_notes(shop, list(reversed(load_own_notes(shop))))
    assert find_list(shop).read_bytes() == before


@pytest.mark.parametrize("changed", [b"Cold.", b"Warm"])
def test_a_changed_list_is_set_aside_as_a_whole(shop: Shop, changed: bytes) -> None:
    path = find_list(shop)
    path.write_bytes(path.read_bytes().replace(b"Warm.", changed, 1))
    set_aside: list[Fault] = []
    assert load_own_notes(shop, set_aside) == []
    assert [fault.file for fault in set_aside] == [str(path)]
    assert "import its table again" in set_aside[0].expected


def test_a_list_by_another_shop_does_not_count(shop: Shop, tmp_path: Path) -> None:
    rogue = init_shop(tmp_path / "b", "bench-a")
    add_notes(rogue, make_many("bench-a"))
    shutil.copy(find_list(rogue), shop.notes / "lists")
    set_aside: list[Fault] = []
    assert len(load_own_notes(shop, set_aside)) == COUNT
    assert len(set_aside) == 1


def test_without_a_key_the_notes_are_files_that_wait_to_be_signed(shop: Shop) -> None:
    (shop.folder / ".pinfolio-key").unlink()
    with pytest.raises(ShopError, match="the private key is not here"):
        shop.load_private_key()
    add_notes(shop, make_many("bench-a"))
    assert len(list(shop.notes.glob("*.yaml"))) == COUNT


def test_the_notes_of_a_list_outlive_the_key_that_signed_it(shop: Shop) -> None:
    before = find_list(shop).read_bytes()
    rotate_key(shop)
    assert count_notes(shop) == COUNT
    assert find_list(shop).read_bytes().partition(b"\n")[2] == before.partition(b"\n")[2]
    find_list(shop).write_bytes(before)  # as the ended key signed it
    set_aside: list[Fault] = []
    load_own_notes(shop, set_aside)
    assert len(set_aside) == 1


def test_a_revoked_device_keeps_the_lists_that_it_had_handed_over(shop: Shop) -> None:
    laptop = clone_folder(shop, "laptop")
    request_device(laptop, "laptop")
    copy_notes(laptop, shop)
    certify_device(shop, "laptop")
    copy_notes(shop, laptop)
    add_notes(laptop, make_many("bench-a"))
    copy_notes(laptop, shop)
    assert count_notes(shop) == 2 * COUNT
    revoke_device(shop, "laptop")
    assert count_notes(shop) == 2 * COUNT


def test_a_bundle_carries_them_and_another_computer_keeps_them_as_one_file(
    shop: Shop, tmp_path: Path
) -> None:
    write_bundle(shop, select_notes_to_share(shop), tmp_path / "x.bundle")
    bundle = read_bundle(tmp_path / "x.bundle")
    other = init_shop(tmp_path / "other", "bench-b")
    apply_plan(plan_merge(other, [bundle]), accept_new=True)
    assert len(load_all_notes(other)) == COUNT
    second = clone_folder(shop, "second")
    shutil.copy(shop.folder / ".pinfolio-key", second.folder)
    shutil.rmtree(second.notes / "lists")
    apply_plan(plan_merge(second, [bundle]))
    assert find_list(second).read_bytes() == find_list(shop).read_bytes()


@pytest.mark.parametrize("has_original", [True, False])
def test_a_copy_by_synchronisation_is_named_and_merged(shop: Shop, has_original: bool) -> None:
    path = find_list(shop)
    copy = path.with_name(f"{path.stem} (conflicted copy){path.suffix}")
    path.rename(copy)
    if has_original:
        shutil.copy(copy, path)
    assert [found.path for found in find_conflict_copies(shop.folder)] == [copy]
    merge_conflict_copies(shop)
    assert (count_notes(shop), find_conflict_copies(shop.folder)) == (COUNT, [])
