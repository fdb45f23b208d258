"""Where a folio was fetched from, kept beside it, so that a damaged one says how to fetch it again.

It is one line in the file ``.NAME.fetched``: what stood on the command line. A folio that is built
in the place of a fetched one has no such line any more.
"""

from __future__ import annotations

import os

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path
    from typing import Final

_LONGEST: Final = 2000


def remember_fetch(folio: Path | str, arguments: Sequence[str]) -> None:
    """Keep what to fetch the folio with; nothing happens where that cannot be written."""
    import shlex
    from contextlib import suppress

    with suppress(OSError), open(_kept_in(folio), "w", encoding="utf-8") as file:
        file.write(shlex.join(arguments) + "\n")


def forget_fetch(folio: Path | str) -> None:
    """The folio is another one now. Raises OSError."""
    if os.path.lexists(kept := _kept_in(folio)):
        os.unlink(kept)


def fetch_command(folio: Path | str) -> str | None:
    """The command line that fetches the folio again; None where it was not fetched."""
    try:
        with open(_kept_in(folio), encoding="utf-8") as file:
            line = file.read(_LONGEST + 1).rstrip("\n")
    except (OSError, UnicodeDecodeError):
        return None
    if not line or len(line) > _LONGEST or not line.isprintable():
        return None
    return f"pinfolio fetch-folio {line} -o {folio}"


def _kept_in(folio: Path | str) -> str:
    folder, name = os.path.split(os.path.realpath(folio))
    return os.path.join(folder, f".{name}.fetched")
