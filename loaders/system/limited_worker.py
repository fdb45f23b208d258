"""Keep a child process that answers questions one after another, with limits on memory and time.

Unlike ``limited_process``, which starts a child for each file, it spares the start of a process for
each question. A child that reaches a limit is ended, and the next question starts another; so does
one after the system killed the idle child, as it may when memory is short.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import suppress
from multiprocessing import get_all_start_methods, get_context
from multiprocessing.connection import Connection
from typing import Any, Final

from .limited_process import BYTES_PER_MB, LimitReachedError, Limits, set_limits

_LOW_PRIORITY: Final = 10
"""Added niceness: who asks within limits is served after everybody else (nice(2))."""


class LimitedWorker:
    """A child process in which ``start(*args)`` makes the function that answers questions.

    ``start``, its arguments, questions and answers must be picklable; the child starts with the
    first question. One thread at a time may ask. ``niceness`` is added to that of the child.
    """

    def __init__(
        self,
        start: Callable[..., Any],
        *args: object,
        memory_bytes: int,
        niceness: int = _LOW_PRIORITY,
    ) -> None:
        self._start, self._args, self._memory_bytes = start, args, memory_bytes
        self._niceness = niceness
        self._child: Any = None
        self._pipe: Connection | None = None

    def ask(self, question: object, wall_s: float) -> Any:
        """Return the answer; raises LimitReachedError if it takes too long or too much memory."""
        # The child may have been killed between two questions; then the next one starts another.
        if self._child is not None and not self._child.is_alive():
            self.close()
        pipe = self._pipe or self._open()
        try:
            pipe.send(question)
            if not pipe.poll(wall_s):
                raise LimitReachedError(f"more than {wall_s:.0f} s")
            answer = pipe.recv()
        except (EOFError, OSError):
            self.close()
            raise LimitReachedError("a crash") from None
        except LimitReachedError:
            self.close()  # it is still busy with this question, and could not take another
            raise
        if isinstance(answer, MemoryError):
            self.close()
            most_mb = self._memory_bytes / BYTES_PER_MB
            raise LimitReachedError(f"more than {most_mb:.0f} MB of memory")
        return answer

    def close(self) -> None:
        """End the child process; another question starts a new one."""
        if self._pipe is not None:
            self._pipe.close()
            self._child.kill()
            self._child.join()
            self._child.close()
            self._child = self._pipe = None

    def _open(self) -> Connection:
        is_posix = "forkserver" in get_all_start_methods()
        context = get_context("forkserver" if is_posix else "spawn")
        if is_posix:
            context.set_forkserver_preload([self._start.__module__])
        self._pipe, inner = context.Pipe()
        limits = Limits(memory_bytes=self._memory_bytes)
        self._child = context.Process(  # type: ignore[attr-defined]
            target=_answer_questions,
            args=(inner, limits, self._niceness, self._start, self._args),
            daemon=True,
        )
        self._child.start()
        inner.close()
        return self._pipe


def _answer_questions(
    pipe: Connection,
    limits: Limits,
    niceness: int,
    start: Callable[..., Any],
    args: tuple[object, ...],
) -> None:
    """Answer questions in the child process until the pipe closes.

    A question that needs too much memory is answered with its MemoryError.
    """
    if hasattr(os, "nice"):  # not on Windows
        os.nice(niceness)
    set_limits(limits)
    answer = start(*args)
    with suppress(EOFError, KeyboardInterrupt):
        while True:
            question = pipe.recv()
            try:
                pipe.send(answer(question))
            except MemoryError as error:
                pipe.send(error)
