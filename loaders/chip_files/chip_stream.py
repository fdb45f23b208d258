"""Read the chips of many files one by one, from chip files and JSON Lines."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from ...schema import Chip
from ..errors import ChipFileError, Fault
from ..system.regular_files import open_regular
from .chip_file import read_chip, read_chip_bytes
from .json_lines import read_json_line
from .yaml_positions import MOST_BYTES

_JSON_LINES: Final = ".jsonl"
_CHUNK_BYTES: Final = 2**20


@dataclass(frozen=True, slots=True)
class Record:
    """The bytes of one chip, and where they come from."""

    file: str
    data: bytes
    line: int = 0
    """Line of a JSON Lines file, counted from 1; 0 for a chip file."""

    def read_chip(self) -> tuple[Chip, str]:
        """Return the chip and its document; raises ChipFileError with all faults."""
        if self.line:
            return read_json_line(self.data, self.file, self.line)
        chip = read_chip(self.data, self.file)
        return chip, chip.document()


@dataclass(frozen=True, slots=True)
class InvalidRecord:
    """A record that is not a valid chip, and its faults."""

    faults: tuple[Fault, ...]


def is_json_lines(path: Path) -> bool:
    """Return whether the name says that each line of the file is a chip."""
    return path.suffix.lower() == _JSON_LINES


def read_records(paths: Iterable[Path]) -> Iterator[Record | InvalidRecord]:
    """Yield the records of all files in order, reading only as far as they are consumed."""
    for path in paths:
        try:
            if is_json_lines(path):
                yield from _read_lines(path)
            else:
                yield Record(str(path), read_chip_bytes(path))
        except ChipFileError as error:
            yield InvalidRecord(error.faults)


def count_records(paths: Iterable[Path]) -> int:
    """Return the number of chips, counting lines; unreadable files count as 0."""
    return sum(_count_lines(path) if is_json_lines(path) else 1 for path in paths)


def _read_lines(path: Path) -> Iterator[Record]:
    """Yield the lines that are not blank; of a line that is too long, only its beginning."""
    line, at_line_start = 0, True
    try:
        with open_regular(path) as file:
            # One byte beyond the limit shows the reader of a line that it is too long.
            while piece := file.readline(MOST_BYTES + 1):
                if at_line_start:
                    line += 1
                    if piece.strip():
                        yield Record(str(path), piece, line)
                at_line_start = piece.endswith(b"\n")
    except OSError as error:
        found_text = f"a file that cannot be read ({error.strerror})"
        fault = Fault(str(path), max(1, line), 1, found_text, "a chip as JSON on each line")
        raise ChipFileError((fault,)) from None


def _count_lines(path: Path) -> int:
    count, last_byte = 0, b"\n"
    try:
        with open_regular(path) as file:
            while chunk := file.read(_CHUNK_BYTES):
                count, last_byte = count + chunk.count(b"\n"), chunk[-1:]
    except OSError:
        return 0  # reported when the file is read
    return count + (last_byte != b"\n")
