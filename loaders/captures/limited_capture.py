"""Read a capture in a child process, so that a hostile one cannot take the machine."""

from __future__ import annotations

from typing import Final

from ..errors import Fault
from ..system.limited_process import LimitReachedError, Limits, run_limited
from .capture import Capture, CaptureError
from .capture_file import read_capture

MOST_BYTES: Final = 20_000_000
"""From a browser: a million samples as text."""
_MEMORY_BYTES: Final = 200_000_000
_MEMORY_PER_BYTE: Final = 12  # numbers of a few digits become 8 bytes, and are copied once
_CPU_S: Final = 5
_CPU_S_PER_MB: Final = 1
_WALL_PER_CPU: Final = 4  # other programs run too


def read_capture_limited(
    data: bytes, name: str, interval_s: float | None = None, full_scale_v: float | None = None
) -> Capture:
    """Return the samples in a file's bytes, as ``read_capture`` does, within limits.

    Raises CaptureError, also if reading needs more memory or time than the limits.
    """
    cpu_s = _CPU_S + int(_CPU_S_PER_MB * len(data) / 1e6)
    limits = Limits(_MEMORY_BYTES + _MEMORY_PER_BYTE * len(data), cpu_s, _WALL_PER_CPU * cpu_s)
    try:
        return run_limited(read_capture, data, name, interval_s, full_scale_v, limits=limits)
    except LimitReachedError as reached:
        fault = Fault(name, 1, 1, f"a file that takes {reached}", "a smaller capture")
        raise CaptureError((fault,)) from None
