"""Record a folio's download address so a corruption error can say how to fetch it again.

The record is one line in ``.NAME.fetched`` beside the folio: the arguments of the command. Building
a folio in the same place removes it.
"""

from __future__ import annotations

import os
import shlex
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final

from ..system.atomic_write import write_atomically
from ..system.shell_words import quote_word

_MOST_CHARACTERS: Final = 2000


def remember_fetch(folio: Path, arguments: Sequence[str]) -> None:
    """Record the arguments that fetch the folio; do nothing if that cannot be stored."""
    with suppress(OSError, UnicodeEncodeError):
        write_atomically(_record(folio), shlex.join(arguments) + "\n")


def forget_fetch(folio: Path) -> None:
    """Remove the record. Raises OSError."""
    _record(folio).unlink(missing_ok=True)


def fetch_command(folio: Path | str) -> str | None:
    """Return the command line that fetches the folio again; None if it was not fetched."""
    try:
        with _record(folio).open(encoding="utf-8") as file:
            arguments = file.read(_MOST_CHARACTERS + 1).rstrip("\n")
    except (OSError, UnicodeDecodeError):
        return None
    # The line is shown on a terminal, and anybody may have written it.
    if not arguments or len(arguments) > _MOST_CHARACTERS or not arguments.isprintable():
        return None
    try:
        words = [quote_word(word) for word in shlex.split(arguments)]
    except ValueError:  # an open quote
        return None
    return f"pinfolio fetch-folio {' '.join(words)} -o {quote_word(folio)}"


def _record(folio: Path | str) -> Path:
    path = Path(os.path.realpath(folio))
    return path.with_name(f".{path.name}.fetched")
