"""Which folio a question is put to, when several could answer it.

The one named on the command line, else the one the environment names, else the user's own, else
the demonstration with its invented parts, which is built when it is first needed.
"""

from __future__ import annotations

import hashlib
import os
from importlib.metadata import version
from pathlib import Path
from typing import Final

from platformdirs import user_cache_path, user_data_path

from .. import data_demo
from .build import Progress, build_folio
from .folio_file import SCHEMA_VERSION, FolioError, build_command, check_folio_file, is_folio_file

ENVIRONMENT: Final = "PINFOLIO_FOLIO"


def find_folio(option: Path | None = None, progress: Progress | None = None) -> Path:
    """The folio to ask; ``option`` goes before everything else.

    A path somebody named is returned as it is, whether or not a folio is there. ``progress`` is
    told when the demonstration has to be built. Raises FolioError when it cannot be.
    """
    if option is not None:
        return option
    if named := os.environ.get(ENVIRONMENT):
        return Path(named)
    own = own_folio()
    return own if own.exists() else demo_folio(progress)


def own_folio() -> Path:
    """Where the user's own folio is, or would be."""
    return user_data_path("pinfolio", appauthor=False) / "folio.db"


def demo_folio(progress: Progress | None = None) -> Path:
    """The demonstration folio in the user's cache folder, built if it is not there whole.

    Its name comes from what it is built of. So another version never writes over a folio that
    somebody reads, and two that build the same at once each put a whole one in place.
    """
    chip_files, note_files = data_demo.chip_files(), data_demo.note_files()
    folder = user_cache_path("pinfolio", appauthor=False)
    path = folder / f"demo-{_digest([*chip_files, *note_files])}.db"
    try:
        check_folio_file(path)
    except FolioError:
        _make_folder(folder)
        if path.exists() and not is_folio_file(path):
            path.unlink()
        build_folio([*chip_files, *note_files], path, progress)
    return path


def _digest(sources: list[Path]) -> str:
    """Changes with the chip files and notes, the tables, and the version that fills them."""
    digest = hashlib.sha256(f"{SCHEMA_VERSION} {version('pinfolio')}".encode())
    for file in sorted(sources):
        digest.update(file.name.encode() + b"\0" + file.read_bytes())
    return digest.hexdigest()[:16]


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise FolioError(
            f"{folder}: the demonstration folio cannot be kept here ({fault.strerror});"
            f" build a folio elsewhere and name it in {ENVIRONMENT}: {build_command()}"
        ) from fault
