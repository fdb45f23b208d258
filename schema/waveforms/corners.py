"""Periodic signals of straight lines between corners, which most waveforms are built of.

An edge given at a time is at half its height there; its rise time is counted from 10 to 90 %,
as on a data sheet, so a straight edge lasts 1.25 times its rise time.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, NamedTuple

import numpy as np

from .base import Samples

WHOLE_EDGE: Final = 1.25
"""Duration of a straight edge from corner to corner, per rise time from 10 to 90 %."""
_RISE_TIMES_BANDWIDTH: Final = 0.35


def edge_bandwidth_hz(rise_s: float) -> float:
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
        times, volts = np.array([*t_s], dtype=float), np.array([*v], dtype=float)
        self.low_v, self.high_v = float(volts.min()), float(volts.max())
        lasts_s = np.diff(times, append=times[0] + period_s)
        self.shortest_s = float(lasts_s[lasts_s > 0].min())
        self.mean_v = float(lasts_s @ (volts + np.roll(volts, -1)) / 2 / period_s)
        # The neighbours on both sides let any time of one period fall between two corners.
        self._t_s = np.concatenate([times - period_s, times, times + period_s])
        self._v = np.concatenate([volts, volts, volts])

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
        return np.asarray(np.interp(np.mod(t_s, self.period_s), self._t_s, self._v))

    def volt_seconds(self, t_s: Samples) -> Samples:
        """Return volts integrated from t = 0 to the times ``t_s``, as phase is of frequency."""
        periods, rest_s = np.divmod(t_s, self.period_s)
        return np.asarray(
            periods * self.mean_v * self.period_s + self._area(rest_s) - self._area(np.zeros(()))
        )

    def _area(self, t_s: Samples) -> Samples:
        """Return volt seconds since the first corner, up to times within one period."""
        steps = np.diff(self._t_s) * (self._v[:-1] + self._v[1:]) / 2
        before = np.concatenate([[0.0], np.cumsum(steps)])
        corner = np.searchsorted(self._t_s, t_s, side="right") - 1
        middle_v = (self._v[corner] + np.interp(t_s, self._t_s, self._v)) / 2
        return np.asarray(before[corner] + middle_v * (t_s - self._t_s[corner]))
