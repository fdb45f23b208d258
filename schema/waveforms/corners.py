"""Periodic signals of straight lines between corners, which most waveforms are built of.

An edge given at a time is at half its height there; its rise time is counted from 10 to 90 %,
as on a data sheet, so a straight edge lasts 1.25 times its rise time.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cached_property
from typing import Final, NamedTuple

from .base import Samples

WHOLE_EDGE: Final = 1.25
"""Duration of a straight edge from corner to corner, per rise time from 10 to 90 %."""
_RISE_TIMES_BANDWIDTH: Final = 0.35


def compute_edge_bandwidth_hz(rise_s: float) -> float:
    """Return the bandwidth that an edge needs: 0.35 over its rise time from 10 to 90 %.

    Source: the rounded product for one pole, any circuit textbook.
    """
    return _RISE_TIMES_BANDWIDTH / rise_s


class Change(NamedTuple):
    """From ``at_s`` (half height) on the signal is at ``level_v``; ``rise_s`` is 10 to 90 %."""

    at_s: float
    level_v: float
    rise_s: float = 0.0


class Corners:
    """Straight lines through (time, volts), repeating every ``period_s``.

    Times never fall and span at most one period; two corners at one time make a jump.
    """

    def __init__(self, period_s: float, t_s: Iterable[float], v: Iterable[float]) -> None:
        self.period_s = period_s
        self._times_s, self._volts = [float(t) for t in t_s], [float(level) for level in v]
        self.low_v, self.high_v = min(self._volts), max(self._volts)
        self.shortest_s = min(lasts_s for lasts_s, _, _ in self._list_edges() if lasts_s > 0)
        self.mean_v = self.compute_mean_above(self.low_v)

    @property
    def times_s(self) -> tuple[float, ...]:
        """Times of the corners of one period."""
        return tuple(self._times_s)

    def _list_edges(self) -> Iterator[tuple[float, float, float]]:
        """Yield duration in seconds and both levels of each straight line of one period."""
        ends_s = [*self._times_s[1:], self._times_s[0] + self.period_s]
        ends_v = [*self._volts[1:], self._volts[0]]
        for start_s, end_s, start_v, end_v in zip(
            self._times_s, ends_s, self._volts, ends_v, strict=True
        ):
            yield end_s - start_s, start_v, end_v

    def compute_mean_above(self, least_v: float) -> float:
        """Return the mean volts of the signal where nothing falls below ``least_v``."""
        return (
            sum(
                lasts_s * _compute_edge_mean(start_v, end_v, least_v)
                for lasts_s, start_v, end_v in self._list_edges()
            )
            / self.period_s
        )

    @cached_property
    def _t_s(self) -> Samples:
        """Times of the corners; the neighbours on both sides enclose any time of one period."""
        import numpy as np

        times_s = np.array(self._times_s)
        return np.concatenate([times_s - self.period_s, times_s, times_s + self.period_s])

    @cached_property
    def _v(self) -> Samples:
        """Volts at the corners in ``_t_s``."""
        import numpy as np

        return np.tile(self._volts, 3)

    @classmethod
    def from_steps(cls, period_s: float, changes: Iterable[Change]) -> Corners:
        """Return a signal that changes from level to level, each time by a straight edge.

        Changes come in order of time; before the first one the level of the last one holds.
        """
        steps = list(changes)
        t_s: list[float] = []
        v: list[float] = []
        for before, step in zip([steps[-1], *steps], steps, strict=False):
            half_s = step.rise_s * WHOLE_EDGE / 2
            t_s += [step.at_s - half_s, step.at_s + half_s]
            v += [before.level_v, step.level_v]
        return cls(period_s, t_s, v)

    def __call__(self, t_s: Samples) -> Samples:
        """Return volts at the times ``t_s``, same shape."""
        import numpy as np

        return np.asarray(np.interp(np.mod(t_s, self.period_s), self._t_s, self._v))

    def integrate_volts(self, t_s: Samples) -> Samples:
        """Return volts integrated from t = 0 to the times ``t_s``, as phase is of frequency."""
        import numpy as np

        periods, rest_s = np.divmod(t_s, self.period_s)
        return np.asarray(
            periods * self.mean_v * self.period_s
            + self._integrate_segment(rest_s)
            - self._integrate_segment(np.zeros(()))
        )

    def _integrate_segment(self, t_s: Samples) -> Samples:
        """Return volt seconds since the first corner, up to times within one period."""
        import numpy as np

        steps = np.diff(self._t_s) * (self._v[:-1] + self._v[1:]) / 2
        before = np.concatenate([[0.0], np.cumsum(steps)])
        corner = np.searchsorted(self._t_s, t_s, side="right") - 1
        middle_v = (self._v[corner] + np.interp(t_s, self._t_s, self._v)) / 2
        return np.asarray(before[corner] + middle_v * (t_s - self._t_s[corner]))


def _compute_edge_mean(start_v: float, end_v: float, least_v: float) -> float:
    """Return the mean volts of a straight line whose part below ``least_v`` is lifted to it."""
    low_v, high_v = sorted((start_v, end_v))
    if low_v >= least_v:
        return (low_v + high_v) / 2
    if high_v <= least_v:
        return least_v
    share_above = (high_v - least_v) / (high_v - low_v)
    return least_v + share_above * (high_v - least_v) / 2
