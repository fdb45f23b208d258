"""Find symbolic links in a folder that comes from elsewhere, before its files are followed."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Final

_VERSION_CONTROL: Final = ".git"  # many files, none of which is read or written here


def find_link(folder: Path) -> Path | None:
    """Return the first link or junction in a folder, at any depth; None if there is none.

    ``folder`` itself may be a link: its owner has chosen that path. Raises OSError.
    """
    pending = [folder]
    while pending:
        with os.scandir(pending.pop()) as entries:
            for entry in sorted(entries, key=lambda entry: entry.name):
                if is_link(entry):
                    return Path(entry.path)
                if entry.is_dir(follow_symlinks=False) and entry.name != _VERSION_CONTROL:
                    pending.append(Path(entry.path))
    return None


def is_link(path: Path | os.DirEntry[str]) -> bool:
    """Return whether a path is a symbolic link or, on Windows, a junction."""
    if path.is_symlink():
        return True
    return sys.version_info >= (3, 12) and path.is_junction()
