"""Quote words of a command that is printed for a person to copy into a shell."""

from __future__ import annotations

import os
import shlex
from pathlib import Path


def quote_word(word: Path | str) -> str:
    """Return a word as the shell of this system must be given it, so that it stays one word."""
    if os.name == "nt":
        import subprocess

        return subprocess.list2cmdline([str(word)])
    return shlex.quote(str(word))
