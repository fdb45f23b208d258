"""Files that arrive in a folder, each once it is complete; found by looking again and again."""

from __future__ import annotations

import re
import stat
from collections.abc import Callable
from pathlib import Path
from typing import Final, NamedTuple

_SETTLED_LOOKS: Final = 3
"""How often a file without an end mark must be found unchanged to count as complete."""


class _Stamp(NamedTuple):
    """The identity of a file's bytes: a file that grows or is written again has another."""

    inode: int
    size: int
    written_ns: int


class ArrivingFiles:
    """The regular files whose name fits a pattern, in one folder; links are not followed.

    Those that are there from the beginning do not arrive, unless they change. ``has_end`` tells
    whether the bytes of a file end as a complete one does; any other file counts as complete when
    it stays unchanged for three looks.
    """

    def __init__(self, folder: Path, pattern: re.Pattern[str], has_end: Callable[[Path], bool]):
        self._folder, self._pattern, self._has_end = folder, pattern, has_end
        self._done = self._list_stamps()
        self._looks: dict[Path, tuple[_Stamp, int]] = {}

    @property
    def already_there(self) -> int:
        """How many such files were there from the beginning, or have arrived since."""
        return len(self._done)

    def look(self) -> list[Path]:
        """Return the files that are complete now and were not before, sorted by name.

        Raises OSError if the folder cannot be read.
        """
        stamps = self._list_stamps()
        # A file that was removed is forgotten, so that one of its name begins anew.
        self._looks = {path: look for path, look in self._looks.items() if path in stamps}
        complete_paths = []
        for path, stamp in stamps.items():
            # An empty file is one that another program has only just created.
            if self._done.get(path) == stamp or not stamp.size:
                continue
            earlier_stamp, unchanged_looks = self._looks.get(path, (stamp, 0))
            unchanged_looks = unchanged_looks + 1 if earlier_stamp == stamp else 1
            self._looks[path] = (stamp, unchanged_looks)
            if unchanged_looks >= _SETTLED_LOOKS or self._has_end(path):
                self._done[path] = stamp
                complete_paths.append(path)
        return complete_paths

    def _list_stamps(self) -> dict[Path, _Stamp]:
        stamps = {}
        for path in sorted(self._folder.iterdir()):
            if self._pattern.fullmatch(path.name):
                try:
                    state = path.lstat()
                except OSError:  # renamed or removed just now
                    continue
                if stat.S_ISREG(state.st_mode):
                    stamps[path] = _Stamp(state.st_ino, state.st_size, state.st_mtime_ns)
        return stamps
