"""Cache of recently verified folios, so the whole file is not hashed on every query.

Hashing a gigabyte takes more than half a second. A folio that was intact is trusted for a day,
recognised by device, inode, size and times of change. Any write changes these, so only a disk that
loses bits by itself is noticed up to a day late. Each entry is an empty file in the user's cache
folder: its name identifies the folio, its modification time says when it was verified.
"""

from __future__ import annotations

import os
import time
from contextlib import suppress
from pathlib import Path
from typing import Final

from ..system.user_folders import cache_folder

_TRUSTED_S: Final = 24 * 3600.0

_SETTLED_S: Final = 4.0
"""A younger file is not cached: a second change within one tick of the file system's clock would
go unnoticed. The slowest clock, that of FAT, ticks every two seconds."""


def is_known_intact(status: os.stat_result) -> bool:
    """Return whether the file with this status was verified within a day, unchanged since."""
    try:
        age_s = time.time() - _locate_entry(status).stat().st_mtime
    except OSError:
        return False
    return 0 <= age_s < _TRUSTED_S


def remember_intact(status: os.stat_result) -> None:
    """Record that the file with this status is intact; do nothing if that cannot be stored."""
    if time.time() - max(status.st_mtime, status.st_ctime) < _SETTLED_S:
        return
    entry = _locate_entry(status)
    with suppress(OSError):
        entry.parent.mkdir(parents=True, exist_ok=True)
        _remove_expired(entry.parent)
        entry.touch()


def _remove_expired(folder: Path) -> None:
    for entry in folder.iterdir():
        if time.time() - entry.stat().st_mtime > _TRUSTED_S:
            entry.unlink(missing_ok=True)


def _locate_entry(status: os.stat_result) -> Path:
    identity = (
        status.st_dev,
        status.st_ino,
        status.st_size,
        status.st_mtime_ns,
        status.st_ctime_ns,
    )
    return cache_folder() / "whole" / "-".join(str(number) for number in identity)
