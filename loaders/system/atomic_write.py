"""Write files atomically: at any instant a path holds the whole old file or the whole new one.

New content goes to a temporary file in the same folder, is synced to the disk, and is then renamed.
An interruption, a full disk or a power cut leaves the old file as it was.
"""

from __future__ import annotations

import errno
import os
import secrets
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

IsReplaceable = Callable[[Path], bool]
"""Tells whether an existing file may be replaced, usually by its first bytes."""


class WrongKindError(FileExistsError):
    """The path holds a file of another kind, which must not be replaced."""

    def __init__(self, path: Path) -> None:
        super().__init__(errno.EEXIST, "holds a file of another kind", str(path))


def write_atomically(
    path: Path,
    content: str | bytes,
    *,
    overwrite: bool = True,
    is_replaceable: IsReplaceable | None = None,
    mode: int = 0o666,
) -> None:
    """Write ``content`` to ``path``; text is encoded as UTF-8, its line ends stay as they are.

    Without ``overwrite`` an existing file raises FileExistsError, and a new one has the permissions
    ``mode`` from the first instant, less the user's mask. Otherwise see
    ``replace_atomically``. Devices and pipes, such as ``/dev/stdout``, are written to directly.

    Raises OSError; UnicodeEncodeError for text that UTF-8 cannot represent.
    """
    data = content.encode() if isinstance(content, str) else content
    if not overwrite:
        _write_new(path, data, mode)
    elif _is_device(path):
        path.write_bytes(data)  # renaming a file over a device would remove the device
    else:
        with replace_atomically(path, is_replaceable) as temporary:
            temporary.write_bytes(data)


@contextmanager
def replace_atomically(path: Path, is_replaceable: IsReplaceable | None = None) -> Iterator[Path]:
    """Yield the path of a temporary file to write; afterwards rename it to ``path``.

    A symbolic link is followed, so the file behind it is replaced. When the block raises, the
    temporary file is removed and ``path`` stays as it was.

    Raises WrongKindError when ``path`` holds a file that ``is_replaceable`` rejects; empty files
    may always be replaced. Raises OSError.
    """
    path = path.resolve()
    if is_replaceable is not None:
        require_replaceable(path, is_replaceable)
    temporary = make_temporary_path(path)
    try:
        yield temporary
        move_into_place(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)


def require_replaceable(path: Path, is_replaceable: IsReplaceable) -> None:
    """Raise WrongKindError when ``path`` holds a file that ``is_replaceable`` rejects."""
    if path.is_file() and path.stat().st_size and not is_replaceable(path):
        raise WrongKindError(path)


def make_temporary_path(path: Path) -> Path:
    """Return an unused path beside ``path``, named ``.NAME.XXXXXXXX.new`` with random digits."""
    return path.with_name(f".{path.name}.{secrets.token_hex(4)}.new")


def move_into_place(temporary: Path, path: Path) -> None:
    """Sync a finished file to the disk and rename it to ``path``, keeping the old permissions.

    Raises OSError.
    """
    with suppress(FileNotFoundError):
        temporary.chmod(stat.S_IMODE(path.stat().st_mode))
    sync_to_disk(temporary)
    temporary.replace(path)
    sync_to_disk(path.parent)


def sync_to_disk(path: Path) -> None:
    """Wait until the bytes of a file, or the entries of a folder, are on the disk.

    Raises OSError.
    """
    try:
        descriptor = os.open(path, os.O_RDONLY)
    except PermissionError:  # Windows cannot open folders
        return
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _write_new(path: Path, data: bytes, mode: int) -> None:
    if os.path.lexists(path):
        raise FileExistsError(path)
    temporary = make_temporary_path(path)
    try:
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
        with os.fdopen(os.open(temporary, flags, mode), "wb") as file:
            file.write(data)
        sync_to_disk(temporary)
        _link_new(temporary, path)
        sync_to_disk(path.parent)
    finally:
        temporary.unlink(missing_ok=True)


def _link_new(temporary: Path, path: Path) -> None:
    """Give the file its name without replacing one that appeared in the meantime."""
    try:
        path.hardlink_to(temporary)  # unlike a rename, fails if the name is taken
    except FileExistsError:
        raise
    except OSError:  # FAT, as on memory sticks, has no hard links
        if os.path.lexists(path):
            raise FileExistsError(path) from None
        temporary.rename(path)


def _is_device(path: Path) -> bool:
    try:
        mode = path.stat().st_mode
    except OSError:
        return False
    return not (stat.S_ISREG(mode) or stat.S_ISDIR(mode))
