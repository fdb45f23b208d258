"""Make a capture of arrays by their names: times, interval or rate, and channels."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .capture import FEWEST_SAMPLES, Capture, CaptureError, Samples
from .capture_header import Column
from .reading_place import ReadingPlace, build_error
from .time_axis import TimeColumn, check_interval, lay_evenly
from .volt_scale import check_volts

_INTERVAL_NAME: Final = re.compile(
    r"dt|delta_?t|(?:sampl(?:e|ing)_?)?(?:interval|period)(?:_s)?|x_?incr(?:ement)?|ts",
    re.IGNORECASE,
)
_RATE_NAME: Final = re.compile(
    r"fs|f_s|sampl(?:e|ing)_?(?:rate|frequency)(?:_hz)?|rate(?:_hz)?|sr", re.IGNORECASE
)
_START_NAME: Final = re.compile(
    r"t0|t_?start|start(?:_time)?(?:_s)?|x_?(?:zero|origin)", re.IGNORECASE
)
_MOST_CHANNELS: Final = 64
_COLUMNS_AT_MOST: Final = 16  # a table with more columns than rows and so few rows lies on its side

Arrays = Mapping[str, NDArray[np.generic]]


def refuse(name: str, found: str, expected: str, write: str | None = None) -> CaptureError:
    """Return the error of a file that has no lines."""
    return build_error(name, 1, found, expected, write=write)


def split_table(table: NDArray[np.generic], name: str) -> dict[str, NDArray[np.generic]]:
    """Return the columns of an array of one or two dimensions, time first where it is told.

    Without names a first column that rises evenly is time. Raises CaptureError.
    """
    if table.dtype.names is not None:
        return {field: np.asarray(table[field]) for field in table.dtype.names}  # type: ignore[call-overload]
    if table.ndim == 1:
        return {"channel 1": table}
    if table.ndim != 2 or not np.issubdtype(table.dtype, np.number):
        raise refuse(name, f"an array of {table.ndim} dimensions", "samples, or columns of them")
    columns = list(table if len(table) <= _COLUMNS_AT_MOST < table.shape[1] else table.T)
    is_time = len(columns) > 1 and not np.iscomplexobj(table) and _rises(columns[0])
    names = ["time"] * is_time + [f"channel {n}" for n in range(1, len(columns) + 1 - is_time)]
    return dict(zip(names, columns, strict=True))


def _rises(values: NDArray[np.generic]) -> bool:
    steps = np.diff(values.astype(np.float64))
    return len(steps) > 0 and bool(steps.min() > 0) and bool(np.ptp(steps) < steps.mean())


def make_capture(
    arrays: Arrays, figures: Mapping[str, float], name: str, interval_s: float | None
) -> Capture:
    """Return the capture in arrays by their names; ``figures`` are single numbers beside them.

    ``interval_s`` is used where neither tells the time. Raises CaptureError.
    """
    samples = {
        key: array.ravel()
        for key, array in arrays.items()
        if array.size >= FEWEST_SAMPLES and array.size == max(array.shape)
    }
    real = {key: array for key, array in samples.items() if array.dtype.kind in "fiu"}
    if not real or len(real) > _MOST_CHANNELS:
        raise refuse(name, "no array of samples", "real numbers in one dimension")
    if len({len(array) for array in real.values()}) > 1:
        lengths = " and ".join(f"{len(array):,}" for array in list(real.values())[:2])
        raise refuse(name, f"arrays of different lengths, {lengths}", "one length for all")
    times = [key for key in real if Column(key).is_time]
    channels = {key: array for key, array in real.items() if key not in times}
    if not channels:
        raise refuse(name, "times without volts", "an array of volts")
    start_s, step_s = _read_axis(real, times, figures, name, interval_s)
    volts = {key: _convert(key, array, name) for key, array in channels.items()}
    t_s = start_s + step_s * np.arange(len(next(iter(volts.values()))), dtype=np.float64)
    remarks = tuple(f"No unit is stated for {key}: taken as volts" for key in volts)
    return Capture(t_s, tuple(volts.values()), step_s, tuple(volts), remarks)


def _read_axis(
    arrays: Arrays,
    times: list[str],
    figures: Mapping[str, float],
    name: str,
    outside_s: float | None,
) -> tuple[float, float]:
    """Return start and interval in seconds."""
    place = ReadingPlace(name, b"", 0)
    if times:
        column = TimeColumn(arrays[times[0]].astype(np.float64), lambda _: 0.0)
        if not np.isfinite(column.t_s).all():
            raise refuse(name, f"{times[0]} that is not finite", "times in seconds")
        axis = lay_evenly(column, (), (), place)
        start_s, interval_s = axis.start_s, axis.interval_s
    else:
        interval_s = _find_interval_s(figures) or outside_s or 0.0
        start_s = _find(figures, _START_NAME) or 0.0
    if not interval_s > 0:
        expected = "an array named t, a number named dt or sample_rate, or --interval"
        raise refuse(name, "volts without time", expected)
    check_interval(interval_s, place)
    return start_s, interval_s


def _find_interval_s(figures: Mapping[str, float]) -> float | None:
    if interval_s := _find(figures, _INTERVAL_NAME):
        return interval_s
    rate_hz = _find(figures, _RATE_NAME)
    return 1 / rate_hz if rate_hz and rate_hz > 0 else None


def _find(figures: Mapping[str, float], pattern: re.Pattern[str]) -> float | None:
    return next((value for key, value in figures.items() if pattern.fullmatch(key)), None)


def _convert(key: str, array: NDArray[np.generic], name: str) -> Samples:
    """Return an array as volts. Raises CaptureError for whole numbers: those of a converter."""
    if array.dtype.kind != "f":
        raise refuse(name, f"{key} in counts of a converter", "volts, as floating-point numbers")
    volts = np.ascontiguousarray(array, dtype=np.float64)
    if not np.isfinite(volts).all():
        row = int(np.argmin(np.isfinite(volts)))
        raise refuse(name, f"{key}: sample {row + 1} is {volts[row]:g}", "finite numbers")
    check_volts(volts, ReadingPlace(name, b"", 0))
    return volts
