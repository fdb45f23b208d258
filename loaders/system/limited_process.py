"""Run a function in a child process with limits on memory, processor time and wall time.

Parsers of files from strangers run here: a file of a few hundred bytes can ask for gigabytes or
minutes. Memory and processor time are limited by the operating system (setrlimit, POSIX); where it
has no such limits, the wall time alone holds.
"""

from __future__ import annotations

import signal
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing import get_all_start_methods, get_context
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Final, TypeVar

from ...schema.errors import PinfolioError

Result = TypeVar("Result")

_GRACE_S: Final = 1  # between the signal at the limit and the kill
BYTES_PER_MB: Final = 1e6


@dataclass(frozen=True)
class Limits:
    """Limits of a child process, counted from the end of its imports."""

    memory_bytes: int
    cpu_s: int | None = None
    wall_s: float = 60.0


class LimitReachedError(Exception):
    """A child process needed more than one of its limits, which the message names."""


@dataclass(frozen=True)
class _Stopped:
    """The outcome of a child that reached a limit: the reason, in words."""

    reason: str


def run_limited(work: Callable[..., Result], *args: object, limits: Limits) -> Result:
    """Return ``work(*args)``, computed in a child process within ``limits``.

    ``work``, its arguments, its result and the errors that it raises on purpose must be picklable.
    Raises those errors here, and LimitReachedError if the child is stopped at a limit or ends
    without a result.
    """
    # A fork server has no threads whose locks a fork would copy; Windows can only spawn.
    has_forkserver = "forkserver" in get_all_start_methods()
    context = get_context("forkserver" if has_forkserver else "spawn")
    if has_forkserver:
        context.set_forkserver_preload([work.__module__])  # imported once for all children
    receiver, sender = context.Pipe(duplex=False)
    # Not a daemon: a worker process may start it too.
    child = context.Process(target=_run, args=(sender, limits, work, args))  # type: ignore[attr-defined]
    child.start()
    # With this end closed here, the pipe ends when the child does, and EOFError tells of it.
    sender.close()
    try:
        if not receiver.poll(limits.wall_s):
            raise LimitReachedError(f"more than {limits.wall_s:.0f} s")
        outcome = receiver.recv()
    except EOFError:
        child.join()
        # A process ended by a signal has its negative number as exit code; Windows has no SIGXCPU.
        is_cpu_limit = child.exitcode == -getattr(signal, "SIGXCPU", 0)
        reason = f"more than {limits.cpu_s} s of processor time" if is_cpu_limit else "a crash"
        raise LimitReachedError(reason) from None
    finally:
        child.kill()
        child.join()
        receiver.close()
    if isinstance(outcome, _Stopped):
        raise LimitReachedError(outcome.reason)
    if isinstance(outcome, PinfolioError):
        raise outcome
    result: Result = outcome
    return result


def _run(
    sender: Connection, limits: Limits, work: Callable[..., Result], args: tuple[object, ...]
) -> None:
    """Send the result of ``work``, the error that it raised, or the limit that it reached."""
    set_limits(limits)
    try:
        outcome: Result | PinfolioError | _Stopped = work(*args)
    except PinfolioError as error:
        outcome = error
    except MemoryError:
        outcome = _Stopped(f"more than {limits.memory_bytes / BYTES_PER_MB:.0f} MB of memory")
    except RecursionError:
        outcome = _Stopped("structures nested too deeply")
    sender.send(outcome)


def set_limits(limits: Limits) -> None:
    """Limit memory and processor time of this process, where the system can."""
    try:
        import resource
    except ImportError:  # Windows
        return
    if limits.cpu_s is not None:
        resource.setrlimit(resource.RLIMIT_CPU, (limits.cpu_s, limits.cpu_s + _GRACE_S))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))  # a crash leaves no memory dump behind
    # The limit counts address space, of which the interpreter has reserved some already.
    statm = Path("/proc/self/statm")  # Linux, proc(5): first the size in pages
    if statm.is_file():
        reserved_bytes = int(statm.read_text().split()[0]) * resource.getpagesize()
        most_bytes = reserved_bytes + limits.memory_bytes
        resource.setrlimit(resource.RLIMIT_AS, (most_bytes, most_bytes))
