"""The same work on many things, shared out among the processors; results come in order.

No more is taken than is being worked on, so what comes in one by one is never all in memory.
"""

from __future__ import annotations

import gc
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from functools import partial
from itertools import islice
from multiprocessing import get_context, parent_process
from typing import Final, TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")

_MOST_PROCESSES: Final = 8
_AT_ONCE: Final = 16
_WAITING: Final = 3  # handfuls given out, per process


class WorkersLost(Exception):  # noqa: N818  it is what is raised, and reads as such
    """A process that shared the work has ended before it was done."""


def usual_processes() -> int:
    """How many share the work when nobody says: as many as there are processors, in reason."""
    return min(os.cpu_count() or 1, _MOST_PROCESSES)


def worked(
    work: Callable[[Item], Result],
    items: Iterable[Item],
    processes: int,
    is_light: Callable[[Item], bool] = lambda item: False,
) -> Iterator[tuple[Item, Result]]:
    """Each item with what ``work`` makes of it; ``work``, items and results must pickle.

    What ``is_light`` is worked on here. Raises WorkersLost when a process was killed.
    """
    if processes < 2:
        for item in items:
            yield item, work(item)
        return
    coming = iter(items)
    handfuls = iter(lambda: list(islice(coming, _AT_ONCE)), [])
    waiting: deque[tuple[list[Item], Future[list[Result]] | None]] = deque()
    with ProcessPoolExecutor(processes, get_context("spawn"), initializer=_begin) as pool:
        try:
            for handful in handfuls:
                heavy = [item for item in handful if not is_light(item)]
                with _interruption_held_back():  # giving out work is what starts processes
                    future = pool.submit(_each, work, heavy) if heavy else None
                waiting.append((handful, future))
                if len(waiting) > processes * _WAITING:
                    yield from _next(work, is_light, waiting.popleft())
            while waiting:
                yield from _next(work, is_light, waiting.popleft())
        except BrokenProcessPool:
            raise WorkersLost("a process that shared the work was stopped; try again") from None
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def _each(work: Callable[[Item], Result], items: list[Item]) -> list[Result]:
    return list(map(work, items))


def _next(
    work: Callable[[Item], Result],
    is_light: Callable[[Item], bool],
    handful: tuple[list[Item], Future[list[Result]] | None],
) -> Iterator[tuple[Item, Result]]:
    """The items of a handful with their results, once those are there."""
    items, future = handful
    heavy = iter(future.result() if future is not None else ())
    for item in items:
        yield item, work(item) if is_light(item) else next(heavy)


@contextmanager
def _interruption_held_back() -> Iterator[None]:
    """Let Ctrl-C wait a moment: processes that are started meanwhile never hear of it."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin() -> None:
    """Ctrl-C is for the first process to answer, and when that ends so do the others."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    first = parent_process()
    if first is not None:
        threading.Thread(target=partial(_end_after, first.join), daemon=True).start()
    gc.freeze()
    gc.set_threshold(100_000, 50, 100)


def _end_after(wait: Callable[[], None]) -> None:
    wait()
    os._exit(1)
