"""Exclusive locks on files and folders.

The operating system releases a lock when its process ends, however it ends, so none is ever left
behind.
"""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any, Final

_POLL_INTERVAL_S: Final = 0.02


class BusyError(BlockingIOError):
    """Another process holds the lock."""

    def __init__(self) -> None:
        super().__init__(errno.EWOULDBLOCK, "another process is using it; try again in a moment")


def lock_file(file: IO[Any] | int, wait_s: float = 0.0) -> None:
    """Lock an open file, or a descriptor, until it is closed.

    Raises BusyError when another process still holds the lock after ``wait_s`` seconds; OSError
    on a file system without locks.
    """
    from filelock import lock_descriptor  # imported here: it takes as long as all other imports

    descriptor = file if isinstance(file, int) else file.fileno()
    deadline = time.monotonic() + wait_s
    while not lock_descriptor(descriptor, blocking=False):
        if time.monotonic() >= deadline:
            raise BusyError
        time.sleep(_POLL_INTERVAL_S)


@contextmanager
def lock_folder(folder: Path, wait_s: float = 0.0) -> Iterator[None]:
    """Hold a lock on a folder without writing into it. Raises as ``lock_file`` does.

    Windows cannot open folders, so there the block runs without a lock.
    """
    if os.name == "nt":
        yield
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        lock_file(descriptor, wait_s)
        yield
    finally:
        os.close(descriptor)
