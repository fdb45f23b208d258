"""The lines of a record: their starts, numbers and fields, and the samples of a part of each.

Numbering: of 625 lines the first begins with the first broad pulse of the first field, of 525 with
the first equalising pulse before it (ITU-R BT.470-6, figures 2; BT.1700; SMPTE 170M, clause 11).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ....schema.errors import Unknown
from ....schema.waveforms import Samples
from .figure import Record
from .sync_pulses import Index, Sync

_MOST_LINES: Final = 600  # measured of a long record, evenly spread: more would not be surer
_RUN: Final = 8  # lines within which the sequences of all systems repeat
_LOCKED_S: Final = 0.1e-6  # deviation up to which lines are taken to be evenly spaced
_UNEVEN_S: Final = 60e-9
_BEYOND_NOISE: Final = 4.0  # standard uncertainties of an edge
_LINE_525_S: Final = 143 / 2_250_000
_LINE_625_S: Final = 64e-6
_BROAD_LINE: Final = {625: (1, 313), 525: (4, 266)}  # the line in which field sync begins
_PICTURE: Final = {625: ((24, 309), (337, 621)), 525: ((22, 262), (285, 524))}
_SAME_PICTURE: Final = 0.06  # of the height of sync: a line this level carries no picture
_PICTURE_SPANS_S: Final = ((12e-6, 58e-6), (12e-6, 35e-6), (35e-6, 58e-6))
_HALF_SPANS_S: Final = ((12e-6, 30e-6), (35e-6, 58e-6))  # before and behind the half line
_LINES_A_FIELD: Final = 262
_WAYS: Final = 8  # places of a sample within an interval, or a cycle, that differ
_LONGEST_SHAPE: Final = 4  # lines that are compared with the expected shape
_PARTS: Final = 8  # of a picture, each with a level of its own
_MOST_BLANK: Final = 25  # lines of a field blanking


class NoSuchLine(Unknown):
    """The chosen line is not in the record, or cannot be told from the others."""


@dataclass(frozen=True, eq=False)
class LineGrid:
    """The lines that are measured, of a record turned so that sync points down."""

    record: Record
    sync: Sync
    starts_s: Samples
    """0H of each line, shape (lines,)."""
    order: Index
    """Place of each line in the sequence of lines; neighbours differ by one."""
    numbers: Index | None
    """Number of each line in the frame; None without field sync."""
    lines: int
    """625 or 525, by the duration of a line; 0 where it is neither."""
    left_out: int = 0
    """Lines of field blanking that are not measured."""

    @property
    def line_s(self) -> float:
        """Duration of a line in seconds."""
        return self.sync.line_s

    def __len__(self) -> int:
        return len(self.starts_s)

    @property
    def is_uneven(self) -> bool:
        """Whether the lines jitter visibly, more than noise makes their edges do."""
        late_s = self.sync.late_s
        rms_s = float(np.sqrt(np.mean(late_s**2)))
        return rms_s > max(_UNEVEN_S, _BEYOND_NOISE * self.sync.edge_error_s)

    def count_samplings(self, carrier_hz: float = 0.0) -> int:
        """Return how many lines are sampled each in another way.

        Where sampling, lines and carrier are locked, the same few ways come again, and with them
        the same errors of rounding and of a few samples on an edge.
        """
        places = np.mod(self.starts_s / self.record.interval_s, 1.0)
        phases = np.mod(self.starts_s * carrier_hz, 1.0)
        ways = np.floor(_WAYS * np.column_stack([places, phases])).astype(np.intp)
        return len(np.unique(ways, axis=0))

    def cut(self, from_s: float, to_s: float) -> Cut:
        """Return the samples between two times after 0H, of each line that holds them all."""
        interval_s = self.record.interval_s
        count = int((to_s - from_s) / interval_s)
        first = np.ceil((self.starts_s + from_s) / interval_s).astype(np.intp)
        held = (first >= 0) & (first + count <= len(self.record.volts))
        index = first[held, None] + np.arange(count)
        volts = self.sync.sign * self.record.volts[index]
        at_s: Samples = np.multiply(first[held], interval_s, dtype=np.float64)
        return Cut(volts, at_s, at_s - self.starts_s[held], interval_s, np.flatnonzero(held))

    def select(self, which: NDArray[np.bool_] | Index) -> LineGrid:
        """Return the grid of some of its lines."""
        numbers = None if self.numbers is None else self.numbers[which]
        return replace(
            self, starts_s=self.starts_s[which], order=self.order[which], numbers=numbers
        )

    def choose(self, line: int, field: int | None) -> LineGrid:
        """Return the grid of one line of every frame, or of a line of one field counted from it.

        Raises NoSuchLine.
        """
        if self.numbers is None:
            raise NoSuchLine(
                f"line {line} cannot be told: the record holds no field sync; capture a whole field"
            )
        first_field, second_field = _BROAD_LINE[self.lines or 625]
        lines_a_field = second_field - first_field
        # In the second field lines are counted from its start, or on from the first.
        number = line + lines_a_field if field == 2 and line <= lines_a_field else line
        is_chosen = self.numbers == number
        if not is_chosen.any():
            held = f"{self.numbers.min()} to {self.numbers.max()}"
            raise NoSuchLine(f"line {number} is not in the record, which holds lines {held}")
        return self.select(is_chosen)


@dataclass(frozen=True, eq=False)
class Cut:
    """The same part of several lines; every line's samples have the same spacing from the first."""

    volts: Samples
    """Shape (lines, samples)."""
    at_s: Samples
    """Time of the first sample of each line in the record, shape (lines,)."""
    after_s: Samples
    """Time of the first sample of each line after its 0H, shape (lines,)."""
    interval_s: float
    which: Index
    """Places of these lines in the grid."""

    @property
    def along_s(self) -> Samples:
        """Time of each sample after the first of its line, shape (samples,)."""
        return np.arange(self.volts.shape[1], dtype=np.float64) * self.interval_s


def lay_grid(record: Record, sync: Sync) -> LineGrid:
    """Return the grid of all lines that have line sync, and of the parts of one at either end."""
    lines = tell_lines(sync)
    late_s = sync.late_s
    even = len(late_s) > 2 and float(np.std(late_s)) < _LOCKED_S
    starts_s = sync.starts_s - late_s if even else sync.starts_s
    starts_s, order = _add_parts(record, sync, starts_s)
    numbers = _number(sync, starts_s, lines) if sync.broad_s.size and lines else None
    return LineGrid(record, sync, starts_s, order, numbers, lines)


def _add_parts(record: Record, sync: Sync, starts_s: Samples) -> tuple[Samples, Index]:
    """Return starts and order with the line that the record begins in, and the one it ends in.

    A field sync beside them says that these are no lines of a picture.
    """
    line_s, order = sync.line_s, sync.numbers
    first_s, last_s = float(starts_s[0]), float(starts_s[-1])
    between = np.concatenate([sync.narrow_s, sync.broad_s])
    if first_s < line_s and not np.any(between < first_s):
        starts_s, order = np.append(first_s - line_s, starts_s), np.append(order[0] - 1, order)
    if record.span_s - last_s < 2 * line_s and not np.any(between > last_s):
        starts_s, order = np.append(starts_s, last_s + line_s), np.append(order, order[-1] + 1)
    return starts_s, order.astype(np.intp)


def tell_lines(sync: Sync) -> int:
    """Return 625 or 525 by the duration of a line; 0 where it fits neither or is not known."""
    if not math.isfinite(sync.line_uncertainty_s):
        return 0
    middle_s, apart_s = (_LINE_625_S + _LINE_525_S) / 2, _LINE_625_S - _LINE_525_S
    off_s = sync.line_s - middle_s
    if abs(off_s) > 1.5 * apart_s or 3 * sync.line_uncertainty_s > apart_s / 2:
        return 0
    return 625 if off_s > 0 else 525


def _number(sync: Sync, starts_s: Samples, lines: int) -> Index:
    """Return the number of each line in the frame, from the field sync next before or after it."""
    line_s = sync.line_s
    last_broad = np.searchsorted(sync.broad_s, starts_s + line_s / 4, "right") - 1
    field = np.clip(last_broad, 0, None)  # index of a field sync, shape (lines,)
    # The broad pulses of the second field begin in the middle of a line (interlace).
    nearest_line = np.argmin(np.abs(starts_s[:, None] - sync.broad_s[None, :]), axis=0)
    phases = (sync.broad_s - starts_s[nearest_line]) / line_s % 1.0
    is_second = (phases > 0.25) & (phases < 0.75)
    first_number = np.array(_BROAD_LINE[lines])[is_second.astype(int)]
    lines_on = (starts_s - sync.broad_s[field]) / line_s + 0.5 * is_second[field]
    offset = np.round(lines_on).astype(np.intp)
    return np.asarray((first_number[field] + offset - 1) % lines + 1)


def leave_out_blanking(grid: LineGrid) -> LineGrid:
    """Return the lines of the picture; all lines where no other than blank ones were captured."""
    total = len(grid)
    is_picture = _is_in_picture(grid)
    if is_picture is None:
        is_picture = ~_is_blank(grid)
        # A picture may well be black: only lines beside others, not more than a blanking holds.
        if np.count_nonzero(~is_picture) > _MOST_BLANK:
            is_picture = np.ones(total, dtype=bool)
        # A field begins or ends with half a line; more of them are part of the picture.
        is_half = _is_half(grid)
        if np.count_nonzero(is_half) <= 1 + total // _LINES_A_FIELD:
            is_picture &= ~is_half
    if not is_picture.any():
        return replace(grid.select(np.ones(total, dtype=bool)), left_out=0)
    left_out = int(total - np.count_nonzero(is_picture))
    return _thin_out(replace(grid.select(is_picture), left_out=left_out))


def _is_in_picture(grid: LineGrid) -> NDArray[np.bool_] | None:
    """Return whether the number of each line is one of a picture; None without numbers."""
    if grid.numbers is None:
        return None
    (low, high), (second_low, second_high) = _PICTURE[grid.lines]
    first = (grid.numbers >= low) & (grid.numbers <= high)
    return np.asarray(first | ((grid.numbers >= second_low) & (grid.numbers <= second_high)))


def _is_blank(grid: LineGrid) -> NDArray[np.bool_]:
    """Return whether each line stays at blanking level where the picture would be.

    Of a line that is not whole in the record a half is enough; of less, its neighbour tells.
    """
    is_blank = np.zeros(len(grid), dtype=bool)
    is_known = np.zeros(len(grid), dtype=bool)
    for span_s in _PICTURE_SPANS_S:
        cut = grid.cut(*span_s)
        if cut.volts.shape[1] < _PARTS:
            continue
        is_new = ~is_known[cut.which]
        is_blank[cut.which[is_new]] = _stays_blank(grid, cut)[is_new]
        is_known[cut.which] = True
    if not is_known.any():
        return is_blank
    # Only lines at the ends of the record are cut short, so the last known one is the nearest.
    known_lines = np.flatnonzero(is_known)
    last_known = np.searchsorted(known_lines, np.arange(len(grid)), side="right") - 1
    return is_blank[known_lines[np.maximum(last_known, 0)]]


def _is_half(grid: LineGrid) -> NDArray[np.bool_]:
    """Return whether only one half of a line carries a picture: the first or last of a field."""
    blank = np.zeros((len(_HALF_SPANS_S), len(grid)), dtype=bool)
    known = np.zeros_like(blank)
    for half, is_known, span_s in zip(blank, known, _HALF_SPANS_S, strict=True):
        cut = grid.cut(*span_s)
        if cut.volts.shape[1] >= _PARTS:
            half[cut.which] = _stays_blank(grid, cut)
            is_known[cut.which] = True
    return np.asarray(known.all(axis=0) & (blank[0] != blank[1]))


def _stays_blank(grid: LineGrid, cut: Cut) -> NDArray[np.bool_]:
    """Return, for each line of a cut, whether all its parts are at blanking level."""
    parts = np.array_split(cut.volts, _PARTS, axis=1)
    means = np.array([part.mean(axis=1) for part in parts]) - grid.sync.blankings_v.mean()
    height_v = float(np.median(grid.sync.heights_v))
    return np.asarray(np.abs(means).max(axis=0) < _SAME_PICTURE * 2 * height_v)


def _thin_out(grid: LineGrid) -> LineGrid:
    """Return runs of neighbouring lines, evenly spread, of a long record."""
    if len(grid) <= _MOST_LINES:
        return grid
    run_starts = np.linspace(0, len(grid) - _RUN, _MOST_LINES // _RUN).astype(np.intp)
    return grid.select(np.unique((run_starts[:, None] + np.arange(_RUN)).ravel()))


def is_only_blank(grid: LineGrid) -> bool:
    """Return whether no line of the grid carries a picture and it may be a field blanking."""
    in_picture = _is_in_picture(grid)
    if in_picture is not None and not in_picture.any():
        return True
    return len(grid) <= _MOST_BLANK and bool(_is_blank(grid).all())


def cut_picture(grid: LineGrid) -> tuple[float, Samples] | None:
    """Return start in seconds and samples of a few neighbouring lines; None where none is whole."""
    interval_s, volts = grid.record.interval_s, grid.record.volts
    first_samples = np.ceil(grid.starts_s / interval_s).astype(np.intp)
    samples_a_line = int(grid.line_s / interval_s)
    is_whole = (first_samples >= 0) & (first_samples + samples_a_line <= len(volts))
    if not is_whole.any():
        return None
    whole_lines = np.flatnonzero(is_whole)
    breaks = np.flatnonzero(np.diff(grid.order[whole_lines]) != 1) + 1
    longest_run = max(np.split(whole_lines, breaks), key=len)[:_LONGEST_SHAPE]
    begin = first_samples[longest_run[0]]
    end = begin + int(len(longest_run) * grid.line_s / interval_s)
    return float(begin) * interval_s, volts[begin:end]
