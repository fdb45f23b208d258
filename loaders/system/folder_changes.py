"""Several files of one folder changed together: after a crash either all are changed or none.

The new files are laid out beside their places in a folder of their own. Renaming that folder is
the one step that decides; what comes after is only moving, which whoever opens the folder next
finishes. Who changes a folder holds the lock on it, so two at once come one after the other.
"""

from __future__ import annotations

import os
import secrets
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from .locks import alone_in

_LAYING_OUT: Final = ".merging-"
_DECIDED: Final = ".merged"
_ABANDONED_S: Final = 86_400
_WAIT_S: Final = 30.0
"""How long to wait for somebody else who changes the same folder."""


@contextmanager
def changed_together(folder: Path) -> Iterator[Path]:
    """A new folder to write files in, by their paths in ``folder``; all take effect at the end.

    Nobody else changes the folder meanwhile, so what it holds is to be read within the block. When
    that raises, or all ends within it, nothing has changed. Raises OSError: ``Busy``
    when somebody else is at it for long.
    """
    with alone_in(folder, _WAIT_S):
        _finish(folder)
        _clear_old(folder)
        with _laid_out(folder) as new:
            yield new
        _finish(folder)


@contextmanager
def _laid_out(folder: Path) -> Iterator[Path]:
    """A new folder, which is decided on at the end; gone when anything raises before."""
    new = folder / f"{_LAYING_OUT}{secrets.token_hex(8)}"
    new.mkdir()
    try:
        yield new
        for path in (*_files(new), *(p for p in new.rglob("*") if p.is_dir()), new):
            _to_disk(path)
        new.rename(folder / _DECIDED)
    except BaseException:
        shutil.rmtree(new, ignore_errors=True)
        raise


def finish_changes(folder: Path) -> None:
    """Move what was decided into place, and nothing where nothing was. Raises OSError."""
    if (folder / _DECIDED).is_dir():
        with alone_in(folder, _WAIT_S):
            _finish(folder)


def _finish(folder: Path) -> None:
    decided = folder / _DECIDED
    if not decided.is_dir():
        return
    for path in _files(decided):
        place = folder / path.relative_to(decided)
        place.parent.mkdir(parents=True, exist_ok=True)
        path.replace(place)
        _to_disk(place.parent)
    shutil.rmtree(decided, ignore_errors=True)
    _to_disk(folder)


def _clear_old(folder: Path) -> None:
    """Remove what was laid out and never decided, once nobody can still be at it."""
    for left in folder.glob(f"{_LAYING_OUT}*"):
        if time.time() - left.stat().st_mtime > _ABANDONED_S:
            shutil.rmtree(left, ignore_errors=True)


def _files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())


def _to_disk(path: Path) -> None:
    """Wait until a file's bytes, or a folder's entries, are on the disk."""
    if path.is_dir() and os.name == "nt":  # folders cannot be opened there
        return
    opened = os.open(path, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)
