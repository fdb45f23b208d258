"""Predict the readings of a board with a fault: the figures it moves, the farthest first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ....schema import Chip, print_value
from ....schema.chips.usual_faults import describe_endpoint
from ..board.cloud import Cloud, Seen
from ..weighing.known_board import KnownBoard

Numbers = NDArray[np.float64]

_UNITS: Final = {"dc": "V", "vpp": "Vpp", "frequency": "Hz"}
_LEAST_SIGMA: Final = 2.0  # spreads of good boards: what is worth saying
_LEAST_DC_V: Final = 0.1
_LEAST_SHARE: Final = 0.1
_LEAST_SHIFT: Final = 1e-4
_WORDED: Final = 0.5  # of the boards: a word that is then said
_ROUNDING: Final = 1e-9
_SMALL_DC_V: Final = 0.5  # a voltage below which its moves count as if it were that large
_QUANTILES: Final = (0.1, 0.5, 0.9)
_FULL_SIZE_SPREADS: Final = 10.0  # of good boards: a frequency that far off counts as 1
_GONE_SIZE: Final = 3.0  # a signal that is gone, against a figure that is off by its own size
_WORDS: Final = {
    Seen.UNSTABLE: "unstable",
    Seen.DISTORTED: "distorted",
    Seen.HUM: "hum on it",
    Seen.CLIPPED: "clipped",
    Seen.NOISE: "noise",
}


@dataclass(frozen=True)
class Change:
    """One figure that a fault moves."""

    at: str
    quantity: str
    """``dc``, ``vpp`` or ``frequency``."""
    right: float
    now: float | None
    """None: nothing there to be read."""
    low: float | None
    high: float | None
    """Between which most such boards read."""
    size: float
    """How far it moves, by how far it can be told."""
    seen: tuple[str, ...] = ()
    """Other faults of the trace on an oscilloscope: ``distorted``."""

    @property
    def unit(self) -> str:
        """Its unit."""
        return _UNITS[self.quantity]

    @property
    def now_words(self) -> str:
        """The predicted reading in words: ``1.9 V (1.8 V to 2.1 V), distorted``."""
        figures = 6 if self.unit == "Hz" else 3
        if self.now is None:
            return "nothing to count"
        reading = print_value(self.now, self.unit, figures)
        if self.low is not None and self.high is not None and self.high > self.low:
            ends = (print_value(end, self.unit, figures) for end in (self.low, self.high))
            reading = f"{reading} ({' to '.join(ends)})"
        return ", ".join([reading, *self.seen])

    def describe(self, chip: Chip) -> str:
        """Return it as a technician says it: ``pin 9 VCC: 1.9 V, not 8 V``."""
        figures = 6 if self.unit == "Hz" else 3
        right = print_value(self.right, self.unit, figures)
        now = "nothing" if self.now is None else print_value(self.now, self.unit, figures)
        words = f" {' and '.join(self.seen)}" if self.seen else ""
        return f"{describe_endpoint(chip, self.at)}: {now}{words}, not {right}"

    def document(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "at": self.at,
            "quantity": self.quantity,
            "unit": self.unit,
            "should_read": self.right,
            "would_read": self.now,
            "should_read_v": None if self.unit == "Hz" else self.right,
            "would_read_v": None if self.unit == "Hz" else self.now,
            "between": None if self.low is None else [self.low, self.high],
            "seen": list(self.seen),
        }


def list_changes(board: KnownBoard, row: int, weights: Numbers | None = None) -> list[Change]:
    """Return the figures that a hypothesis moves noticeably, the farthest first.

    ``weights`` (hypotheses, draws): which of its boards are still likely; all alike when None.
    """
    draws = board.cloud.draws
    draw_shares = np.full(draws, 1 / draws)
    if weights is not None and weights[row].sum() > 0:
        draw_shares = weights[row] / weights[row].sum()
    changes = [
        *_find_voltage_changes(board, row, draw_shares),
        *_find_signal_changes(board, row, draw_shares),
        *_find_frequency_changes(board, row, draw_shares),
    ]
    # The points at the fault itself are looked at first.
    near_columns = np.flatnonzero(board.spreads.near[row]).tolist()
    near_points = {board.cloud.points[column] for column in near_columns}
    return sorted(changes, key=lambda change: (change.at not in near_points, -change.size))


def _find_voltage_changes(board: KnownBoard, row: int, shares: Numbers) -> Iterator[Change]:
    """Yield the voltages that a hypothesis moves noticeably."""
    right, figures = board.good["dc"], _compute_figures(board, "dc", row, shares)
    move = np.abs(figures.middle - right)
    is_noticeable = move >= np.maximum(_LEAST_SIGMA * board.spreads.dc_v, _LEAST_DC_V)
    size = move / np.maximum(np.abs(right), _SMALL_DC_V)
    for column in np.flatnonzero(is_noticeable & figures.known).tolist():
        point = board.cloud.points[column]
        yield Change(point, "dc", *figures.summarise_column(column, right), float(size[column]))


def _find_signal_changes(board: KnownBoard, row: int, shares: Numbers) -> Iterator[Change]:
    """Yield the amplitudes that a hypothesis moves noticeably."""
    floor_v = board.spreads.floor_v
    right_vpp, figures = board.good["vpp"], _compute_figures(board, "vpp", row, shares)
    with np.errstate(divide="ignore", invalid="ignore"):
        move = np.abs(np.log(figures.middle / np.maximum(right_vpp, floor_v)))
    is_noticeable = move >= np.maximum(_LEAST_SIGMA * board.spreads.vpp, _LEAST_SHARE)
    is_noticeable &= np.maximum(right_vpp, figures.middle) >= floor_v
    trace_faults = _list_trace_faults(board, row, shares)
    for column in np.flatnonzero(figures.known).tolist():
        point, seen = board.cloud.points[column], trace_faults.get(column, ())
        good_vpp = float(right_vpp[column])
        if is_noticeable[column] and figures.middle[column] < floor_v[column]:
            yield Change(point, "vpp", good_vpp, 0.0, None, None, _GONE_SIZE)
        elif is_noticeable[column]:
            summary = figures.summarise_column(column, right_vpp)
            yield Change(point, "vpp", *summary, float(move[column]), seen)
        elif seen and good_vpp > floor_v[column]:
            # As high as it should be, and bent: the look alone is the change.
            yield Change(point, "vpp", good_vpp, good_vpp, None, None, _LEAST_SIGMA, seen)


def _list_trace_faults(board: KnownBoard, row: int, shares: Numbers) -> dict[int, tuple[str, ...]]:
    """Return by column the other faults of the trace that an oscilloscope shows on most boards."""
    flags = board.cloud.words[row]
    faults: dict[int, tuple[str, ...]] = {}
    for flag, word in _WORDS.items():
        share = shares @ ((flags & flag.value) > 0)
        # Half of the boards are not most of them, whichever way their shares are rounded.
        for column in np.flatnonzero(share > _WORDED + _ROUNDING).tolist():
            faults[column] = (*faults.get(column, ()), word)
    return faults


def _find_frequency_changes(board: KnownBoard, row: int, shares: Numbers) -> Iterator[Change]:
    """Yield the frequencies that a hypothesis moves noticeably."""
    right_hz, spread = board.good["frequency"], board.spreads.frequency
    figures = _compute_figures(board, "frequency", row, shares)
    with np.errstate(divide="ignore", invalid="ignore"):
        move = np.abs(np.log(figures.middle / right_hz))
    is_noticeable = move >= np.maximum(_LEAST_SIGMA * spread, _LEAST_SHIFT)
    for column in np.flatnonzero(right_hz > 0).tolist():
        point = board.cloud.points[column]
        if not figures.known[column]:
            good_hz = float(right_hz[column])
            yield Change(point, "frequency", good_hz, None, None, None, _GONE_SIZE / 2)
        elif is_noticeable[column]:
            # A crystal's smallest move counts, however small a share of its frequency.
            spreads_moved = move[column] / (_FULL_SIZE_SPREADS * spread[column])
            size = float(max(move[column], min(spreads_moved, 1.0)))
            summary = figures.summarise_column(column, right_hz)
            yield Change(point, "frequency", *summary, size)


@dataclass(frozen=True, eq=False)
class _Figures:
    """Readings of most boards at every point, each of shape (points,)."""

    low: Numbers
    middle: Numbers
    high: Numbers
    known: NDArray[np.bool_]

    def summarise_column(self, column: int, right: Numbers) -> tuple[float, float, float, float]:
        """Return the right figure, the middle one, and between which most lie."""
        ends = (right[column], self.middle[column], self.low[column], self.high[column])
        return tuple(map(float, ends))  # type: ignore[return-value]


def _compute_figures(board: KnownBoard, quantity: str, row: int, shares: Numbers) -> _Figures:
    """Return quantiles of the figures with the fault; ``known`` where most boards have one."""
    values, order, known = _sort_figures(board, quantity, row)
    share = np.cumsum(np.where(known, shares[order], 0.0), axis=0)
    total = share[-1]
    columns = np.arange(values.shape[1])
    low, middle, high = (
        values[np.argmax(share >= edge * total, axis=0), columns].astype(float)
        for edge in _QUANTILES
    )
    return _Figures(low, middle, high, total >= _WORDED)


@lru_cache(maxsize=256)  # some 20 kB each; the suspects of one step are mostly those of the last
def _sort_figures(board: KnownBoard, quantity: str, row: int) -> tuple[Any, Any, Any]:
    """Return figures with a fault from the least to the most, their draws, and which are known;
    each of shape (draws, points)."""
    values = _select_figures(board.cloud, quantity)[row]
    known = np.isfinite(values)
    order = np.argsort(np.where(known, values, np.inf), axis=0)
    ordered = np.take_along_axis(np.nan_to_num(values), order, axis=0)
    return ordered, order.astype(np.int16), np.take_along_axis(known, order, axis=0)


def _select_figures(cloud: Cloud, quantity: str) -> Any:
    return {"dc": cloud.dc_v, "vpp": cloud.vpp_v, "frequency": cloud.frequency_hz}[quantity]
