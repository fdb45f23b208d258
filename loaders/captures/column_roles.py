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

    ``interval_s`` is the sample interval from elsewhere, None where there is none.
    Raises CaptureError for two time columns that differ.
    """
    counts: set[int] = set()
    times: list[int] = []
    # A single column is the channel, whatever its heading.
    if len(values) > 1:
        counts, times = _choose_axis_columns(columns, values, settings, interval_s)
        times += _find_repeated_times(columns, values, times)
    if any(not np.array_equal(values[n], values[times[0]]) for n in times[1:]):
        raise place.error_at(0, "two time columns that differ", "one time for each line")
    remaining = [n for n in range(len(values)) if n not in counts and n not in times]
    columns_with_units = list(columns)
    for channel, n in enumerate(remaining):
        # The unit in a heading goes before that of the settings.
        unit = columns[n].unit or settings.find_y_unit(channel, len(remaining))
        columns_with_units[n] = replace(columns[n], unit=unit)
    return Roles(
        time=times[0] if times else None,
        channels=tuple(n for n in remaining if not columns_with_units[n].is_other),
        others=tuple(n for n in remaining if columns_with_units[n].is_other),
        columns=tuple(columns_with_units),
    )


def _choose_axis_columns(
    columns: Sequence[Column],
    values: Sequence[Samples],
    settings: Settings,
    interval_s: float | None,
) -> tuple[set[int], list[int]]:
    """Return the indices of the columns of sample numbers, and of those of time; maybe none."""
    counts = {n for n, column in enumerate(columns) if column.is_count}
    times = [n for n, column in enumerate(columns) if column.is_time]
    # A first column in an unknown unit is time too: its unit is refused where times are read.
    if columns[0].unknown_unit and 0 not in times:
        times.insert(0, 0)
    states_interval = bool(settings.intervals_s or settings.rate_intervals_s)
    # A column called time may only number the samples; the stated interval then gives the times.
    if times and states_interval and not columns[times[0]].unit and _counts_up(values[times[0]]):
        counts.add(times.pop(0))
    is_first_open = 0 not in times and 0 not in counts
    if is_first_open and not times:
        role = _tell_first(columns[0], values, interval_s)
        if role == "time":
            times.append(0)
        elif role == "count":
            counts.add(0)
    # Rows may be numbered in a column without a heading, beside time and a channel.
    elif is_first_open and not columns[0].name and len(values) > 2 and _counts_up(values[0]):
        counts.add(0)
    return counts, times


def _find_repeated_times(
    columns: Sequence[Column], values: Sequence[Samples], times: Sequence[int]
) -> list[int]:
    """Return the columns without a heading that repeat the times, one for each other channel."""
    if not times:
        return []
    unnamed = [n for n, column in enumerate(columns) if not column.name and n not in times]
    return [n for n in unnamed if np.array_equal(values[n], values[times[0]])]


def _tell_first(column: Column, values: Sequence[Samples], interval_s: float | None) -> str:
    """Return ``time``, ``count`` or ``volts`` for a first column without a heading that says so."""
    first = values[0]
    if column.is_volts or column.is_other:
        return "volts"
    if _counts_up(first):
        return "count"
    # Without an interval from elsewhere nothing else can be the time.
    if interval_s is None or column.is_axis:
        return "time"
    steps = np.diff(first[:_EXAMINED])
    rises_evenly = bool(steps.size) and np.ptp(steps) < abs(steps.mean()) * _EVEN
    return "time" if rises_evenly else "volts"


def _counts_up(values: Samples) -> bool:
    """Return whether values are whole numbers, each one more than the last."""
    top = values[:_EXAMINED]
    return len(top) > 1 and bool((np.diff(top) == 1).all()) and float(top[0]).is_integer()
