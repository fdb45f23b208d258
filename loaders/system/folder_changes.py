"""Change several files of one folder together: after a crash all are changed, or none.

New files are staged in a hidden subfolder. Renaming that subfolder commits the change; afterwards
its files are moved into place, and if a crash interrupts that, the next reader finishes it. A lock
on the folder makes writers take turns.
"""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from secrets import token_hex
from typing import Final

from .atomic_write import sync_to_disk
from .locks import lock_folder

_STAGING: Final = ".merging-"
_COMMITTED: Final = ".merged"
_ABANDONED_S: Final = 86_400
_WAIT_S: Final = 30.0
"""Seconds to wait for another process that is changing the same folder."""


@contextmanager
def change_together(folder: Path) -> Iterator[Path]:
    """Yield a staging folder for new files; afterwards move them to the same paths in ``folder``.

    Read the folder inside the block: other writers wait until it ends. When the block raises,
    nothing has changed.

    Raises OSError; BusyError when another process keeps the folder locked for 30 s.
    """
    with lock_folder(folder, _WAIT_S):
        _move_committed(folder)
        _remove_abandoned(folder)
        with _stage(folder) as staging:
            yield staging
        _move_committed(folder)


def finish_changes(folder: Path) -> None:
    """Move the files of a committed but interrupted change into place. Raises OSError."""
    if (folder / _COMMITTED).is_dir():
        with lock_folder(folder, _WAIT_S):
            _move_committed(folder)


@contextmanager
def _stage(folder: Path) -> Iterator[Path]:
    """Yield a new subfolder; commit it afterwards, or remove it when the block raises."""
    staging = folder / f"{_STAGING}{token_hex(8)}"
    staging.mkdir()
    try:
        yield staging
        for path in (*_files(staging), *(p for p in staging.rglob("*") if p.is_dir()), staging):
            sync_to_disk(path)
        staging.rename(folder / _COMMITTED)
    except BaseException:
        shutil.rmtree(staging, ignore_errors=True)
        raise


def _move_committed(folder: Path) -> None:
    committed = folder / _COMMITTED
    if not committed.is_dir():
        return
    for path in _files(committed):
        place = folder / path.relative_to(committed)
        place.parent.mkdir(parents=True, exist_ok=True)
        path.replace(place)
        sync_to_disk(place.parent)
    shutil.rmtree(committed, ignore_errors=True)
    sync_to_disk(folder)


def _remove_abandoned(folder: Path) -> None:
    """Remove staging folders too old to be still in use."""
    for staging in folder.glob(f"{_STAGING}*"):
        if time.time() - staging.stat().st_mtime > _ABANDONED_S:
            shutil.rmtree(staging, ignore_errors=True)


def _files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())
