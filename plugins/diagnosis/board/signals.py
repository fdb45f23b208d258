"""Signals as stages and parts hand them on, beside the good board's."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .cloud import Seen

Array = NDArray[Any]


@dataclass(frozen=True, eq=False)
class Signal:
    """A signal on all boards, beside the good board's; each figure has the shape (boards,)."""

    level: Array
    """Amplitude as a share of the good one."""
    colour: Array
    """The same for the colour in it; for a signal without any, as ``level``."""
    detune: Array
    """Frequency over the good one, less 1."""
    words: Array
    """Flags of ``Seen``."""
    noise: Array | float = 0.0
    """Noise that full gain brings up without a signal, as a share of the catalogue's."""

    def amplify(self, share: Array | float) -> Signal:
        """Return the signal amplified by a share."""
        return replace(
            self, level=self.level * share, colour=self.colour * share, noise=self.noise * share
        )

    def limit(self, reach: Array | float) -> Signal:
        """Return it behind a limiter whose range is ``reach`` times the good signal."""
        return replace(
            self,
            level=np.minimum(1.0, self.level * reach),
            colour=np.minimum(1.0, self.colour * reach),
        )

    def add_seen(self, word: Seen, where: Array) -> Signal:
        """Return the signal with a word added on some boards."""
        return replace(self, words=self.words | np.where(where, int(word), 0).astype(np.uint8))

    def choose_where(self, condition: Array, other: Signal) -> Signal:
        """Return this signal where the condition holds, else the other."""
        return Signal(
            np.where(condition, self.level, other.level),
            np.where(condition, self.colour, other.colour),
            np.where(condition, self.detune, other.detune),
            np.where(condition, self.words, other.words),
            np.where(condition, self.noise, other.noise),
        )


def make_good_signal(boards: int) -> Signal:
    """Return a signal that is as it should be on all boards."""
    return Signal(
        np.ones(boards), np.ones(boards), np.zeros(boards), np.zeros(boards, dtype=np.uint8)
    )


def make_no_signal(boards: int) -> Signal:
    """Return no signal on any board."""
    return make_good_signal(boards).amplify(0.0)


def find_weakest(signals: list[Signal], boards: int) -> Signal:
    """Return a signal as weak as the weakest, off frequency as the farthest off, all words."""
    if not signals:
        return make_good_signal(boards)
    levels = np.stack([s.level for s in signals])
    colours = np.stack([s.colour for s in signals])
    detunes = np.stack([s.detune for s in signals])
    farthest = np.abs(detunes).argmax(axis=0)
    words = np.bitwise_or.reduce(np.stack([s.words for s in signals]), axis=0)
    return Signal(
        levels.min(axis=0),
        colours.min(axis=0),
        np.take_along_axis(detunes, farthest[None], 0)[0],
        words,
        np.max([np.broadcast_to(s.noise, levels.shape[1:]) for s in signals], axis=0),
    )
