"""Ramps and pumps: what the field, and the east-west correction, are made of."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..cloud import Seen
from ..signals import Signal
from .amplifiers import Amplifier

Array = NDArray[Any]


class RampGenerator(Amplifier):
    """Charges a capacitor with a current for a field: its height goes with I / (C f)."""

    kind = "ramp generator"

    def setup(self) -> None:
        """Find the capacitor's pin and the pin that sets the current."""
        outputs = [e for e in self.block.outputs if e in self.topology.pin_at]
        held = self.pins_with("filter", "oscillator")
        self.ramp = next((p for p in held), outputs[0] if outputs else None)
        setters = self.pins_with("reference", "control", among=self.block.needs)
        self.setters = [pin for pin in setters if self._sets_height(pin)]

    def _sets_height(self, pin: str) -> bool:
        function = self.topology.pin_at[pin].function.casefold()
        return "height" in function or "charg" in function or "amplitude" in function

    def main_inputs(self) -> dict[str, Signal]:
        """Return the timing; not the pin of the ramp itself."""
        return {end: s for end, s in super().main_inputs().items() if end != self.ramp}

    def advance(self) -> None:
        """Put out the ramp."""
        timing = self.main()
        size = np.ones(self.count)
        if self.ramp is not None:
            hz = self._hz()
            lifted = self.boards.is_lifted[:, self.topology.index[self.ramp]]
            share = self.settled.paths.impedance_share(self.ramp, hz)
            size = size * np.where(lifted, 0.05, np.clip(share, 0, 4))
        for pin in self.setters:
            if self.settled.has_source(pin):
                lifted = self.boards.is_lifted[:, self.topology.index[pin]]
                current = np.where(lifted, 0.0, self.settled.current_share(pin))
                size = size * np.clip(current, 0, 4)
        # At a higher rate there is less time to charge.
        size = size / np.clip(1 + timing.detune, 0.1, 10)
        level = np.where(timing.level > 0.15, size, 0.0) * self.vitality()
        most = self.drawn("most", 1.5, 2.2)
        clipped = level > most
        signal = replace(timing, level=np.minimum(level, most), colour=np.minimum(level, most))
        self.put_out(signal.seen(Seen.DISTORTED, clipped))

    def _hz(self) -> float:
        for pin in (self.ramp, *self.block.outputs):
            expectation = self.topology.expectations.get(pin or "")
            if expectation is not None and expectation.waveform is not None:
                return expectation.waveform.frequency_hz or 50.0
        return 50.0

    def inside(self, signal: Signal) -> Signal:
        """Return what its capacitor shows: what it puts out."""
        return signal


class Pump(Amplifier):
    """Lifts the foot of a capacitor, and with it the output's supply, during flyback."""

    kind = "pump"

    def advance(self) -> None:
        """Put out pulses, and say what they are worth behind the pump capacitor."""
        self.put_out(self.main().times(np.round(self.vitality())))
