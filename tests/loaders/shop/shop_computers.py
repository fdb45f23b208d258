"""Notes, bundles and copies of folders of the tests with several computers of one shop."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from tempfile import TemporaryDirectory
from typing import Any, Final

import pytest
from pinfolio.loaders.errors import Fault
from pinfolio.loaders.shop.bundle_reading import Bundle, read_bundle
from pinfolio.loaders.shop.bundle_writing import select_notes_to_share, write_bundle
from pinfolio.loaders.shop.merging import apply_plan, plan_merge
from pinfolio.loaders.shop.note_files import add_note, load_all_notes
from pinfolio.loaders.shop.shop_folder import KEY_FILE, Shop, open_shop
from pinfolio.schema.note import Note

from .exchanged_bundles import make_note

_NUMBERS: Final = count()


def make_caution(shop: str, text: str = "Reads so.", name: str = "a", **fields: Any) -> Note:
    return make_note(shop, text, name, kind="caution", **fields)


def share_notes(shop: Shop) -> Bundle:
    """Return the bundle that a computer of a shop would hand to others now."""
    path = shop.folder.parent / f"{next(_NUMBERS)}.bundle"
    write_bundle(shop, select_notes_to_share(shop, set_aside=[]), path)
    return read_bundle(path)


def merge_bundles(shop: Shop, *bundles: Bundle, name: str | None = None) -> None:
    apply_plan(plan_merge(shop, bundles, name), accept_new=True)


def read_texts(shop: Shop, set_aside: list[Fault] | None = None) -> set[str | None]:
    faults: list[Fault] = [] if set_aside is None else set_aside
    return {note.text for note in load_all_notes(shop, faults)}


def clone_folder(shop: Shop, name: str) -> Shop:
    """Copy the folder as version control makes it: without the private key."""
    folder = shop.folder.parent / name
    shutil.copytree(shop.folder, folder, ignore=shutil.ignore_patterns(KEY_FILE))
    return open_shop(folder)


@contextmanager
def use_strange_computer() -> Iterator[None]:
    """Work at a computer that knows nothing of what this one remembers."""
    with TemporaryDirectory() as state, pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_STATE_HOME", state)
        yield


def copy_notes(source: Shop, target: Shop) -> None:
    """Bring every file of the notes and statements over, as synchronisation does."""
    for inner in ("keys", "notes"):
        if (source.folder / inner).is_dir():
            shutil.copytree(source.folder / inner, target.folder / inner, dirs_exist_ok=True)


def share_first_note(shop: Shop) -> Bundle:
    """Return the bundle of a shop that has written one note."""
    add_note(shop, make_caution(shop.handle, "Theirs.", "o"))
    return share_notes(shop)
