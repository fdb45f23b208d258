"""List the chips left out of a folio: one line per fault, with file and line."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final, TextIO

from ...loaders.system.atomic_write import replace_atomically

if TYPE_CHECKING:
    from ...loaders.errors import Fault

_FAULT_LINE: Final = re.compile(rb"[^\n]+:[0-9]+:[0-9]+: ")
_MOST_BYTES: Final = 10_000  # of a first line


class Rejects:
    """Writes the faults of rejected chips to a file."""

    def __init__(self, file: TextIO) -> None:
        self._file = file
        self.chips = 0
        """Number of rejected chips."""

    def __call__(self, faults: tuple[Fault, ...]) -> None:
        """Write the faults of one rejected chip."""
        self.chips += 1
        self._file.writelines(f"{fault}\n" for fault in faults)


@contextmanager
def open_rejects(path: Path) -> Iterator[Rejects]:
    """Open a list that replaces ``path`` at the end; an exception leaves ``path`` as it was.

    Raises OSError; WrongKindError when ``path`` holds anything but such a list.
    """
    with (
        replace_atomically(path, _is_list) as temporary,
        temporary.open("w", encoding="utf-8") as file,
    ):
        yield Rejects(file)


def _is_list(path: Path) -> bool:
    with path.open("rb") as file:
        return _FAULT_LINE.match(file.read(_MOST_BYTES)) is not None
