"""A bar for long work: on a terminal, on the error stream, and nothing in a pipe."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ..loaders.build import Progress as Told


@contextmanager
def progress_bar(title: str) -> Iterator[Told | None]:
    """Something to tell how far the work is, or None where nobody watches.

    The bar appears with the first step, so work that turns out to be done already shows none.
    """
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    bar = Progress(
        *columns,
        TextColumn("{task.fields[at]}", markup=False),
        TimeElapsedColumn(),
        console=Console(stderr=True),
    )
    task = bar.add_task(title, total=None, at="")

    def told(done: int, total: int, what: str) -> None:
        bar.start()
        bar.update(task, completed=done, total=total or None, at=what)

    try:
        yield told
    finally:
        bar.stop()
