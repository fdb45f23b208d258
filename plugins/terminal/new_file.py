"""Write a new chip file for ``new`` and ``draft``, never over an existing one."""

from __future__ import annotations

from pathlib import Path

from ...loaders.chip_files.part_name import make_file_name
from ...loaders.system.atomic_write import write_atomically
from ...schema.text import visible
from .command_common import BadInput


def write_chip_file(out: Path, part: str, text: str) -> str:
    """Write a new file and return its path, fit to be shown.

    ``out`` without a suffix is a folder, created if missing; the file there is named for the part.
    Raises BadInput if the file exists or cannot be written.
    """
    is_folder = out.is_dir() or not (out.suffix or out.exists())
    path = out / make_file_name(part) if is_folder else out
    shown = visible(str(path))
    if path.suffix.lower() not in (".yaml", ".yml"):
        raise BadInput(f"{shown}: is neither a folder nor a .yaml file; name one of these")
    try:
        if is_folder:
            out.mkdir(parents=True, exist_ok=True)
        write_atomically(path, text, overwrite=False)
    except FileExistsError:
        raise BadInput(f"{shown}: exists already; choose another name") from None
    except OSError as refused:
        raise BadInput(f"{shown}: cannot be written ({refused.strerror})") from None
    return shown
