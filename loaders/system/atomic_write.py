"""Text files written as a whole or not at all.

The text is written beside its place, brought to the disk, and only then given its name, so that
whoever looks there finds all of it or nothing, whenever the machine stops.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def replace_text(path: Path, text: str) -> None:
    """Put ``text`` in place of what the file holds, if there is one; what fails changes nothing.

    Line ends are written as they are in ``text``. Raises OSError.
    """
    path = path.resolve()  # behind a link, the file it leads to
    with _written_aside(path, text) as new:
        if path.exists():
            new.chmod(path.stat().st_mode & 0o777)
        new.replace(path)


def write_new_text(path: Path, text: str) -> None:
    """Write a file that is not there yet; raises FileExistsError if it is, else OSError."""
    if os.path.lexists(path):
        raise FileExistsError(path)
    with _written_aside(path, text) as new:
        _give_name(new, path)


@contextmanager
def _written_aside(path: Path, text: str) -> Iterator[Path]:
    """A file beside ``path`` with the text, on the disk; gone afterwards if it is still there."""
    new = path.with_name(f".{path.name}.{secrets.token_hex(4)}.new")
    try:
        with new.open("x", encoding="utf-8", newline="") as opened:
            opened.write(text)
            opened.flush()
            os.fsync(opened.fileno())
        yield new
    finally:
        new.unlink(missing_ok=True)


def _give_name(new: Path, path: Path) -> None:
    """Name the file; a second name cannot take the place of another file, as renaming could."""
    try:
        path.hardlink_to(new)
    except FileExistsError:
        raise
    except OSError:  # a file system without second names, such as that of a memory stick
        if os.path.lexists(path):
            raise FileExistsError(path) from None
        new.rename(path)
