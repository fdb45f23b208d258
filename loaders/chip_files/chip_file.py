"""Read and write chip files: one chip in YAML; every fault is reported with its line."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Final

from ...schema import Chip
from ..errors import ChipFileError, Fault
from ..system.regular_files import open_regular
from .validation import validate_located
from .yaml_output import dump_yaml
from .yaml_positions import MOST_BYTES, Located, read_yaml

_NOTE: Final = b"file_format: pinfolio note "
_SUFFIXES: Final = {".yaml", ".yml"}


def load_chip(path: Path) -> Chip:
    """Return the chip in the file at ``path``; raises ChipFileError with all faults."""
    return read_chip(read_chip_bytes(path), str(path))


def read_chip_bytes(path: Path) -> bytes:
    """Return the content of a file, up to just beyond the limit; raises ChipFileError."""
    try:
        with open_regular(path) as opened:
            return opened.read(MOST_BYTES + 1)
    except OSError as error:
        found_text = f"a file that cannot be read ({error.strerror})"
        fault = Fault(str(path), 1, 1, found_text, "a chip file")
        raise ChipFileError((fault,)) from None


def read_chip(data: bytes, name: str) -> Chip:
    """Return the chip in ``data``; ``name`` is the file, for messages. Raises ChipFileError."""
    return read_located_chip(data, name)[0]


def read_located_chip(data: bytes, name: str) -> tuple[Chip, Located]:
    """Return the chip in ``data`` and the positions of its values; otherwise as ``read_chip``."""
    located = read_yaml(data, name)
    return validate_located(Chip, located, ChipFileError, "part: …"), located


def chip_to_yaml(chip: Chip) -> str:
    """Return the text of a chip file: keys in the order of the models, quantities as written."""
    document = chip.model_dump(mode="json", exclude_defaults=True)
    document = {"file_format": chip.file_format, **document}
    return dump_yaml(document)


def find_yaml_files(folder: Path) -> list[Path]:
    """Return the .yaml and .yml files anywhere below a folder, sorted."""
    return sorted(path for path in folder.rglob("*") if path.suffix.lower() in _SUFFIXES)


def is_note_file(path: Path) -> bool:
    """Return whether the first line of a file declares it to be a note."""
    try:
        with open_regular(path) as file:
            return file.read(len(_NOTE)) == _NOTE
    except OSError:
        return False  # reported when the file is read


def find_chip_files(paths: Iterable[Path]) -> list[Path]:
    """Return the given files, and for each folder the chip files below it, sorted.

    Notes in a folder are left out. Raises ChipFileError for a path that does not exist.
    """
    files: list[Path] = []
    for path in paths:
        if path.is_dir():
            files += [file for file in find_yaml_files(path) if not is_note_file(file)]
        elif path.exists():
            files.append(path)
        else:
            fault = Fault(str(path), 1, 1, "nothing there", "a chip file or a folder of them")
            raise ChipFileError((fault,))
    return files
