"""Read a capture from a file's bytes, in any form that is known."""

from __future__ import annotations

from .capture import Capture
from .text_capture import read_text_capture


def read_capture(data: bytes, name: str, interval_s: float | None = None) -> Capture:
    """Return the samples in a file's bytes; ``name`` names the file in errors.

    ``interval_s`` is used where the file tells neither times nor a sample interval.
    Raises CaptureError, which names the first wrong line.
    """
    return read_text_capture(data, name, interval_s)
