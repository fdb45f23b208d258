"""Open only regular files: reading a pipe or a device may never end."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path
from typing import BinaryIO, Final

_FLAGS: Final = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
"""Opening a pipe without a writer would wait, but for O_NONBLOCK (open(2))."""


class NotRegularError(OSError):
    """The path is a pipe, a device or a socket."""

    def __init__(self, path: Path) -> None:
        reason = "not a regular file; copy its content into a file first"
        super().__init__(errno.EINVAL, reason, str(path))


class TooLargeError(OSError):
    """The file has more bytes than its kind may have."""

    def __init__(self, path: Path, most_bytes: int) -> None:
        super().__init__(errno.EFBIG, f"larger than {most_bytes:,} bytes", str(path))


def open_regular(path: Path) -> BinaryIO:
    """Return the file at ``path``, open for reading bytes.

    Raises NotRegularError, IsADirectoryError, OSError.
    """
    descriptor = os.open(path, _FLAGS)
    try:
        mode = os.fstat(descriptor).st_mode
        if stat.S_ISDIR(mode):
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
        if not stat.S_ISREG(mode):
            raise NotRegularError(path)
        return os.fdopen(descriptor, "rb")
    except BaseException:  # nobody else would close the descriptor
        os.close(descriptor)
        raise


def read_regular(path: Path, most_bytes: int) -> bytes:
    """Return the bytes of a file, of which no more are read than it may have.

    Raises TooLargeError, NotRegularError, OSError.
    """
    with open_regular(path) as file:
        data = file.read(most_bytes + 1)
    if len(data) > most_bytes:
        raise TooLargeError(path, most_bytes)
    return data
