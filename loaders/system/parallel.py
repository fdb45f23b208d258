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
from dataclasses import dataclass
from functools import partial
from itertools import islice
from multiprocessing import get_all_start_methods, get_context, parent_process
from multiprocessing.context import BaseContext
from typing import Final, Generic, TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")

_MOST_PROCESSES: Final = 8
_AT_ONCE: Final = 16
_WAITING: Final = 3  # handfuls taken up, per process


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
    with ProcessPoolExecutor(processes, _context(work), initializer=_begin) as pool:
        shared = _Shared(pool, work, is_light, processes + 1)
        try:
            coming = iter(items)
            while handful := list(islice(coming, _AT_ONCE)):
                shared.take(handful)
                if len(shared.waiting) > processes * _WAITING:
                    yield from shared.first()
            while shared.waiting:
                yield from shared.first()
        except BrokenProcessPool:
            raise WorkersLost("a process that shared the work was stopped; try again") from None
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


@dataclass
class _Handful(Generic[Item, Result]):
    """Some items, and what comes of those that are not light: once given out, once done here."""

    items: list[Item]
    heavy: list[Item]
    future: Future[list[Result]] | None = None

    @property
    def is_begun(self) -> bool:
        """Whether there is nothing more to give out."""
        return self.future is not None or not self.heavy


class _Shared(Generic[Item, Result]):
    """Handfuls of which the first are given out, and the last done here by who would else wait."""

    def __init__(
        self,
        pool: ProcessPoolExecutor,
        work: Callable[[Item], Result],
        is_light: Callable[[Item], bool],
        most_out: int,
    ) -> None:
        self._pool, self._work, self._is_light = pool, work, is_light
        self._most_out = most_out
        self.waiting: deque[_Handful[Item, Result]] = deque()

    def take(self, items: list[Item]) -> None:
        """A handful more to do."""
        heavy = [item for item in items if not self._is_light(item)]
        self.waiting.append(_Handful(items, heavy))
        self._give_out()

    def first(self) -> Iterator[tuple[Item, Result]]:
        """The items of the first handful with their results, once those are there."""
        while not _is_done(self.waiting[0]) and self._help():
            self._give_out()
        handful = self.waiting.popleft()
        heavy = iter(handful.future.result() if handful.future is not None else ())
        for item in handful.items:
            yield item, self._work(item) if self._is_light(item) else next(heavy)
        self._give_out()

    def _give_out(self) -> None:
        out = sum(each.is_begun and not _is_done(each) for each in self.waiting)
        for handful in self.waiting:
            if out < self._most_out and not handful.is_begun:
                with _interruption_held_back():  # giving out work is what starts processes
                    handful.future = self._pool.submit(_each, self._work, handful.heavy)
                out += 1

    def _help(self) -> bool:
        """Do the last handful that nobody has begun; False when there is none."""
        for handful in reversed(self.waiting):
            if not handful.is_begun:
                handful.future = Future()
                handful.future.set_result(_each(self._work, handful.heavy))
                return True
        return False


def _is_done(handful: _Handful[Item, Result]) -> bool:
    return handful.future.done() if handful.future is not None else not handful.heavy


def _context(work: Callable[..., object]) -> BaseContext:
    """How processes are started: where it can be, as copies of one that has imported the work."""
    if "forkserver" not in get_all_start_methods():  # Windows
        return get_context("spawn")
    context = get_context("forkserver")
    module = getattr(getattr(work, "func", work), "__module__", None)
    context.set_forkserver_preload([module] if module else [])
    return context


def _each(work: Callable[[Item], Result], items: list[Item]) -> list[Result]:
    return list(map(work, items))


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
