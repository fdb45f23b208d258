"""Text files written as a whole or not at all."""

from __future__ import annotations

import os
import secrets
from pathlib import Path


def replace_text(path: Path, text: str) -> None:
    """Put ``text`` in place of what the file holds; whatever fails leaves it as it was.

    Line ends are written as they are in ``text``. Raises OSError.
    """
    path = path.resolve()  # behind a link, the file it leads to
    new = path.with_name(f".{path.name}.{secrets.token_hex(4)}.new")
    try:
        with new.open("x", encoding="utf-8", newline="") as opened:
            opened.write(text)
            opened.flush()
            os.fsync(opened.fileno())
        new.chmod(path.stat().st_mode & 0o777)
        new.replace(path)
    finally:
        new.unlink(missing_ok=True)


def write_new_text(path: Path, text: str) -> None:
    """Write a file that is not there yet; raises FileExistsError if it is, else OSError."""
    with path.open("x", encoding="utf-8", newline="") as opened:
        try:
            opened.write(text)
            opened.flush()
        except BaseException:
            path.unlink(missing_ok=True)
            raise
