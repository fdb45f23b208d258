"""Phase detectors: whether they have anything to compare."""

from __future__ import annotations

import re

import numpy as np

from ..cloud import Seen
from ..signals import Signal, make_good_signal
from .amplifiers import Amplifier


class PhaseDetector(Amplifier):
    """Compares an oscillator with its reference; puts out the reference as the loop sees it."""

    kind = "phase detector"

    def set_up(self) -> None:
        """Find a filter of its own, and the stage that follows it."""
        self.own = [
            p for p in self.list_pins("filter") if p in (*self.block.outputs, *self.block.needs)
        ]
        self.is_second = bool(re.search(r"second", self.block.name, re.IGNORECASE))

    def advance(self) -> None:
        """Put out the reference where the detector lives."""
        alive = self.health * self.compute_power() * self.compute_bias()
        if self.is_second:
            self._shift_picture(alive)
            return
        inputs = self.list_inputs()
        compared = {e: s for e, s in inputs.items() if re.search(r"osc|vco|divider|switch$", e)}
        references = {e: s for e, s in inputs.items() if e not in compared} or inputs
        level = np.min([s.level for s in references.values()], axis=0) if references else 1.0
        first = next(iter(references.values()), make_good_signal(self.count))
        words = first.words & Seen.UNSTABLE
        seen = np.where(level > 0.12, 1.0, 0.0) * np.where(alive > 0.4, 1.0, 0.0)
        self.settled.out[self.block.id] = Signal(seen, seen.copy(), first.detune, words)

    def _shift_picture(self, alive: np.ndarray) -> None:
        """Shift the picture sideways where the flyback pulse is gone or the filter is off."""
        inputs = list(self.list_inputs().values())
        level = np.min([s.level for s in inputs], axis=0) if inputs else np.ones(self.count)
        present = (level > 0.25) & (alive > 0.4)
        clock = inputs[0] if inputs else make_good_signal(self.count)
        self.settled.out[self.block.id] = Signal(
            np.ones(self.count), np.ones(self.count), clock.detune, clock.words
        )
        for pin in self.own:
            good = self.settled.read_good_volts(pin)
            end = np.where(self.draw_event("which end", 0.5), 1.3, 0.4)
            self.settled.steer(pin, good * np.where(present, 1.0, end))
            off = np.abs(self.settled.compute_share(pin) - 1)
            self.weaken_feature("line shape", np.clip(1.2 - off * 2, 0, 1))
