"""Signals as stages and parts hand them on, relative to the good board's."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .cloud import Seen

Array = NDArray[Any]

_LEAST_BARS: Final = 0.05  # of the good height: lower bars are no bars
_ODD_BARS: Final = 0.4  # between luminance and colour, as a share of the stronger


@dataclass(frozen=True, eq=False)
class Signal:
    """A signal on all boards, relative to the good board's; each figure has the shape (boards,)."""

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
    """Return one signal for several: weak as the weakest, off frequency as the farthest, all words.

    A stage with two inputs does no better than its worse one. Without any signal it is a good one.
    """
    if not signals:
        return make_good_signal(boards)
    levels = np.stack([s.level for s in signals])  # signals x boards
    colours = np.stack([s.colour for s in signals])
    detunes = np.stack([s.detune for s in signals])
    noises = [np.broadcast_to(s.noise, levels.shape[1:]) for s in signals]
    farthest = np.abs(detunes).argmax(axis=0)
    return Signal(
        levels.min(axis=0),
        colours.min(axis=0),
        np.take_along_axis(detunes, farthest[None], 0)[0],
        np.bitwise_or.reduce(np.stack([s.words for s in signals]), axis=0),
        np.max(noises, axis=0),
    )


def show_bars(
    signal: Signal, without_colour: Array, without_luminance: Array, odd: Array
) -> Signal:
    """Return colour bars on an oscilloscope, of which luminance or colour is missing.

    Without colour they are stairs ``without_colour`` times as high as the bars; without luminance
    steps up and down, ``without_luminance`` times as high. Where ``odd``, a technician notices it
    in the grey steps of the bars.
    """
    level, colour = signal.level, signal.colour
    colour_share = np.clip(colour / np.maximum(level, _LEAST_BARS), 0, 1.5)
    stairs = level * (without_colour + (1 - without_colour) * colour_share)
    height = np.where(level > _LEAST_BARS, stairs, 0)
    height = np.maximum(height, without_luminance * colour)
    stronger = np.maximum(np.maximum(level, colour), _LEAST_BARS)
    is_odd = np.abs(level - colour) > _ODD_BARS * stronger
    bars = Signal(height, colour, signal.detune, signal.words)
    return bars.add_seen(Seen.DISTORTED, is_odd & (height > 2 * _LEAST_BARS) & odd)
