"""kill -9 at random instants of every command that writes a shop's folder: before, or after.

A killed process cleans nothing up. The next command that writes finishes a change that was
committed; then the key signs, every note that was there counts, and nothing is set aside.
"""

from __future__ import annotations

import errno
import itertools
import os
import shutil
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from pinfolio.loaders.errors import Fault
from pinfolio.loaders.shop.bundle_reading import read_bundle
from pinfolio.loaders.shop.bundle_writing import select_notes_to_share, write_bundle
from pinfolio.loaders.shop.conflict_copies import is_conflict_copy
from pinfolio.loaders.shop.copy_merging import merge_conflict_copies
from pinfolio.loaders.shop.merging import Plan, apply_plan, plan_merge
from pinfolio.loaders.shop.note_files import add_note, add_notes, draw_note_id, load_all_notes
from pinfolio.loaders.shop.shop_backup import restore_backup, write_backup
from pinfolio.loaders.shop.shop_devices import (
    certify_device,
    request_device,
    revoke_device,
    rotate_key,
)
from pinfolio.loaders.shop.shop_folder import (
    KEY_FILE,
    Shop,
    ShopError,
    init_shop,
    open_shop,
)
from pinfolio.loaders.shop.shop_place import is_shop
from pinfolio.schema.note import Note

Kill = Callable[..., None]
ROWS = 60  # more than are kept in a file each
WORDS = "a solder joint in May"


def make_note(shop: str, name: str | None = None) -> Note:
    fields = {
        "id": name or draw_note_id(),
        "kind": "remark",
        "shop": shop,
        "author": shop,
        "date": "2026-11-25",
        "chip": "QZ1000",
        "at": "pin 3",
        "text": "Reads so.",
    }
    return Note.model_validate(fields)


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    shop = init_shop(tmp_path / "bench", "bench-a")
    for _ in range(5):
        add_note(shop, make_note("bench-a"))
    return shop


def require_whole(folder: Path, fewest_notes: int) -> int:
    """Finish what was interrupted; the number of notes, of which none is set aside."""
    shop = open_shop(folder, to_change=True)
    shop.load_private_key(to_share=True)
    set_aside: list[Fault] = []
    notes = load_all_notes(shop, set_aside)
    assert set_aside == []
    assert len(notes) >= fewest_notes
    return len(notes)


def test_init_killed_at_any_instant(tmp_path: Path, kill_at_random: Kill) -> None:
    """Repeated in the same folder, it makes the shop, or says that it is there."""
    numbers = itertools.count()
    seen = Counter[bool]()
    folder = tmp_path

    def next_folder() -> tuple[Path, str]:
        nonlocal folder
        folder = tmp_path / f"bench-{next(numbers)}"
        return folder, "bench-a"

    def check() -> None:
        seen[folder.exists() and not is_shop(folder)] += 1
        with suppress(ShopError):  # finished by this one
            init_shop(folder, "bench-a")
        assert require_whole(folder, 0) == 0

    kill_at_random(init_shop, next_folder, check, 60, 11, lambda: seen[True] > 0)


def test_adding_and_rotating_killed_at_any_instant(shop: Shop, kill_at_random: Kill) -> None:
    fewest = 5

    def check() -> None:
        nonlocal fewest
        fewest = require_whole(shop.folder, fewest)

    def next_note() -> tuple[Shop, Note]:
        return shop, make_note("bench-a")

    kill_at_random(add_note, next_note, check, 60, 12, lambda: fewest > 5)
    kill_at_random(rotate_key, lambda: (shop,), check, 40, 13, lambda: has_rotated(shop))


def test_importing_and_taking_killed_at_any_instant(shop: Shop, kill_at_random: Kill) -> None:
    """All rows of a table come in with its columns, or none; then so does a note of a page."""
    columns, fewest, counts = shop.folder / "import-columns.toml", 5, set[int]()

    def check() -> None:
        nonlocal fewest
        before, fewest = fewest, require_whole(shop.folder, fewest)
        counts.add(fewest - before)

    def next_rows() -> tuple[Shop, list[Note], dict[Path, bytes]]:
        return shop, [make_note("bench-a") for _ in range(ROWS)], {columns: b"# columns\n"}

    kill_at_random(add_notes, next_rows, check, 30, 19, lambda: fewest > 5)
    assert counts == {0, ROWS}
    assert columns.read_bytes() == b"# columns\n"
    kill_at_random(add_note, lambda: (shop, make_note("bench-a")), check, 10, 20, lambda: True)


def has_rotated(shop: Shop) -> bool:
    return len(shop.load_keys().chain) > 1


def test_merging_killed_at_any_instant(shop: Shop, tmp_path: Path, kill_at_random: Kill) -> None:
    bundles = []
    for number in range(40):
        sender = init_shop(tmp_path / f"sender-{number}", f"sender-{number}")
        add_note(sender, make_note(sender.handle))
        write_bundle(sender, select_notes_to_share(sender), tmp_path / f"{number}.bundle")
        bundles.append(read_bundle(tmp_path / f"{number}.bundle"))
    fewest, endless = 5, itertools.cycle(bundles)

    def check() -> None:
        nonlocal fewest
        fewest = require_whole(shop.folder, fewest)

    def next_plan() -> tuple[Plan]:
        return (Plan(shop, (next(endless),), added={"any": []}),)

    merge = partial(apply_plan, accept_new=True)
    kill_at_random(merge, next_plan, check, 60, 14, lambda: fewest > 5)
    merge(plan_merge(shop, bundles))
    assert require_whole(shop.folder, fewest) == 45


def test_devices_killed_at_any_instant(shop: Shop, kill_at_random: Kill) -> None:
    """No revocation that was made is lost, and no revoked device signs."""
    own = (shop.folder / KEY_FILE).read_bytes()
    names = (f"device-{number}" for number in itertools.count())

    def next_device() -> tuple[Shop, str]:
        """One that waits to be certified."""
        name = next(names)
        (shop.folder / KEY_FILE).unlink()
        request_device(shop, name)
        (shop.folder / KEY_FILE).write_bytes(own)
        return shop, name

    revoked = set[str]()

    def check() -> None:
        require_whole(shop.folder, 5)
        keys = shop.load_keys()
        revoked_now = {statement.key for statement in keys.revocations}
        assert revoked <= revoked_now
        assert not revoked_now & set(keys.signers)
        revoked.update(revoked_now)

    kill_at_random(certify_device, next_device, check, 20, 15, lambda: True)
    kill_at_random(revoke_device, next_device, check, 20, 16, lambda: bool(revoked))


def test_mending_killed_at_any_instant(shop: Shop, kill_at_random: Kill) -> None:
    def copy_all() -> tuple[Shop]:
        for path in [*shop.notes.glob("signed/*.signed"), *shop.notes.glob("*.yaml")]:
            if not is_conflict_copy(path):
                shutil.copyfile(path, path.with_name(f"{path.stem} (copy){path.suffix}"))
        return (shop,)

    def check() -> None:
        merge_conflict_copies(open_shop(shop.folder, to_change=True))
        require_whole(shop.folder, 5)

    kill_at_random(merge_conflict_copies, copy_all, check, 30, 17, lambda: True)


@pytest.mark.parametrize("reason", [errno.ENOSPC, errno.EIO])
def test_a_disk_that_fails_at_any_write(
    shop: Shop, tmp_path: Path, reason: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The change was made or not, the key that signs is whole, and no note is lost."""
    jobs: tuple[tuple[int, Callable[[], object]], ...] = (
        (12, lambda: init_shop(tmp_path / "new", "bench-a")),
        (12, lambda: add_note(shop, make_note("bench-a"))),
        (24, lambda: rotate_key(shop)),
        (3, lambda: write_backup(shop, tmp_path / "key.backup", WORDS)),
    )
    for writes, job in jobs:
        errors = list[str]()
        for number in range(1, writes):
            with monkeypatch.context() as patch, suppress_errors(errors):
                patch.setattr(os, "fsync", fail_at(number, reason))
                job()
            require_whole(shop.folder, 5)
        assert any(os.strerror(reason) in error for error in errors)
    with suppress(ShopError):  # it was made after all
        init_shop(tmp_path / "new", "bench-a")
    assert require_whole(tmp_path / "new", 0) == 0
    write_backup(shop, tmp_path / "key.backup", WORDS)
    restore_backup(tmp_path / "key.backup", shop.folder, WORDS)


@contextmanager
def suppress_errors(errors: list[str]) -> Iterator[None]:
    """Append the message of a ShopError to ``errors``; any other error is a failure."""
    try:
        yield
    except ShopError as error:
        errors.append(str(error))


def fail_at(number: int, reason: int) -> Callable[[int], None]:
    """An os.fsync that fails at its nth call."""
    left = itertools.count(1)

    def fsync(_: int) -> None:
        if next(left) == number:
            raise OSError(reason, os.strerror(reason))

    return fsync


def test_restoring_killed_at_any_instant(shop: Shop, tmp_path: Path, kill_at_random: Kill) -> None:
    backup = tmp_path / "key.backup"
    write_backup(shop, backup, WORDS)
    own = shop.load_private_key()
    before = {path: path.read_bytes() for path in shop.folder.rglob("*") if path.is_file()}

    def lose_key() -> tuple[Any, ...]:
        (shop.folder / KEY_FILE).unlink(missing_ok=True)
        return backup, shop.folder, WORDS

    def check() -> None:
        restored = open_shop(shop.folder, to_change=True)
        if restored.has_private_key():
            assert restored.load_private_key() == own

    kill_at_random(restore_backup, lose_key, check, 10, 18, lambda: True)
    lose_key()
    restore_backup(backup, shop.folder, WORDS)
    assert require_whole(shop.folder, 5) == 5
    assert {path: path.read_bytes() for path in before} == before
