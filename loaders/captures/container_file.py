"""Read a capture in a container that general-purpose libraries know, or name the file's kind."""

from __future__ import annotations

from .array_file import read_hdf5, read_matlab, read_npy, read_npz
from .binary_kind import HDF5, MATLAB, NPY, NPZ, SESSION, SOUND
from .capture import MOST_BYTES, Capture
from .named_arrays import refuse
from .session_file import read_session
from .sound_file import read_sound

_ARRAYS = {NPY: read_npy, NPZ: read_npz, HDF5: read_hdf5, MATLAB: read_matlab}


def read_container(
    data: bytes, kind: str, name: str, interval_s: float | None, full_scale_v: float | None
) -> Capture:
    """Return the capture in a binary file of a ``kind`` that ``find_kind`` told.

    Raises CaptureError, also for a kind that is no capture.
    """
    if len(data) > MOST_BYTES:
        raise refuse(name, f"{len(data):,} bytes", f"no more than {MOST_BYTES:,}")
    if kind in _ARRAYS:
        return _ARRAYS[kind](data, name, interval_s, MOST_BYTES)
    if kind == SOUND:
        return read_sound(data, name, full_scale_v)
    if kind == SESSION:
        return read_session(data, name, MOST_BYTES)
    raise refuse(name, kind, "samples; export it as CSV")
