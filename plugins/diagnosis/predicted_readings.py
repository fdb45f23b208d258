"""What a board would read with a fault: the figures it moves, the farthest first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ...schema import Chip, print_value
from ..cards.usual_faults import in_words
from .board.cloud import Seen
from .known_board import KnownBoard

Numbers = NDArray[np.float64]

_UNITS: Final = {"dc": "V", "vpp": "Vpp", "frequency": "Hz"}
_LEAST_SIGMA: Final = 2.0  # spreads of good boards: what is worth saying
_LEAST_DC_V: Final = 0.1
_LEAST_SHARE: Final = 0.1
_LEAST_SHIFT: Final = 1e-4
_WORDED: Final = 0.5  # of the boards: a word that is then said
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
    """What an oscilloscope shows besides."""

    @property
    def unit(self) -> str:
        """Its unit."""
        return _UNITS[self.quantity]

    @property
    def now_words(self) -> str:
        """What would be read."""
        figures = 6 if self.unit == "Hz" else 3
        if self.now is None:
            return "nothing to count"
        told = print_value(self.now, self.unit, figures)
        if self.low is not None and self.high is not None and self.high > self.low:
            ends = (print_value(end, self.unit, figures) for end in (self.low, self.high))
            told = f"{told} ({' to '.join(ends)})"
        return ", ".join([told, *self.seen])

    def words(self, chip: Chip) -> str:
        """Return it as a technician says it: ``pin 9 VCC 1.9 V, not 8 V``."""
        figures = 6 if self.unit == "Hz" else 3
        right = print_value(self.right, self.unit, figures)
        now = "nothing" if self.now is None else print_value(self.now, self.unit, figures)
        words = f" {' and '.join(self.seen)}" if self.seen else ""
        return f"{in_words(chip, self.at)} {now}{words}, not {right}"

    def document(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "at": self.at,
            "quantity": self.quantity,
            "unit": self.unit,
            "should_read": self.right,
            "would_read": self.now,
            "between": None if self.low is None else [self.low, self.high],
            "seen": list(self.seen),
        }


def changes_of(board: KnownBoard, row: int, weights: Numbers | None = None) -> list[Change]:
    """Return what a hypothesis moves far enough to be worth saying, the farthest first.

    ``weights`` (hypotheses, draws): which of its boards are still likely; all alike when None.
    """
    draws = board.cloud.draws
    shares = np.full(draws, 1 / draws)
    if weights is not None and weights[row].sum() > 0:
        shares = weights[row] / weights[row].sum()
    found = list(_every(board, row, shares))
    return sorted(found, key=lambda change: -change.size)


def _every(board: KnownBoard, row: int, shares: Numbers) -> Iterator[Change]:
    cloud, spreads = board.cloud, board.spreads
    for column, at in enumerate(cloud.points):
        seen = tuple(
            word
            for flag, word in _WORDS.items()
            if float((shares * ((cloud.words[row, :, column] & flag) > 0)).sum()) > _WORDED
        )
        dc = _dc(cloud.dc_v[[0, row], :, column], shares, float(spreads.dc_v[column]))
        if dc is not None:
            yield Change(at, "dc", *dc)
        vpp = _ratio(
            cloud.vpp_v[[0, row], :, column],
            shares,
            float(spreads.vpp[column]),
            float(spreads.floor_v[column]),
        )
        if vpp is not None:
            yield Change(at, "vpp", *vpp, seen)
        elif seen and float(cloud.healthy_vpp_v[column]) > spreads.floor_v[column]:
            right = float(cloud.healthy_vpp_v[column])
            yield Change(at, "vpp", right, right, None, None, _LEAST_SIGMA, seen)
        hertz = _shift(
            cloud.frequency_hz[[0, row], :, column], shares, float(spreads.frequency[column])
        )
        if hertz is not None:
            yield Change(at, "frequency", *hertz)


def _dc(
    volts: Any, shares: Numbers, sigma: float
) -> tuple[float, float, float | None, float | None, float] | None:
    right, now, low, high = _figures(volts, shares)
    if right is None or now is None:
        return None
    move = abs(now - right)
    if move < max(_LEAST_SIGMA * sigma, _LEAST_DC_V):
        return None
    return right, now, low, high, move / max(abs(right), 0.5)


def _ratio(
    vpp: Any, shares: Numbers, sigma: float, floor: float
) -> tuple[float, float, float | None, float | None, float] | None:
    right, now, low, high = _figures(vpp, shares)
    if right is None or now is None or max(right, now) < floor:
        return None
    if now < floor:
        return right, 0.0, None, None, _GONE_SIZE
    move = abs(float(np.log(now / max(right, floor))))
    if move < max(_LEAST_SIGMA * sigma, _LEAST_SHARE):
        return None
    return right, now, low, high, move


def _shift(
    hertz: Any, shares: Numbers, sigma: float
) -> tuple[float, float | None, float | None, float | None, float] | None:
    right, now, low, high = _figures(hertz, shares)
    if right is None or right <= 0:
        return None
    if now is None or now <= 0:
        return right, None, None, None, _GONE_SIZE / 2
    move = abs(float(np.log(now / right)))
    if move < max(_LEAST_SIGMA * sigma, _LEAST_SHIFT):
        return None
    return right, now, low, high, max(move, min(move / (10 * sigma), 1.0))


def _figures(
    pair: Any, shares: Numbers
) -> tuple[float | None, float | None, float | None, float | None]:
    """Return the right value, the middle one with the fault, and where most lie; None where it
    is not known, or most have none."""
    good, bad = pair.astype(float)
    known = np.isfinite(bad)
    right = float(np.nanmedian(good)) if np.isfinite(good).any() else None
    if float(shares[known].sum()) < _WORDED:
        return right, None, None, None
    values, weights = bad[known], shares[known] / shares[known].sum()
    order = np.argsort(values)
    share = np.cumsum(weights[order])
    last = len(order) - 1
    low, now, high = (
        float(values[order[min(int(np.searchsorted(share, edge)), last)]])
        for edge in (0.1, 0.5, 0.9)
    )
    return right, now, low, high
