"""Which folio a question is put to, when several could answer it.

The one named on the command line, else the one the environment names, else the user's own, else
the demonstration with its invented parts, which is built when it is first needed.
"""

from __future__ import annotations

import os

from ... import data_demo
from ..system.user_folders import cache_folder, data_folder
from .folio_file import (
    SCHEMA_VERSION,
    FolioError,
    build_command,
    check_folio_file,
    is_folio_file,
)

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from pathlib import Path
    from typing import Final

    from .build import Progress

ENVIRONMENT: Final = "PINFOLIO_FOLIO"


def find_folio(option: Path | None = None, progress: Progress | None = None) -> Path:
    """The folio to ask; ``option`` goes before everything else.

    A path somebody named is returned as it is, whether or not a folio is there. ``progress`` is
    told when the demonstration has to be built. Raises FolioError when it cannot be.
    """
    from pathlib import Path

    named = find_named_folio(None if option is None else str(option))
    return Path(named) if named else ensure_demo_folio(progress)


def find_named_folio(option: str | None = None) -> str | None:
    """The folio to ask, unless it is the demonstration: named by somebody, or the user's own."""
    if option is not None:
        return option
    if named := os.environ.get(ENVIRONMENT):
        return named
    own = _own_place()
    return own if os.path.exists(own) else None


def own_folio_path() -> Path:
    """Where the user's own folio is, or would be."""
    from pathlib import Path

    return Path(_own_place())


def _own_place() -> str:
    return os.path.join(data_folder(), "folio.db")


def demo_folio_path() -> str:
    """Where the demonstration folio is, or would be; its name changes with what it is built of."""
    return os.path.join(cache_folder(), f"demo-{SCHEMA_VERSION}-{_state(data_demo.files()):08x}.db")


def ensure_demo_folio(progress: Progress | None = None) -> Path:
    """The demonstration folio in the user's cache folder, built if it is not there whole.

    Its name comes from what it is built of. So another version never writes over a folio that
    somebody reads, and two that build the same at once each put a whole one in place.
    """
    from pathlib import Path

    path = Path(demo_folio_path())
    try:
        check_folio_file(path)
    except FolioError:
        from .build import build_folio

        _make_folder(path.parent)
        if path.exists() and not is_folio_file(path):
            path.unlink()
        build_folio(map(Path, data_demo.files()), path, progress)
    return path


def _state(files: list[str]) -> int:
    """Changes with every change to the files, and with the place where this version is installed.

    Reading a hundred files takes longer than finding a chip, so what the system says of them has
    to do.
    """
    from zlib import crc32

    states = ((file, found.st_size, found.st_mtime_ns)
              for file in files for found in (os.stat(file),))  # fmt: skip
    return crc32(repr([*states]).encode("utf-8", "surrogatepass"))


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise FolioError(
            f"{folder}: the demonstration folio cannot be kept here ({fault.strerror});"
            f" build a folio elsewhere and name it in {ENVIRONMENT}: {build_command()}"
        ) from fault
