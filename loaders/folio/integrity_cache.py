"""Folios that were found whole a short while ago, so that not every question reads all of one.

A gigabyte takes more than half a second to read through. What was found whole is remembered for a
day by what the system says of the file: where it is on the disk, how long, and when it was last
changed. Any write to a file changes that, so only a medium that loses bits by itself is met a day
late. Each is an empty file in the user's cache folder: its name says of what, its date since when.
"""

from __future__ import annotations

import os
import time

from ..system.user_folders import cache_folder

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from pathlib import Path
    from typing import Final

_TRUSTED_S: Final = 24 * 3600.0

_SETTLED_S: Final = 4.0
"""Two changes within one tick of the file system's clock look like one; no clock ticks slower than
twice a second or so, save that of FAT, which has two seconds."""


def is_known_intact(found: os.stat_result) -> bool:
    """Whether this very file, unchanged since, was found whole within a day."""
    try:
        since = time.time() - os.stat(_name_for(found)).st_mtime
    except OSError:
        return False
    return 0 <= since < _TRUSTED_S


def remember_intact(found: os.stat_result) -> None:
    """Remember that this very file is whole; nothing happens where that cannot be kept."""
    if time.time() - max(found.st_mtime, found.st_ctime) < _SETTLED_S:
        return
    from contextlib import suppress
    from pathlib import Path

    name = Path(_name_for(found))
    with suppress(OSError):
        name.parent.mkdir(parents=True, exist_ok=True)
        _forget_old(name.parent)
        name.touch()


def _forget_old(folder: Path) -> None:
    for name in folder.iterdir():
        if time.time() - name.stat().st_mtime > _TRUSTED_S:
            name.unlink(missing_ok=True)


def _name_for(found: os.stat_result) -> str:
    facts = (found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns)
    name = "-".join(str(fact) for fact in facts)
    return os.path.join(cache_folder(), "whole", name)
