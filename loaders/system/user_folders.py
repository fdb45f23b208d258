"""Folders for the user's own files and for files that can be recreated.

On Linux they follow the XDG Base Directory Specification (https://specifications.freedesktop.org).
platformdirs gives the same paths, as a test checks, but takes longer to import than a chip takes
to look up; it is used on other systems.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path


def locate_data_folder() -> Path:
    """Return the folder for the user's own files, such as a folio."""
    return _locate_folder("data", "XDG_DATA_HOME", "~/.local/share")


def cache_folder() -> Path:
    """Return the folder for files that can be recreated, such as the demonstration."""
    return _locate_folder("cache", "XDG_CACHE_HOME", "~/.cache")


def _locate_folder(purpose: str, variable: str, default: str) -> Path:
    if sys.platform != "linux":
        import platformdirs

        return Path(getattr(platformdirs, f"user_{purpose}_dir")("pinfolio", appauthor=False))
    base = os.environ.get(variable, "").strip()
    return (Path(base) if base else Path(default).expanduser()) / "pinfolio"
