"""Where the user's own things are kept: what was given on purpose, and what can be made again.

On Linux as the XDG Base Directory Specification says (https://specifications.freedesktop.org), in
four lines of our own, because platformdirs takes longer to import than a chip to look up; on other
systems as platformdirs knows. Both give the same folders: a test holds one against the other.
"""

from __future__ import annotations

import os
import sys


def data_folder() -> str:
    """What the user put there, such as a folio of their own."""
    return _folder("data", "XDG_DATA_HOME", "~/.local/share")


def cache_folder() -> str:
    """What can be made again, such as the demonstration."""
    return _folder("cache", "XDG_CACHE_HOME", "~/.cache")


def _folder(what: str, variable: str, ordinary: str) -> str:
    if sys.platform != "linux":
        import platformdirs

        name = getattr(platformdirs, f"user_{what}_dir")("pinfolio", appauthor=False)
        return str(name)
    base = os.environ.get(variable, "").strip() or os.path.expanduser(ordinary)
    return os.path.join(base, "pinfolio")
