"""One at a time: a lock on a file or a folder, held by one process alone.

The system lets it go with the process, however that ended, so no lock is ever left behind.
"""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any, Final

try:
    from fcntl import LOCK_EX, LOCK_NB, flock
except ImportError:  # Windows: two at once are not kept apart there
    flock = None  # type: ignore[assignment]

_LOOK_EVERY_S: Final = 0.02


class Busy(BlockingIOError):  # noqa: N818  it is why one has to wait
    """Somebody else holds the lock."""


def lock(file: IO[Any] | int, wait_s: float = 0.0) -> None:
    """Hold the lock on an open file until it is closed.

    Raises Busy when somebody else still holds it after ``wait_s``; OSError without locks.
    """
    until = time.monotonic() + wait_s
    while flock is not None:
        try:
            flock(file, LOCK_EX | LOCK_NB)
            return
        except BlockingIOError:
            if time.monotonic() >= until:
                said = "somebody else is at work on it; try again in a moment"
                raise Busy(errno.EWOULDBLOCK, said) from None
        time.sleep(_LOOK_EVERY_S)


@contextmanager
def alone_in(folder: Path, wait_s: float = 0.0) -> Iterator[None]:
    """Hold the lock on a folder; nothing is written into it. Raises as ``lock`` does."""
    if flock is None:
        yield
        return
    opened = os.open(folder, os.O_RDONLY)
    try:
        lock(opened, wait_s)
        yield
    finally:
        os.close(opened)
