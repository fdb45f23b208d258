"""A progress bar for long work, on standard error; none in a pipe."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from rich.progress import Progress as Bar
    from rich.progress import TaskID

    from ...loaders.folio.build import Progress as ReportProgress

_A_MOMENT_S: Final = 0.05  # between two steps that are shown: nobody reads faster


@contextmanager
def progress_bar(title: str, unit: str = "") -> Iterator[ReportProgress | None]:
    """Yield a callback that receives the progress; None if nobody watches.

    The bar shows the number done and the rate in ``unit`` (such as "chips"), and the remaining time
    if the total is known. It appears with the first step, so finished work shows none.
    """
    if not sys.stderr.isatty():
        yield None
        return
    bar = _show_bar()
    report = _BarReport(bar, bar.add_task(title, total=None, at="", rate=""), unit)
    try:
        yield report
    finally:
        bar.stop()


def _show_bar() -> Bar:
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


class _BarReport:
    """Shows reported progress, at most every 50 ms."""

    def __init__(self, bar: Bar, task: TaskID, unit: str) -> None:
        self._bar, self._task, self._unit = bar, task, unit
        self._began_s = self._shown_s = time.monotonic()

    def __call__(self, done: int, total: int, label: str) -> None:
        """Show the progress; the signature is that of ``Progress`` in ``loaders.folio.build``."""
        from ...schema.text import visible

        now_s = time.monotonic()
        if 1 < done != total and now_s < self._shown_s + _A_MOMENT_S:
            return
        self._shown_s = now_s
        rate = f"{done / max(now_s - self._began_s, 1e-3):,.0f} {self._unit}".rstrip() + "/s"
        self._bar.start()
        self._bar.update(
            self._task, completed=done, total=total or None, at=visible(label), rate=rate
        )
