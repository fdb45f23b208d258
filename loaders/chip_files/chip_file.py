"""Chip files: one chip a file, written by people, read with every fault named by its line."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Final

from ...schema import Chip
from ..errors import ChipFileError, Fault
from .validation import validate_located
from .yaml_output import dump_yaml
from .yaml_positions import MOST_BYTES, Located, read_yaml

_NOTE: Final = b"file_format: pinfolio note "
_SUFFIXES: Final = {".yaml", ".yml"}


def load_chip(path: Path) -> Chip:
    """The chip in the file at ``path``; raises ChipFileError with all its faults."""
    return read_chip(read_chip_bytes(path), str(path))


def read_chip_bytes(path: Path) -> bytes:
    """What is in the file, as far as a chip file can go; raises ChipFileError if unreadable."""
    try:
        with path.open("rb") as opened:
            return opened.read(MOST_BYTES + 1)
    except OSError as refused:
        found = f"a file that cannot be read ({refused.strerror})"
        fault = Fault(str(path), 1, 1, found, "a chip file")
        raise ChipFileError((fault,)) from None


def read_chip(data: bytes, name: str) -> Chip:
    """The chip in ``data``; ``name`` stands for the file in messages."""
    return read_located_chip(data, name)[0]


def read_located_chip(data: bytes, name: str) -> tuple[Chip, Located]:
    """The chip in ``data`` and where each of its values stands; otherwise as ``read_chip``."""
    located = read_yaml(data, name)
    return validate_located(Chip, located, ChipFileError, "part: …"), located


def chip_to_yaml(chip: Chip) -> str:
    """The chip as a chip file: keys in the order of the models, quantities as written."""
    document = chip.model_dump(mode="json", exclude_defaults=True)
    document = {"file_format": chip.file_format, **document}
    return dump_yaml(document)


def find_yaml_files(folder: Path) -> list[Path]:
    """The files ending in .yaml or .yml anywhere below a folder, sorted."""
    return sorted(path for path in folder.rglob("*") if path.suffix.lower() in _SUFFIXES)


def is_note_file(path: Path) -> bool:
    """True for a file that says in its first line that it is a note."""
    try:
        with path.open("rb") as file:
            return file.read(len(_NOTE)) == _NOTE
    except OSError:
        return False  # whoever reads it says what is wrong


def find_chip_files(paths: Iterable[Path]) -> list[Path]:
    """The files themselves, and those ending in .yaml or .yml below each folder, sorted.

    Notes that stand in such a folder are left out.
    """
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            found += [file for file in find_yaml_files(path) if not is_note_file(file)]
        elif path.exists():
            found.append(path)
        else:
            fault = Fault(str(path), 1, 1, "nothing there", "a chip file or a folder of them")
            raise ChipFileError((fault,))
    return found
