"""Change several files of one folder together: after a crash all are changed, or none.

New files are staged in a hidden subfolder. Renaming that subfolder commits the change; afterwards
its files are moved into place, and if a crash interrupts that, the next writer finishes it. A lock
on the folder makes writers take turns.

A folder may come from somebody else, hidden subfolder included. So each change holds a record of
its files, authenticated by a secret that never leaves this computer, and only a change with such a
record is ever finished.
"""

from __future__ import annotations

import errno
import hashlib
import hmac
import json
import os
import secrets
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from platformdirs import user_state_path

from .atomic_write import sync_to_disk, write_atomically
from .links import find_link, is_link
from .locks import lock_folder

_STAGING: Final = ".merging-"
_COMMITTED: Final = ".merged"
_RECORD: Final = ".record"
_SECRET_BYTES: Final = 32
_OWNER_ONLY, _OWNER_ONLY_FOLDER = 0o600, 0o700
_ABANDONED_S: Final = 86_400
_WAIT_S: Final = 30.0
"""Seconds to wait for another process that is changing the same folder."""


class ForeignChangeError(OSError):
    """A folder holds an unfinished change that was not made on this computer."""

    def __init__(self, committed: Path) -> None:
        reason = "unfinished change that was not made on this computer; look into it and remove it"
        super().__init__(errno.EPERM, reason, str(committed))


class LinkInFolderError(OSError):
    """A path to be written leads through a symbolic link."""

    def __init__(self, link: Path) -> None:
        reason = "symbolic links are not followed here; replace it with a real file or folder"
        super().__init__(errno.ELOOP, reason, str(link))


@contextmanager
def change_together(folder: Path) -> Iterator[Path]:
    """Yield a staging folder for new files; afterwards move them to the same paths in ``folder``.

    Read the folder inside the block: other writers wait until it ends. When the block raises,
    nothing has changed.

    Raises OSError; BusyError when another process keeps the folder locked for 30 s;
    ForeignChangeError; LinkInFolderError.
    """
    with lock_folder(folder, _WAIT_S):
        _finish_own_change(folder)
        _remove_abandoned(folder)
        with _stage(folder) as staging:
            yield staging
        _move_committed(folder)


def finish_changes(folder: Path) -> None:
    """Move the files of a committed but interrupted change into place.

    Raises OSError, ForeignChangeError.
    """
    if has_unfinished_change(folder):
        with lock_folder(folder, _WAIT_S):
            _finish_own_change(folder)


def has_unfinished_change(folder: Path) -> bool:
    """Return whether a committed change still waits to be moved into place."""
    return os.path.lexists(folder / _COMMITTED)


@contextmanager
def _stage(folder: Path) -> Iterator[Path]:
    """Yield a new subfolder; commit it afterwards, or remove it when the block raises."""
    staging = folder / f"{_STAGING}{secrets.token_hex(8)}"
    staging.mkdir()
    try:
        yield staging
        for path in _list_files(staging):
            _require_no_links(folder, path.relative_to(staging))
        _write_record(staging)
        # All must be on the disk before the rename that commits it, folders after their files.
        subfolders = [path for path in staging.rglob("*") if path.is_dir()]
        for path in (*_list_files(staging), *subfolders, staging):
            sync_to_disk(path)
        staging.rename(folder / _COMMITTED)
    except BaseException:
        shutil.rmtree(staging, ignore_errors=True)
        raise


def _finish_own_change(folder: Path) -> None:
    """Finish an interrupted change if it was made on this computer, and refuse any other."""
    committed = folder / _COMMITTED
    if not has_unfinished_change(folder):
        return
    # A link could make this process move files from anywhere on the disk.
    if is_link(committed) or not committed.is_dir() or find_link(committed):
        raise ForeignChangeError(committed)
    unmoved_files = [path for path in _list_files(committed) if path.name != _RECORD]
    # With all files moved only the record, or nothing, is left to be removed.
    if unmoved_files:
        recorded_digests = _read_record(committed)
        for path in unmoved_files:
            relative_path = path.relative_to(committed)
            if recorded_digests.get(relative_path.as_posix()) != _digest(path):
                raise ForeignChangeError(committed)
            _require_no_links(folder, relative_path)
    _move_committed(folder)


def _move_committed(folder: Path) -> None:
    committed = folder / _COMMITTED
    for path in _list_files(committed):
        if path.name == _RECORD:
            continue
        place = folder / path.relative_to(committed)
        place.parent.mkdir(parents=True, exist_ok=True)
        path.replace(place)
        sync_to_disk(place.parent)
    shutil.rmtree(committed, ignore_errors=True)
    sync_to_disk(folder)


def _write_record(staging: Path) -> None:
    """Write the digest of each staged file, and their authentication code (RFC 2104)."""
    digests = {p.relative_to(staging).as_posix(): _digest(p) for p in _list_files(staging)}
    body = json.dumps(digests, sort_keys=True)
    code = hmac.new(_load_secret(), body.encode(), hashlib.sha256).hexdigest()
    (staging / _RECORD).write_text(f"{code}\n{body}\n", encoding="utf-8")


def _read_record(committed: Path) -> dict[str, str]:
    """Return the digest of each file of a change; raises ForeignChangeError."""
    try:
        code, body, _ = (committed / _RECORD).read_text(encoding="utf-8").split("\n")
        expected = hmac.new(_load_secret(), body.encode(), hashlib.sha256).hexdigest()
        if not hmac.compare_digest(code.encode(), expected.encode()):
            raise ForeignChangeError(committed)
        digests: dict[str, str] = json.loads(body)
    except (FileNotFoundError, ValueError):
        raise ForeignChangeError(committed) from None
    return digests


def _load_secret() -> bytes:
    """Return this computer's secret, drawn on first use; raises OSError."""
    path = user_state_path("pinfolio", appauthor=False) / "changes.secret"
    try:
        secret = path.read_bytes()
    except FileNotFoundError:
        path.parent.mkdir(parents=True, exist_ok=True, mode=_OWNER_ONLY_FOLDER)
        try:
            write_atomically(path, secrets.token_bytes(_SECRET_BYTES), overwrite=False)
            path.chmod(_OWNER_ONLY)
        except FileExistsError:  # another process was first
            pass
        secret = path.read_bytes()
    if len(secret) != _SECRET_BYTES:
        raise OSError(errno.EINVAL, "damaged; remove it, and a new one is made", str(path))
    return secret


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _require_no_links(folder: Path, relative: Path) -> None:
    """Raise LinkInFolderError if a file or folder on the way to a destination is a link."""
    place = folder
    for name in relative.parts:
        place = place / name
        if is_link(place):
            raise LinkInFolderError(place)


def _remove_abandoned(folder: Path) -> None:
    """Remove staging folders too old to be still in use."""
    for staging in folder.glob(f"{_STAGING}*"):
        if not is_link(staging) and time.time() - staging.stat().st_mtime > _ABANDONED_S:
            shutil.rmtree(staging, ignore_errors=True)


def _list_files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())
