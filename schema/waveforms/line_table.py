"""A level and a carrier along whole lines, drawn segment by segment where samples are even.

The signal is level + sine sin(wt) + cosine cos(wt), each of the three straight between corners
that come again with a period; w t is counted from t = 0 and need not repeat with it. At evenly
spaced times each segment of the period covers a run of samples, and the carrier is the product of
few rotations, exp(jw(a + b)) = exp(jwa) exp(jwb), so that hardly a sine is computed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, Final, NamedTuple, TypeAlias

from .base import Samples

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Vectors: TypeAlias = NDArray[np.complexfloating[Any, Any]]

_BLOCK: Final = 1 << 15  # samples that stay in the cache from step to step
_RUN: Final = 1 << 8  # samples over which a carrier is turned on by one rotation
_FEWEST: Final = 1 << 10  # samples, for segments to be worth their while
_EVEN: Final = 1e-6  # of the interval, by which evenly spaced times may be off
_SAME_CORNER: Final = 1e-9  # of the period: corners that differ by rounding alone

Parts = Callable[[Samples], tuple[Samples, Samples, Samples]]
"""Function that returns level, sine and cosine at times within the period."""


class LineTable:
    """Level and carrier of a period, from a function that is straight between corners."""

    def __init__(
        self, period_s: float, corners_s: Iterable[float], carrier_hz: float, parts: Parts
    ) -> None:
        """``corners_s`` are the times of all corners; they are taken modulo the period."""
        import numpy as np

        self._period_s, self._carrier_hz, self._parts = period_s, carrier_hz, parts
        corners = np.mod(np.fromiter(corners_s, dtype=np.float64) / period_s, 1.0)
        corners = np.unique(np.round(corners / _SAME_CORNER) * _SAME_CORNER)
        starts = np.concatenate([[0.0], corners[(corners > 0) & (corners < 1)]])
        lengths = np.diff(starts, append=1.0)
        # Two places within a segment, a quarter and three quarters along it, tell its straight
        # line, whatever happens at its ends. All are of shape (3, segments): level, U, V.
        near = np.array(parts((starts + 0.25 * lengths) * period_s))
        far = np.array(parts((starts + 0.75 * lengths) * period_s))
        slopes = (far - near) / (lengths / 2 * period_s)
        levels = near - slopes * (lengths / 4 * period_s)
        self._starts_s = starts * period_s
        self._levels, self._level_slopes = levels[0], slopes[0]
        # U sin + V cos is the real part of (V - jU) exp(jwt).
        # Single precision, 1e-7 of the amplitude, is half the work.
        self._colours = (levels[2] - 1j * levels[1]).astype(np.complex64)
        self._colour_slopes = slopes[2] - 1j * slopes[1]
        steepest = float(np.abs(slopes).max())
        self._is_sloping = np.abs(slopes).max(axis=0) > _SAME_CORNER * steepest

    def __call__(self, t_s: Samples) -> Samples:
        """Return volts at the times ``t_s``, same shape."""
        import numpy as np

        times_s = np.asarray(t_s, dtype=np.float64)
        interval_s = _find_interval_s(times_s)
        if interval_s is None:
            return self._compute(times_s)
        return self._draw(float(times_s[0]), interval_s, len(times_s))

    def _compute(self, t_s: Samples) -> Samples:
        """Return volts at any times."""
        import numpy as np

        level, sine, cosine = self._parts(np.mod(t_s, self._period_s))
        angle = 2 * np.pi * self._carrier_hz * t_s
        return np.asarray(level + sine * np.sin(angle) + cosine * np.cos(angle))

    def _draw(self, first_s: float, interval_s: float, count: int) -> Samples:
        """Return volts at evenly spaced times: the levels, then the carrier block by block."""
        import numpy as np

        runs = self._lay_runs(first_s, interval_s, count)
        slopes = runs.list_slopes(self._is_sloping, interval_s)
        volts = np.repeat(self._levels[runs.segments], runs.lengths)
        volts[slopes.places] += self._level_slopes[slopes.segments] * slopes.after_s
        bends = (self._colour_slopes[slopes.segments] * slopes.after_s).astype(np.complex64)
        turn_hz = 2j * np.pi * self._carrier_hz
        carrier = _turn_carrier(turn_hz * interval_s, min(count, _BLOCK))
        for first in range(0, count, _BLOCK):
            end = min(first + _BLOCK, count)
            # The turn of the carrier up to the block is taken into the few colours.
            turn = np.complex64(np.exp(turn_hz * (first_s + interval_s * first)))
            colour = runs.repeat(self._colours * turn, first, end)
            inside = slice(*np.searchsorted(slopes.places, (first, end)))
            colour[slopes.places[inside] - first] += bends[inside] * turn
            colour *= carrier[: end - first]
            volts[first:end] += colour.real
        return volts

    def _lay_runs(self, first_s: float, interval_s: float, count: int) -> _Runs:
        """Return the runs of samples that each segment covers, in order."""
        import numpy as np

        last_s = first_s + count * interval_s
        periods = np.arange(
            np.floor(first_s / self._period_s), np.floor(last_s / self._period_s) + 1
        )
        starts_s = (periods[:, None] * self._period_s + self._starts_s).ravel() - first_s
        firsts = np.ceil(starts_s / interval_s).clip(0, count).astype(np.intp)
        firsts[0] = 0
        segments = np.tile(np.arange(len(self._starts_s)), len(periods))
        return _Runs(segments, starts_s, np.append(firsts, count))


class _Runs(NamedTuple):
    """Runs of samples, each on one segment."""

    segments: NDArray[np.intp]
    starts_s: Samples
    """When each segment starts, after the first sample."""
    bounds: NDArray[np.intp]
    """First sample of each run, and the number of samples."""

    @property
    def lengths(self) -> NDArray[np.intp]:
        return self.bounds[1:] - self.bounds[:-1]

    def repeat(self, values: Vectors, first: int, end: int) -> Vectors:
        """Return the value of its segment for each of some samples."""
        import numpy as np

        start = int(np.searchsorted(self.bounds, first, "right")) - 1
        stop = int(np.searchsorted(self.bounds, end, "left"))
        lengths = np.diff(self.bounds[start : stop + 1].clip(first, end))
        return np.repeat(values[self.segments[start:stop]], lengths)

    def list_slopes(self, is_sloping: NDArray[np.bool_], interval_s: float) -> _Slopes:
        """Return the samples on segments that slope."""
        import numpy as np

        chosen = np.flatnonzero(is_sloping[self.segments])
        lengths = self.lengths[chosen]
        before = np.cumsum(lengths) - lengths
        places = np.arange(lengths.sum()) + np.repeat(self.bounds[chosen] - before, lengths)
        after_s = places * interval_s - np.repeat(self.starts_s[chosen], lengths)
        return _Slopes(places, np.repeat(self.segments[chosen], lengths), after_s)


class _Slopes(NamedTuple):
    """Samples on segments that slope: place, segment, and time after its start."""

    places: NDArray[np.intp]
    segments: NDArray[np.intp]
    after_s: Samples


def _turn_carrier(turn: complex, count: int) -> Vectors:
    """Return exp(n turn) for n from 0 on, shape (count,), as products of few rotations."""
    import numpy as np

    runs = -(-count // _RUN)
    coarse = np.exp(turn * _RUN * np.arange(runs)).astype(np.complex64)
    fine = np.exp(turn * np.arange(_RUN)).astype(np.complex64)
    return np.asarray(np.multiply.outer(coarse, fine).ravel()[:count])


def _find_interval_s(t_s: Samples) -> float | None:
    """Return the interval of many evenly spaced times; None for others."""
    import numpy as np

    count = len(t_s) if t_s.ndim == 1 else 0
    if count < _FEWEST:
        return None
    interval_s = float(t_s[-1] - t_s[0]) / (count - 1)
    slack_s = _EVEN * interval_s
    if interval_s <= 0:
        return None
    # Block by block: each fits the processor's cache, and the first uneven one ends the search.
    ramp_s = np.arange(min(count, _BLOCK)) * interval_s
    for first in range(0, count, _BLOCK):
        block_s = t_s[first : first + _BLOCK]
        starts_s = block_s - ramp_s[: len(block_s)]  # all the same if evenly spaced
        expected_s = float(t_s[0]) + first * interval_s
        if starts_s.max() - expected_s > slack_s or expected_s - starts_s.min() > slack_s:
            return None
    return interval_s
