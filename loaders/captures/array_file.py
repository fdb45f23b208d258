"""Read arrays that NumPy, HDF5 and MATLAB keep, as a capture."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from .capture import Capture, CaptureError
from .named_arrays import make_capture, refuse, split_table

if TYPE_CHECKING:
    import h5py

_MOST_NODES: Final = 1000  # groups and data sets of an HDF5 file that are looked at
_EXTRA: Final = "the readers for it; pip install 'pinfolio[captures]'"


@contextmanager
def refuse_broken(name: str, kind: str) -> Iterator[None]:
    """Turn a library's error on a broken file into a CaptureError.

    Their kind depends on where the file is broken. Reaching a limit of memory is another matter.
    """
    try:
        yield
    except (CaptureError, MemoryError, RecursionError):
        raise
    except Exception:
        expected = "a whole file; export it again, as CSV if need be"
        raise refuse(name, f"{kind} that is broken", expected) from None


def read_npy(data: bytes, name: str, interval_s: float | None, most_bytes: int) -> Capture:
    """Return the capture in a ``.npy`` file. Raises CaptureError."""
    table = _load_npy(data, name, most_bytes)
    return make_capture(split_table(table, name), {}, name, interval_s)


def _load_npy(data: bytes, name: str, most_bytes: int) -> NDArray[np.generic]:
    with refuse_broken(name, "a NumPy array"):
        stream = io.BytesIO(data)
        version = np.lib.format.read_magic(stream)
        read_header = {
            (1, 0): np.lib.format.read_array_header_1_0,
            (2, 0): np.lib.format.read_array_header_2_0,
        }[version]
        shape, _, dtype = read_header(stream)
        check_size(int(np.prod(shape, dtype=object)) * dtype.itemsize, name, most_bytes)
        if dtype.hasobject:
            raise refuse(name, "an array of objects", "an array of numbers")
        return np.asarray(np.load(io.BytesIO(data), allow_pickle=False))


def check_size(size_bytes: int, name: str, most_bytes: int) -> None:
    """Refuse content that is larger unpacked than ``most_bytes``. Raises CaptureError."""
    if not 0 <= size_bytes <= most_bytes:
        raise refuse(name, f"{size_bytes:,} bytes unpacked", f"no more than {most_bytes:,}")


def read_npz(data: bytes, name: str, interval_s: float | None, most_bytes: int) -> Capture:
    """Return the capture in a ``.npz`` file. Raises CaptureError."""
    kind = "a file of NumPy arrays"
    with refuse_broken(name, kind), zipfile.ZipFile(io.BytesIO(data)) as archive:
        members = archive.infolist()
        check_size(sum(member.file_size for member in members), name, most_bytes)
        parts = {m.filename.removesuffix(".npy"): archive.read(m) for m in members}
    arrays = {key: _load_npy(part, name, most_bytes) for key, part in parts.items()}
    return _capture_of(arrays, {}, name, interval_s)


def _capture_of(
    arrays: dict[str, NDArray[np.generic]],
    figures: dict[str, float],
    name: str,
    interval_s: float | None,
) -> Capture:
    """Return the capture of the arrays in a file; those of one element are figures, as an interval.

    Raises CaptureError.
    """
    single_figures = {
        key: float(array.item())
        for key, array in arrays.items()
        if array.size == 1 and array.dtype.kind in "fiu"
    }
    samples = {key: array for key, array in arrays.items() if array.size > 1}
    # One array of two dimensions is a table: its columns are time and channels.
    if len(samples) == 1:
        (table,) = samples.values()
        if table.ndim == 2 and min(table.shape) > 1:
            samples = split_table(table, name)
    return make_capture(samples, {**figures, **single_figures}, name, interval_s)


def read_matlab(data: bytes, name: str, interval_s: float | None, most_bytes: int) -> Capture:
    """Return the capture in a MATLAB level 5 file. Raises CaptureError."""
    try:
        from scipy.io import loadmat, whosmat
    except ImportError:
        raise refuse(name, "a MATLAB 5 file", _EXTRA) from None
    with refuse_broken(name, "a MATLAB 5 file"):
        listed = whosmat(io.BytesIO(data))
        check_size(sum(8 * int(np.prod(s, dtype=object)) for _, s, _ in listed), name, most_bytes)
        numeric = [key for key, _, kind in listed if kind in ("double", "single")]
        numeric += [key for key, _, kind in listed if kind.startswith(("int", "uint"))]
        content: dict[str, Any] = loadmat(io.BytesIO(data), variable_names=numeric)
    arrays = {key: np.asarray(content[key]) for key in numeric if key in content}
    return _capture_of(arrays, {}, name, interval_s)


def read_hdf5(data: bytes, name: str, interval_s: float | None, most_bytes: int) -> Capture:
    """Return the capture in an HDF5 file. Raises CaptureError.

    Links and data sets that lead to another file are left out.
    """
    try:
        import h5py
    except ImportError:
        raise refuse(name, "an HDF5 file", _EXTRA) from None
    with refuse_broken(name, "an HDF5 file"), h5py.File(io.BytesIO(data), "r") as file:
        sets: dict[str, h5py.Dataset] = {}
        figures = _read_attributes(file)
        _collect_sets(file, "", sets, figures)
        check_size(sum(s.size * s.dtype.itemsize for s in sets.values()), name, most_bytes)
        arrays = {_shorten(path, sets): np.asarray(s[()]) for path, s in sets.items()}
    return _capture_of(arrays, figures, name, interval_s)


def _collect_sets(
    group: h5py.Group, path: str, sets: dict[str, h5py.Dataset], figures: dict[str, float]
) -> None:
    """Add the numeric data sets below a group, and the figures in their attributes."""
    import h5py

    for key in list(group)[:_MOST_NODES]:
        if len(sets) >= _MOST_NODES or not isinstance(group.get(key, getlink=True), h5py.HardLink):
            continue
        node, below = group[key], f"{path}/{key}"
        if isinstance(node, h5py.Group) and below.count("/") < _MOST_NODES // 100:
            _collect_sets(node, below, sets, figures)
        elif isinstance(node, h5py.Dataset) and node.dtype.kind in "fiu":
            if node.external or node.is_virtual or node.shape is None:
                continue
            sets[below.lstrip("/")] = node
        figures.update(_read_attributes(node))


def _read_attributes(node: Any) -> dict[str, float]:
    attributes = {key: np.asarray(value) for key, value in node.attrs.items()}
    return {
        key: float(value.item())
        for key, value in attributes.items()
        if value.size == 1 and value.dtype.kind in "fiu"
    }


def _shorten(path: str, sets: dict[str, h5py.Dataset]) -> str:
    """Return the last word of a path where no other ends so, else the whole path."""
    last = path.rsplit("/", 1)[-1]
    same = [one for one in sets if one.rsplit("/", 1)[-1] == last]
    return last if len(same) == 1 else path
