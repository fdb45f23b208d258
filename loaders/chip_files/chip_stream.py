"""Chips one by one, as they stand in files: each a chip file, or a line of JSON Lines."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from ...schema import Chip
from ..errors import ChipFileError, Fault
from .chip_file import read_chip, read_chip_bytes
from .json_lines import read_json_line
from .yaml_positions import MOST_BYTES

_JSON_LINES: Final = ".jsonl"
_PIECE: Final = 2**20


@dataclass(frozen=True, slots=True)
class Record:
    """The bytes of one chip, and where they stand."""

    file: str
    data: bytes
    line: int = 0
    """Line of a JSON Lines file, counted from 1; 0 for a chip file, which is one chip."""

    def chip(self) -> tuple[Chip, str]:
        """The chip, and its document; raises ChipFileError with all its faults."""
        if self.line:
            return read_json_line(self.data, self.file, self.line)
        chip = read_chip(self.data, self.file)
        return chip, chip.document()


@dataclass(frozen=True, slots=True)
class Refused:
    """What is no chip, and why."""

    faults: tuple[Fault, ...]


def is_json_lines(path: Path) -> bool:
    """Whether a file holds a chip a line, by its name."""
    return path.suffix.lower() == _JSON_LINES


def records(paths: Iterable[Path]) -> Iterator[Record | Refused]:
    """The chips of all files in their order, read as they are asked for."""
    for path in paths:
        try:
            if is_json_lines(path):
                yield from _lines(path)
            else:
                yield Record(str(path), read_chip_bytes(path))
        except ChipFileError as refused:
            yield Refused(refused.faults)


def count_records(paths: Iterable[Path]) -> int:
    """How many chips there are to read, as far as lines tell; 0 for what cannot be read."""
    return sum(_count_lines(path) if is_json_lines(path) else 1 for path in paths)


def _lines(path: Path) -> Iterator[Record]:
    """The lines that are not blank. Of one that is too long so much as shows that it is."""
    number, begun = 0, True
    try:
        with path.open("rb") as file:
            while piece := file.readline(MOST_BYTES + 1):
                number += begun
                if begun and piece.strip():
                    yield Record(str(path), piece, number)
                begun = piece.endswith(b"\n")
    except OSError as refused:
        found = f"a file that cannot be read ({refused.strerror})"
        fault = Fault(str(path), max(1, number), 1, found, "a chip as JSON on each line")
        raise ChipFileError((fault,)) from None


def _count_lines(path: Path) -> int:
    count, last = 0, b"\n"
    try:
        with path.open("rb") as file:
            while piece := file.read(_PIECE):
                count, last = count + piece.count(b"\n"), piece[-1:]
    except OSError:
        return 0  # whoever reads it says what is wrong
    return count + (last != b"\n")
