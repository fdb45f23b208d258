"""A chip file written where it was asked for, and never over another."""

from __future__ import annotations

from pathlib import Path

from ...loaders.chip_files.part_name import file_name
from ...loaders.system.atomic_write import write_atomically
from ...schema.text import visible
from .command_common import BadInput


def new_chip_file(out: Path, part: str, text: str) -> str:
    """Write a new file, in a folder under the name of the part; its path as it may be shown.

    A name without an ending is that of a folder, which is made where it is missing.

    Raises BadInput when it is there already or cannot be written.
    """
    is_folder = out.is_dir() or not (out.suffix or out.exists())
    path = out / file_name(part) if is_folder else out
    shown = visible(str(path))
    if path.suffix.lower() not in (".yaml", ".yml"):
        raise BadInput(f"{shown}: expected a folder, or a file whose name ends in .yaml")
    try:
        if is_folder:
            out.mkdir(parents=True, exist_ok=True)
        write_atomically(path, text, overwrite=False)
    except FileExistsError:
        raise BadInput(f"{shown}: is there already, and is not overwritten") from None
    except OSError as refused:
        raise BadInput(f"{shown}: cannot be written ({refused.strerror})") from None
    return shown
