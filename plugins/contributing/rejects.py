"""The list of chips that were left out of a folio: a line for each fault, with file and line."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from ...loaders.system.atomic_write import replace_atomically

if TYPE_CHECKING:
    from ...loaders.errors import Fault


class Rejects:
    """Takes note of the faults of one chip after another."""

    def __init__(self, file: TextIO) -> None:
        self._file = file
        self.chips = 0
        """How many chips were left out."""

    def __call__(self, faults: tuple[Fault, ...]) -> None:
        """Write the faults of one chip."""
        self.chips += 1
        self._file.writelines(f"{fault}\n" for fault in faults)


@contextmanager
def list_of_rejects(path: Path) -> Iterator[Rejects]:
    """A list that takes the place of ``path`` when all is done, and leaves it be when not.

    Raises OSError.
    """
    with replace_atomically(path) as temporary, temporary.open("w", encoding="utf-8") as file:
        yield Rejects(file)
