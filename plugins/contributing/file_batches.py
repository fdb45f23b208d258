"""The same work on many files, shared out among the processors."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Final, TypeVar

from ...loaders.system.parallel import default_processes, map_in_order

MANY: Final = 80
"""From so many files on several processes work: fewer are done before those have started."""

Result = TypeVar("Result")
Told = Callable[[int, int, str], None]


def for_each_file(
    work: Callable[[Path], Result],
    paths: Sequence[Path],
    told: Told | None = None,
    processes: int | None = None,
) -> Iterator[Result]:
    """What ``work`` makes of each file, in their order; ``told`` hears how far it is."""
    if processes is None:
        processes = 1 if len(paths) < MANY else max(2, default_processes())
    for done, (path, result) in enumerate(map_in_order(work, paths, processes), start=1):
        if told is not None:
            told(done, len(paths), str(path))
        yield result
