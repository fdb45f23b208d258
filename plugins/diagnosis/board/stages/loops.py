"""Phase detectors: whether they have anything to compare."""

from __future__ import annotations

import re
from typing import Final

import numpy as np

from ..cloud import Seen
from ..signals import Signal, make_good_signal
from .amplifiers import Amplifier

_LEAST_REFERENCE: Final = 0.12  # of the good signal: below it nothing is compared
_LEAST_FLYBACK: Final = 0.25  # of the good pulse, for the second loop
_ALIVE: Final = 0.4
_ENDS: Final = (1.3, 0.4)  # of the good filter voltage, where the second loop loses its hold


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
        # One input is the oscillator itself; a loop needs the other, the reference.
        oscillators = {end for end in inputs if re.search(r"osc|vco|divider|switch$", end)}
        references = {e: s for e, s in inputs.items() if e not in oscillators} or inputs
        reference_level = (
            np.min([s.level for s in references.values()], axis=0) if references else 1.0
        )
        first = next(iter(references.values()), make_good_signal(self.count))
        is_seen = np.where(reference_level > _LEAST_REFERENCE, 1.0, 0.0)
        level = is_seen * np.where(alive > _ALIVE, 1.0, 0.0)
        words = first.words & Seen.UNSTABLE
        self.settled.out[self.block.id] = Signal(level, level.copy(), first.detune, words)

    def _shift_picture(self, alive: np.ndarray) -> None:
        """Shift the picture sideways where the flyback pulse is gone or the filter is off.

        The second loop sets where the line begins on the screen; the set stays in step without it.
        """
        inputs = list(self.list_inputs().values())
        level = np.min([s.level for s in inputs], axis=0) if inputs else np.ones(self.count)
        # Without the flyback pulse it knows no longer where the line is on the screen.
        is_held = (level > _LEAST_FLYBACK) & (alive > _ALIVE)
        clock = inputs[0] if inputs else make_good_signal(self.count)
        self.settled.out[self.block.id] = Signal(
            np.ones(self.count), np.ones(self.count), clock.detune, clock.words
        )
        end_share = np.where(self.draw_event("which end", 0.5), *_ENDS)
        for pin in self.own:
            good_v = self.settled.read_good_volts(pin)
            self.settled.steer(pin, good_v * np.where(is_held, 1.0, end_share))
            offset = np.abs(self.settled.compute_share(pin) - 1)
            self.weaken_feature("line shape", np.clip(1.2 - offset * 2, 0, 1))
