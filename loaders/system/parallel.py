"""Run a function over many items in worker processes; results keep the input order.

Items are read only slightly ahead of the work, so a long stream is never held in memory.
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
from itertools import islice
from multiprocessing import get_all_start_methods, get_context, parent_process
from multiprocessing.context import BaseContext
from typing import Final, TypeVar

from ...schema.errors import PinfolioError

Item = TypeVar("Item")
Result = TypeVar("Result")
Batch = tuple[list[Item], Future[list[Result]]]

_MOST_PROCESSES: Final = 8
_BATCH_ITEMS: Final = 16
_BATCHES_AHEAD: Final = 3
"""Batches submitted in advance, for each process."""
_FIRST_ITEMS: Final = 48
"""Items computed here while the workers start, which takes as long."""


class WorkersLostError(PinfolioError):
    """A worker process was killed before its work was done."""


def choose_process_count() -> int:
    """Return how many processes to use by default: one for each processor, at most eight."""
    return min(os.cpu_count() or 1, _MOST_PROCESSES)


def map_in_order(
    work: Callable[[Item], Result],
    items: Iterable[Item],
    processes: int,
    is_light: Callable[[Item], bool] = lambda item: False,
) -> Iterator[tuple[Item, Result]]:
    """Yield ``(item, work(item))`` in the order of ``items``, computed in worker processes.

    ``work``, items and results must be picklable. Items for which ``is_light`` is true cost less
    than sending them to a worker, so they are computed in this process.

    Raises WorkersLostError when a worker is killed, and any error of ``work``.
    """
    if processes <= 1:
        for item in items:
            yield item, work(item)
        return
    remaining = iter(items)
    with ProcessPoolExecutor(processes, _start_method(work), initializer=_start_worker) as pool:
        pending: deque[Batch[Item, Result]] = deque()

        def submit_batches() -> None:
            while len(pending) < processes * _BATCHES_AHEAD:
                batch = list(islice(remaining, _BATCH_ITEMS))
                if not batch:
                    return
                heavy_items = [item for item in batch if not is_light(item)]
                with _delay_interrupts():  # submitting is what starts the processes
                    pending.append((batch, pool.submit(_map, work, heavy_items)))

        try:
            # The workers take a while to start, so the first items are computed here meanwhile.
            first_items = list(islice(remaining, _FIRST_ITEMS))
            submit_batches()
            for item in first_items:
                yield item, work(item)
            while pending:
                batch, future = pending.popleft()
                heavy_results = iter(future.result())
                submit_batches()  # before this batch is used, so that no worker runs dry
                for item in batch:
                    yield item, work(item) if is_light(item) else next(heavy_results)
        except BrokenProcessPool:
            raise WorkersLostError("a worker process was killed; try again") from None
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def _map(work: Callable[[Item], Result], items: list[Item]) -> list[Result]:
    return list(map(work, items))


def _start_method(work: Callable[..., object]) -> BaseContext:
    """Return how to start workers: forked from a server that has imported the module of ``work``.

    Importing once for all workers pays: the models take as long to import as a hundred chip files
    take to read.
    """
    if "forkserver" not in get_all_start_methods():  # Windows
        return get_context("spawn")
    context = get_context("forkserver")
    module = getattr(getattr(work, "func", work), "__module__", None)  # ``func`` of a partial
    context.set_forkserver_preload([module] if module else [])
    return context


@contextmanager
def _delay_interrupts() -> Iterator[None]:
    """Block Ctrl-C; processes started in the block inherit that and never see it."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    earlier_mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, earlier_mask)


def _start_worker() -> None:
    """Prepare a worker: the parent alone answers Ctrl-C, and the worker ends when it does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_exit_with_parent, daemon=True).start()
    # Chips hold no reference cycles, and searching for cycles took a third of the time.
    gc.freeze()
    gc.set_threshold(100_000, 50, 100)


def _exit_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
