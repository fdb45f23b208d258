"""Replace a folio atomically: write beside it, seal, sync to the disk, then rename.

Readers see the whole old folio or the whole new one. A killed build leaves its temporary file
behind, and the next build of that folio removes it: every running build holds a lock on its own
temporary file, so an unlocked one is a leftover.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from ..system.atomic_write import (
    WrongKindError,
    make_temporary_path,
    move_into_place,
    require_replaceable,
)
from ..system.locks import lock_file
from .download_origin import forget_fetch
from .folio_file import FolioError, build_command, is_folio_file
from .seal import add_seal

_WAIT_S: Final = 5.0
"""Seconds to wait for another build that checks whether our file is a leftover."""


@contextmanager
def replace_folio(out: Path) -> Iterator[Path]:
    """Yield an empty file to build a folio in; afterwards seal it and rename it to ``out``.

    Connections to it must be closed inside the block, and opened with ``nolock=1``: on some
    systems SQLite's own locks conflict with the lock held here.

    Raises FolioError when ``out`` is not a folio or cannot be written; it then stays as it was.
    """
    out = out.resolve()
    refuse_other_file(out)
    try:
        _remove_leftovers(out)
        with _create_locked(out) as temporary:
            yield temporary
            add_seal(temporary)
            move_into_place(temporary, out)
            forget_fetch(out)
    except (sqlite3.Error, OSError) as error:
        reason = error.strerror if isinstance(error, OSError) else error
        raise FolioError(
            f"{out}: cannot be written ({reason}); make room or name another place:"
            f" {build_command()}"
        ) from error


def refuse_other_file(out: Path) -> None:
    """Raise FolioError when ``out`` holds a file that is not a folio, which must not be lost."""
    try:
        require_replaceable(out, is_folio_file)
    except WrongKindError:
        raise FolioError(
            f"{out}: exists and is not a folio; name another file: {build_command()}"
        ) from None


@contextmanager
def _create_locked(out: Path) -> Iterator[Path]:
    """Yield a new file beside ``out``, locked inside the block; remove it if it is still there."""
    temporary = make_temporary_path(out)
    try:
        while True:
            with temporary.open("xb") as file:
                lock_file(file, _WAIT_S)
                if temporary.exists():  # another build may have removed it before it was locked
                    yield temporary
                    return
    finally:
        temporary.unlink(missing_ok=True)


def _remove_leftovers(out: Path) -> None:
    """Remove the temporary files of killed builds of ``out``, but not those still in use."""
    pattern = re.compile(rf"\.{re.escape(out.name)}\.[0-9a-f]{{8}}\.new(-journal)?")
    for path in out.parent.iterdir():
        if pattern.fullmatch(path.name):
            with suppress(OSError), path.open("rb") as file:
                lock_file(file)
                path.unlink()
