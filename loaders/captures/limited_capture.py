"""Read a capture that came from a browser, in a child process with limits."""

from __future__ import annotations

from typing import Final

from ..errors import Fault
from ..system.limited_process import LimitReachedError, Limits, run_limited
from .text_capture import Capture, CaptureError, read_capture

MOST_BYTES: Final = 4_000_000
"""A capture of two channels has some hundred thousand samples at most."""
_LIMITS: Final = Limits(memory_bytes=600_000_000, cpu_s=10, wall_s=15.0)


def read_capture_limited(data: bytes, name: str) -> Capture:
    """Return the samples in a file's bytes; raises CaptureError, also for one beyond the limits."""
    try:
        outcome = run_limited(_read, data, name, limits=_LIMITS)
    except LimitReachedError as reached:
        fault = Fault(
            name, 1, 1, f"a file that takes {reached}", "a capture of one or two channels"
        )
        raise CaptureError((fault,)) from None
    if isinstance(outcome, Capture):
        return outcome
    raise CaptureError(outcome)


def _read(data: bytes, name: str) -> Capture | tuple[Fault, ...]:
    """Return the samples, or the faults: errors are returned across the processes."""
    try:
        return read_capture(data, name)
    except CaptureError as refused:
        return refused.faults
