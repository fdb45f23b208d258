"""A new folio is written beside its place, sealed, brought to the disk, and only then named.

Whoever looks there finds the whole old folio or the whole new one, whenever the machine stops. What
a stopped build leaves beside the place is taken away by the next one: whoever writes such a file
holds a lock on it, which the system lets go with the process, however that ended.
"""

from __future__ import annotations

import os
import re
import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from ..system.locks import lock
from .download_origin import forget_fetch
from .folio_file import FolioError, build_command, is_folio_file
from .seal import seal

_LOOKED_AT_S: Final = 5.0
"""How long another build may look at a file of ours, whether it is a leftover."""


@contextmanager
def put_in_place(out: Path) -> Iterator[Path]:
    """A new, empty file to make a folio in, which takes the place of ``out`` once it is whole.

    Whoever opens it must have closed it again before. SQLite is to open it without locks of its
    own (``nolock=1``), which some systems confuse with the one that is held here. Raises
    FolioError when ``out`` is no folio or cannot be written; it then stays as it was.
    """
    out = out.resolve()
    refuse_other_file(out)
    try:
        _remove_leftovers(out)
        with _locked_beside(out) as new:
            yield new
            seal(new)
            take_place(new, out)
            forget_fetch(out)
    except sqlite3.Error as fault:
        raise FolioError(f"{out}: cannot be written ({fault}); {_elsewhere()}") from fault
    except OSError as fault:
        raise FolioError(f"{out}: cannot be written ({fault.strerror}); {_elsewhere()}") from fault


def refuse_other_file(out: Path) -> None:
    """Raise FolioError where a file is that is no folio: it is not ours to replace."""
    if out.is_file() and out.stat().st_size and not is_folio_file(out):
        raise FolioError(
            f"{out}: is there and is not a folio; name another file: {build_command()}"
        )


def take_place(new: Path, out: Path) -> None:
    """Bring a whole folio to the disk and then give it the name of the old one. Raises OSError."""
    with suppress(FileNotFoundError):
        new.chmod(out.stat().st_mode & 0o777)
    flush(new)
    new.replace(out)
    flush(out.parent)


def flush(path: Path) -> None:
    """Wait until a file, or the names in a folder, are on the disk."""
    with suppress(PermissionError):  # not every system lets a folder be opened
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextmanager
def _locked_beside(out: Path) -> Iterator[Path]:
    """A new file beside ``out``, locked while it is written; gone afterwards if still there."""
    new = out.with_name(f".{out.name}.{secrets.token_hex(4)}.new")
    try:
        with _locked(new):
            yield new
    finally:
        new.unlink(missing_ok=True)


@contextmanager
def _locked(new: Path) -> Iterator[None]:
    """Make a file and hold the lock on it."""
    while True:
        with new.open("xb") as held:
            lock(held, wait_s=_LOOKED_AT_S)
            if new.exists():  # no other build took it for a leftover before it was locked
                yield
                return


def _remove_leftovers(out: Path) -> None:
    """Take away what builds of ``out`` left that were stopped; not what is still written."""
    ours = re.compile(rf"\.{re.escape(out.name)}\.[0-9a-f]{{8}}\.new(-journal)?")
    for left in out.parent.iterdir():
        if ours.fullmatch(left.name):
            with suppress(OSError), left.open("rb") as held:
                lock(held)
                left.unlink()


def _elsewhere() -> str:
    return f"make room or name another place: {build_command()}"
