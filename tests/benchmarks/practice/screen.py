"""Readings of oscilloscope and counter, collected point by point."""

from __future__ import annotations

import random
from collections.abc import Mapping

from boards.bench import Shown
from boards.board import Board

from .stated import stated_signals

_VISIBLE = 0.02  # of the signal of a good set: less is nothing on a screen
_GAIN_SPREAD = 0.04  # of a good stage: common practice
_COUNTABLE_V = 0.02  # a counter needs some signal


class Screen:
    """Signals of one board; points that are not mentioned show none."""

    def __init__(self, part: str, seed: int, true_v: Mapping[str, float] | None = None) -> None:
        """``true_v``: volts peak to peak of a good set where the sheet states a round figure."""
        self._stated, self._chance = stated_signals(part), random.Random(seed + 31)
        self._true_v = true_v or {}
        self._signals: dict[tuple[str, str], float] = {}
        self._words: dict[str, list[str]] = {}

    def show(
        self, point: str, share: float, *words: str, frequency_hz: float | None = None
    ) -> None:
        """Show this share of the signal that the chip file states at a point."""
        stated = self._stated[point]
        hertz = stated.frequency_hz if frequency_hz is None else frequency_hz
        gain = 1 + self._chance.gauss(0, _GAIN_SPREAD)
        volts = gain * share * self._true_v.get(point, stated.peak_to_peak_v)
        self.show_volts(point, volts, *words, frequency_hz=hertz)
        if share < _VISIBLE:
            self._words[point] = ["missing"]

    def show_volts(
        self, point: str, peak_to_peak_v: float, *words: str, frequency_hz: float = 0.0
    ) -> None:
        """Show a signal of so many volts."""
        self._signals[point, "vpp"] = peak_to_peak_v
        self._signals[point, "frequency"] = frequency_hz if peak_to_peak_v > _COUNTABLE_V else 0.0
        self._words[point] = list(words)

    def show_ripple(self, point: str, peak_to_peak_v: float) -> None:
        """Show ripple on a supply or a steady voltage."""
        self._signals[point, "ripple"] = self._signals[point, "vpp"] = peak_to_peak_v

    def stated_v(self, point: str) -> float:
        """Return the volts peak to peak of a good set at a point."""
        return self._true_v.get(point, self._stated[point].peak_to_peak_v)

    def finish(
        self, board: Board, symptoms: list[tuple[str, ...]], meter_v: dict[str, float]
    ) -> Shown:
        """Return all of it with the board behind it."""
        words = {point: tuple(said) for point, said in self._words.items() if said}
        return Shown(board, self._signals, words, symptoms, meter_v)
