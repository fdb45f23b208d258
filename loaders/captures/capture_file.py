"""Read a capture from a file's bytes, in any form that is known."""

from __future__ import annotations

from typing import Final

from .binary_kind import find_kind
from .capture import Capture
from .text_capture import read_text_capture

_OF_TEXTS: Final = (".csv", ".txt", ".tsv", ".dat")
_OF_CONTAINERS: Final = (".npy", ".npz", ".h5", ".hdf5", ".mat", ".wav", ".sr")
ENDINGS: Final = (*_OF_TEXTS, *_OF_CONTAINERS)
"""Usual ends of the names of captures; the file's own bytes tell its kind."""


def read_capture(
    data: bytes, name: str, interval_s: float | None = None, full_scale_v: float | None = None
) -> Capture:
    """Return the samples in a file's bytes; ``name`` names the file in errors.

    ``interval_s`` is used where the file tells neither times nor a sample interval;
    ``full_scale_v`` is the voltage of full scale in a sound file.
    Raises CaptureError, which names the first wrong line of a text.
    """
    kind = find_kind(data)
    if kind is None:
        return read_text_capture(data, name, interval_s)
    from .container_file import read_container

    return read_container(data, kind, name, interval_s, full_scale_v)
