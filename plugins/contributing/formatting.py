"""Put a chip file in canonical form."""

from __future__ import annotations

from pathlib import Path

from ...loaders.chip_files.canonical_text import format_chip_file
from ...loaders.chip_files.chip_file import read_chip_bytes
from ...loaders.system.atomic_write import write_atomically


def format_file(path: Path, *, only_check: bool = False) -> bool:
    """Return whether the file was not in canonical form; rewrite it unless ``only_check``.

    Raises ChipFileError for a file that is not YAML, OSError if it cannot be written.
    """
    data = read_chip_bytes(path)
    text = format_chip_file(data, str(path))
    if text.encode() == data:
        return False
    if not only_check:
        write_atomically(path, text)
    return True
