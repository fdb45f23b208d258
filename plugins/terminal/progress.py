"""A bar for long work: on a terminal, on the error stream, and nothing in a pipe."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from rich.progress import Progress as Bar
    from rich.progress import TaskID

    from ...loaders.folio.build import Progress as Told

_A_MOMENT_S: Final = 0.05  # between two steps that are shown: nobody reads faster


@contextmanager
def progress_bar(title: str, what: str = "") -> Iterator[Told | None]:
    """Something to tell how far the work is, or None where nobody watches.

    It shows how many are done and the rate, in ``what``: "chips"; where it is known how many there
    are also the time that remains. The bar appears with the first step, so work that turns out to
    be done already shows none.
    """
    if not sys.stderr.isatty():
        yield None
        return
    bar = _bar()
    told = _Told(bar, bar.add_task(title, total=None, at="", rate=""), what)
    try:
        yield told
    finally:
        bar.stop()


def _bar() -> Bar:
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeElapsedColumn,
        TimeRemainingColumn,
    )

    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[rate]}"),
        TimeElapsedColumn(),
        TextColumn("left"),
        TimeRemainingColumn(compact=True),
        TextColumn("{task.fields[at]}", markup=False),
        console=Console(stderr=True),
    )


class _Told:
    """What is told, shown now and then."""

    def __init__(self, bar: Bar, task: TaskID, unit: str) -> None:
        self._bar, self._task, self._unit = bar, task, unit
        self._began_s = self._shown_s = time.monotonic()

    def __call__(self, done: int, total: int, what: str) -> None:
        """As ``Progress`` of ``loaders.build`` has it."""
        from ...schema.text import visible

        now_s = time.monotonic()
        if 1 < done != total and now_s < self._shown_s + _A_MOMENT_S:
            return
        self._shown_s = now_s
        rate = f"{done / max(now_s - self._began_s, 1e-3):,.0f} {self._unit}".rstrip() + "/s"
        self._bar.start()
        self._bar.update(
            self._task, completed=done, total=total or None, at=visible(what), rate=rate
        )
