"""Tell time, sample numbers and channels apart among the columns of a capture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from .capture import Samples
from .capture_header import Column
from .capture_settings import Settings
from .reading_place import ReadingPlace

_EXAMINED: Final = 1000  # rows: enough to tell time, count and volts apart
_EVEN: Final = 0.01  # of a step: times rise by the same step, but for their last figure


@dataclass(frozen=True)
class Roles:
    """Indices of the columns by what they hold."""

    time: int | None
    channels: tuple[int, ...]
    others: tuple[int, ...]
    """Columns in a unit that is neither time nor volts."""
    columns: tuple[Column, ...]
    """The columns, with the units that settings state for the channels."""


def tell_roles(
    columns: Sequence[Column],
    values: Sequence[Samples],
    settings: Settings,
    interval_s: float | None,
    place: ReadingPlace,
) -> Roles:
    """Return the role of each column, by its heading, else by its figures.

    Raises CaptureError for two time columns that differ.
    """
    counts = {n for n, column in enumerate(columns) if column.is_count}
    times = [
        n for n, column in enumerate(columns) if column.is_time or bool(column.strange and n == 0)
    ]
    if len(values) == 1:
        counts, times = set(), []
    has_start = bool(settings.intervals_s or settings.rate_intervals_s)
    if times and has_start and _counts_up(values[times[0]]) and not columns[times[0]].unit:
        counts.add(times.pop(0))  # called time, but samples are numbered
    if not times and 0 not in counts and len(values) > 1:
        role = _tell_first(columns[0], values, interval_s)
        times += [0] * (role == "time")
        counts |= {0} if role == "count" else set()
    elif times and 0 not in (*times, *counts) and not columns[0].name and len(values) > 2:
        counts |= {0} if _counts_up(values[0]) else set()  # numbered rows without a heading
    if times:  # without headings, the same times may be written again for another channel
        again = (n for n, column in enumerate(columns) if not column.name and n not in times)
        times += [n for n in again if np.array_equal(values[n], values[times[0]])]
    for n in times[1:]:
        if not np.array_equal(values[n], values[times[0]]):
            raise place.error_at(0, "two time columns that differ", "one time for each line")
    rest = [n for n in range(len(values)) if n not in counts and n not in times]
    units = [settings.find_y_unit(place, len(rest)) for place in range(len(rest))]
    known = list(columns)
    for n, unit in zip(rest, units, strict=True):
        known[n] = replace(columns[n], unit=columns[n].unit or unit)
    others = tuple(n for n in rest if known[n].is_other)
    channels = tuple(n for n in rest if n not in others)
    return Roles(times[0] if times else None, channels, others, tuple(known))


def _tell_first(column: Column, values: Sequence[Samples], interval_s: float | None) -> str:
    """Return whether a first column without a telling heading is time, count or volts."""
    first = values[0]
    if column.is_volts or column.is_other:
        return "volts"
    if _counts_up(first):
        return "count"
    if interval_s is None or column.is_axis:
        return "time"
    steps = np.diff(first[:_EXAMINED])
    rises_evenly = bool(steps.size) and np.ptp(steps) < abs(steps.mean()) * _EVEN
    return "time" if rises_evenly else "volts"


def _counts_up(values: Samples) -> bool:
    """Return whether values are whole numbers, each one more than the last."""
    top = values[:_EXAMINED]
    return len(top) > 1 and bool((np.diff(top) == 1).all()) and float(top[0]).is_integer()
