"""Lay the samples of a capture evenly in time, by its time column and the interval it states."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from ...schema.quantities import print_value
from .capture import FEWEST_SAMPLES, Samples
from .reading_place import ReadingPlace

LEAST_INTERVAL_S, LONGEST_INTERVAL_S = 1e-14, 3600.0
_UNEVEN: Final = 0.1  # of an interval: more than the rounding of a clock or of binary fractions
_SAME: Final = 1e-3  # relative difference of an interval from one that is stated with few figures
_MOST_STEPS, _WIDEST = 0.9, 1.5  # a gap is wider than steps by rounding
_ROUNDED: Final = 1.01  # steps of the last figure by which a time is rounded or cut off
_KNOWN_WELL: Final = 1e-4  # relative: an interval known better than this needs no remark
_FIGURE: Final = re.compile(
    r"[+-]?[0-9]*(?:[.,](?P<decimals>[0-9]*))?(?:[eE](?P<power>[+-]?[0-9]+))?"
)


@dataclass(frozen=True, eq=False)
class TimeColumn:
    """Times as written, in seconds."""

    t_s: Samples
    read_last_figure_s: Callable[[int], float]
    """Returns the size of the last figure that a row's time is written with."""

    @cached_property
    def rises_s(self) -> Samples:
        """Seconds from each time to the next."""
        return np.diff(self.t_s)

    @cached_property
    def first_repeated(self) -> int | None:
        """The row of the first time that is equal to the one before; None where none is."""
        is_same = self.rises_s == 0
        return int(np.argmax(is_same)) + 1 if is_same.any() else None

    @cached_property
    def interval_s(self) -> float:
        """Seconds from time to time, on the whole."""
        return float(self.t_s[-1] - self.t_s[0]) / (len(self.t_s) - 1)

    @cached_property
    def step_s(self) -> float:
        """Seconds by which times are rounded; about 0 where each is written exactly."""
        apart_s = 2 * self.measure_deviation_s(self.interval_s)
        if self.first_repeated is None:
            return _ROUNDED * apart_s
        rising_s = self.rises_s[self.rises_s > 0]
        if not rising_s.size:
            return _ROUNDED * self.read_last_figure_s(0)
        return _ROUNDED * min(apart_s, _WIDEST * float(np.quantile(rising_s, _MOST_STEPS)))

    def measure_deviation_s(self, interval_s: float) -> float:
        """Return the seconds by which the times differ at most from even ones."""
        even_s = interval_s * np.arange(len(self.t_s)) + self.t_s[0]
        return float(np.abs(self.t_s - even_s).max())


@dataclass(frozen=True, eq=False)
class TimeAxis:
    """Evenly spaced times in seconds, and remarks on how they were understood."""

    start_s: float
    interval_s: float
    remarks: tuple[str, ...] = ()


def read_step(field: str) -> float:
    """Return the size of the last figure of a number as written; 0 where it cannot be told."""
    match = _FIGURE.fullmatch(field)
    if match is None:
        return 0.0
    power = min(max(int(match["power"] or 0), -300), 300)
    return float(10.0 ** (power - len(match["decimals"] or "")))


def choose_interval_s(
    stated: tuple[float, ...], rates: tuple[float, ...], place: ReadingPlace
) -> float | None:
    """Return the sample interval that a file states; None where it states none.

    Raises CaptureError where it states two that differ.
    """
    both = sorted({*stated, *rates} if not stated else {*stated, *_unlike(rates, stated)})
    if len(both) > 1:
        found_text = " and ".join(print_value(value, "s") for value in both[:2])
        raise place.error_at(0, f"sample intervals of {found_text}", "one sample interval")
    return both[0] if both else None


def _unlike(rates: tuple[float, ...], stated: tuple[float, ...]) -> list[float]:
    return [rate for rate in rates if all(abs(rate - one) > _SAME * one for one in stated)]


def lay_evenly(
    column: TimeColumn, stated_s: tuple[float, ...], rates_s: tuple[float, ...], place: ReadingPlace
) -> TimeAxis:
    """Return the axis of a time column, with the stated interval where the column is coarser.

    Raises CaptureError for times that fall, are uneven, or contradict the stated interval.
    """
    if len(column.t_s) < FEWEST_SAMPLES:
        raise place.error_at(0, f"{len(column.t_s)} samples", f"at least {FEWEST_SAMPLES}")
    own_s = column.interval_s
    _check_rising(column, place)
    unsure_s = column.step_s / (len(column.t_s) - 1)
    for interval_s in (*stated_s, *rates_s):
        if abs(own_s - interval_s) <= max(unsure_s, _SAME * interval_s):
            return _follow_stated(column, interval_s, place)
    if stated_s:
        found_text = (
            f"times {print_value(own_s, 's')} apart under an interval of"
            f" {print_value(stated_s[0], 's')}"
        )
        raise place.error_at(1, found_text, "a time column that agrees with the sample interval")
    rounding_s = column.step_s if column.first_repeated is not None else 0.0
    _check_even(column, own_s, max(rounding_s, _UNEVEN * own_s), place)
    remarks = tuple(_remark_on_column(own_s, unsure_s, rates_s))
    return TimeAxis(float(column.t_s[0]), own_s, remarks)


def _remark_on_column(own_s: float, unsure_s: float, rates_s: tuple[float, ...]) -> list[str]:
    remarks = []
    if rates_s:
        rate, apart = print_value(1 / rates_s[0], "Hz"), print_value(own_s, "s")
        remarks.append(
            f"The sample rate stated is {rate}, but the times are {apart} apart: the times count"
        )
    if unsure_s > _KNOWN_WELL * own_s:
        remarks.append(
            f"The times have few figures: the interval is known to {100 * unsure_s / own_s:.2g} %"
        )
    return remarks


def _follow_stated(column: TimeColumn, interval_s: float, place: ReadingPlace) -> TimeAxis:
    """Return the stated interval, from the start that fits the times as they are rounded."""
    _check_even(column, interval_s, max(column.step_s, interval_s), place)
    start_s = float(column.t_s[0])
    if column.step_s > interval_s:
        offsets_s = column.t_s - interval_s * np.arange(len(column.t_s))
        start_s = float(offsets_s.max() + offsets_s.min()) / 2
    return TimeAxis(start_s, interval_s)


def _check_rising(column: TimeColumn, place: ReadingPlace) -> None:
    """Refuse times that fall, and times that are the same though written finely enough."""
    t_s, row = column.t_s, column.first_repeated
    if column.rises_s.min() < 0:
        row = int(np.argmax(column.rises_s < 0)) + 1
        expected = "times that rise from line to line; a decimal comma needs ; between columns"
        raise place.error_at(row, f"{t_s[row]:g} s after {t_s[row - 1]:g} s", expected)
    if row is not None and column.read_last_figure_s(row) < column.interval_s / 2:
        found_text = f"{print_value(float(t_s[row]), 's')} after the same time"
        raise place.error_at(row, found_text, "one sample at each time")


def _check_even(column: TimeColumn, interval_s: float, most_s: float, place: ReadingPlace) -> None:
    """Refuse times that are further from even than ``most_s``."""
    if column.measure_deviation_s(interval_s) <= most_s:
        return
    usual_s = float(np.median(column.rises_s))
    row = int(np.argmax(np.abs(column.rises_s - usual_s))) + 1
    found_text = f"a step of {print_value(float(column.rises_s[row - 1]), 's')}"
    raise place.error_at(
        row, found_text, f"even steps, of {print_value(usual_s, 's')} as elsewhere"
    )


def check_interval(interval_s: float, place: ReadingPlace) -> None:
    """Refuse an interval that no oscilloscope writes and that would overflow sums."""
    if not (math.isfinite(interval_s) and LEAST_INTERVAL_S <= interval_s <= LONGEST_INTERVAL_S):
        found_text = f"samples {print_value(interval_s, 's')} apart"
        raise place.error_at(1, found_text, "between 10 fs and an hour")
