"""Choose which folio answers a query.

The one named on the command line, else the one named by the environment, else the user's own, else
the demonstration of invented parts, which is built on first use.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Final
from zlib import crc32

from ...data_demo import chip_files, note_files
from ..system.user_folders import cache_folder, locate_data_folder
from .folio_file import (
    SCHEMA_VERSION,
    FolioError,
    build_command,
    check_folio_file,
    is_folio_file,
)

if TYPE_CHECKING:
    from .build import Progress

ENVIRONMENT: Final = "PINFOLIO_FOLIO"


def find_folio(option: Path | None = None, progress: Progress | None = None) -> Path:
    """Return the path of the folio to query; ``option`` takes precedence.

    A path named by the user is returned even if no folio is there. ``progress`` is called while
    the demonstration is built. Raises FolioError when that fails.
    """
    if option is not None:
        return option
    if named := os.environ.get(ENVIRONMENT):
        return Path(named)
    own = locate_own_folio()
    return own if own.exists() else ensure_demo_folio(progress)


def locate_own_folio() -> Path:
    """Return where the user's own folio is, or would be."""
    return locate_data_folder() / "folio.db"


def locate_demo_folio() -> Path:
    """Return where the demonstration folio is, or would be; the name depends on its sources."""
    return (
        cache_folder()
        / f"demo-{SCHEMA_VERSION}-{_compute_fingerprint([*chip_files(), *note_files()]):08x}.db"
    )


def ensure_demo_folio(progress: Progress | None = None) -> Path:
    """Return the demonstration folio in the user's cache folder, building it if necessary.

    Because its name depends on its sources, another version never replaces a folio in use, and two
    processes that build it at once each put a complete one in place. Raises FolioError.
    """
    path = locate_demo_folio()
    try:
        check_folio_file(path)
    except FolioError:
        from .build import build_folio  # imports everything a build needs

        _make_folder(path.parent)
        # With a damaged header it is no folio any more, and a build would refuse to replace it.
        if path.exists() and not is_folio_file(path):
            path.unlink()
        build_folio([*chip_files(), *note_files()], path, progress)
    return path


def _compute_fingerprint(files: list[Path]) -> int:
    """Return a number that changes with any of the files, and with their folder.

    Only sizes and times count: reading a hundred files takes longer than finding a chip.
    """
    statuses = [(file, file.stat()) for file in files]
    states = [(str(file), status.st_size, status.st_mtime_ns) for file, status in statuses]
    return crc32(repr(states).encode("utf-8", "surrogatepass"))


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FolioError(
            f"{folder}: the demonstration folio cannot be stored ({error.strerror}"
            f"); build a folio elsewhere and name it in {ENVIRONMENT}: {build_command()}"
        ) from error
