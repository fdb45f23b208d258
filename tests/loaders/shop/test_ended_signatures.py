"""What an ended key signed comes back with an older copy, and is signed again in one step."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from pinfolio.loaders.errors import Fault
from pinfolio.loaders.shop.bundle_reading import read_bundle
from pinfolio.loaders.shop.bundle_writing import select_notes_to_share, write_bundle
from pinfolio.loaders.shop.ended_signatures import list_ended_signatures, sign_ended_again
from pinfolio.loaders.shop.merging import apply_plan, plan_merge
from pinfolio.loaders.shop.note_files import add_note, add_notes, draw_note_id, load_all_notes
from pinfolio.loaders.shop.shop_devices import revoke_device, rotate_key
from pinfolio.loaders.shop.shop_folder import KEY_FILE, Shop, ShopError, init_shop
from pinfolio.plugins.terminal.cli import main

from .exchanged_bundles import make_note
from .shop_computers import copy_notes

COUNT = 60


def count_counting(shop: Shop) -> tuple[int, int]:
    """How many notes count, and how many faults there are."""
    set_aside: list[Fault] = []
    return len(load_all_notes(shop, set_aside)), len(set_aside)


@pytest.fixture
def older_copy(desk: Shop, other: Shop, tmp_path: Path) -> Callable[[], None]:
    """Puts back the notes as they were before; there are files, a list, and another shop's."""
    note = make_note("bench-a", "Warm.", "a")
    add_notes(desk, [note.model_copy(update={"id": draw_note_id()}) for _ in range(COUNT)])
    add_note(other, make_note("bench-b", "Theirs.", "b"))
    write_bundle(other, select_notes_to_share(other), tmp_path / "b.bundle")
    apply_plan(plan_merge(desk, [read_bundle(tmp_path / "b.bundle")]), accept_new=True)
    copy = tmp_path / "copy"
    shutil.copytree(desk.folder, copy, ignore=shutil.ignore_patterns(KEY_FILE, "keys"))

    def put_back() -> None:
        shutil.copytree(copy, desk.folder, dirs_exist_ok=True)

    return put_back


def test_all_come_back_in_one_step(desk: Shop, older_copy: Callable[[], None]) -> None:
    rotate_key(desk)
    assert count_counting(desk) == (COUNT + 2, 0)
    older_copy()
    assert count_counting(desk)[0] == 0
    (ended,) = list_ended_signatures(desk)
    assert (len(ended.notes), ended.received) == (COUNT + 1, 1)
    assert ended.reason.startswith("the shop changed this key for another on ")
    sign_ended_again(desk, [ended])
    assert count_counting(desk) == (COUNT + 2, 0)
    assert list_ended_signatures(desk) == []


def test_what_a_revoked_device_had_signed_is_listed_apart(desk: Shop, laptop: Shop) -> None:
    add_note(laptop, make_note("bench-a", "Late.", "x"))
    revoke_device(desk, "laptop")
    copy_notes(laptop, desk)
    ended = list_ended_signatures(desk)
    assert {note.text for one in ended for note in one.notes} >= {"Late."}
    assert all("the device laptop was revoked" in one.reason for one in ended)


def test_what_a_stranger_signed_is_never_listed(desk: Shop, tmp_path: Path) -> None:
    rogue = init_shop(tmp_path / "rogue", "bench-a")
    add_note(rogue, make_note("bench-a", "Rogue.", "r"))
    copy_notes(rogue, desk)
    assert list_ended_signatures(desk) == []


def test_an_ended_key_takes_nothing_back(desk: Shop, older_copy: Callable[[], None]) -> None:
    key = (desk.folder / KEY_FILE).read_bytes()
    rotate_key(desk)
    older_copy()
    (desk.folder / KEY_FILE).write_bytes(key)
    with pytest.raises(ShopError, match="this key may not sign here"):
        sign_ended_again(desk, list_ended_signatures(desk))


def test_the_command_shows_them_and_asks(desk: Shop, older_copy: Callable[[], None]) -> None:
    rotate_key(desk)
    older_copy()
    words = ["shop", "mend", "--sign-again", "--shop", str(desk.folder)]
    asked = CliRunner().invoke(main, words, input="n\n")
    assert "61 own notes and 1 notes of other shops; the shop changed this key" in asked.stderr
    assert "and 41 earlier ones" in asked.stderr
    assert count_counting(desk)[0] == 0
    taken = CliRunner().invoke(main, [*words, "--yes"])
    assert "61 notes are signed again." in taken.stdout
    assert "nothing that an ended key signed" in CliRunner().invoke(main, words).stdout
