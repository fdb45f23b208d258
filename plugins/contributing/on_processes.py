"""The same work on many files, shared out among the processors."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Final, TypeVar

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
        processes = 1 if len(paths) < MANY else max(2, min(os.cpu_count() or 1, 8))
    if processes == 1:
        yield from _told_of(map(work, paths), paths, told)
        return
    with ProcessPoolExecutor(processes, get_context("spawn")) as pool:
        chunk = max(1, min(20, len(paths) // processes))
        yield from _told_of(pool.map(work, paths, chunksize=chunk), paths, told)


def _told_of(
    results: Iterator[Result], paths: Sequence[Path], told: Told | None
) -> Iterator[Result]:
    for done, (path, result) in enumerate(zip(paths, results, strict=True), start=1):
        if told is not None:
            told(done, len(paths), str(path))
        yield result
