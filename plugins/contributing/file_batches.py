"""Run a function over many files, in worker processes when there are many."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Final, TypeVar

from ...loaders.system.parallel import choose_process_count, map_in_order

MANY: Final = 80
"""Fewer files are done before worker processes have started."""

Result = TypeVar("Result")
Progress = Callable[[int, int, str], None]
"""Called with the number of files done, the number of all, and the last file's name."""


def map_files(
    work: Callable[[Path], Result],
    paths: Sequence[Path],
    progress: Progress | None = None,
    processes: int | None = None,
) -> Iterator[Result]:
    """Yield ``work(file)`` for each file, in their order; report to ``progress``."""
    if processes is None:
        processes = 1 if len(paths) < MANY else max(2, choose_process_count())
    for done, (path, result) in enumerate(map_in_order(work, paths, processes), start=1):
        if progress is not None:
            progress(done, len(paths), str(path))
        yield result
