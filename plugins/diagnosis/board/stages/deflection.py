"""Ramps and pumps, for the field and for the east-west correction."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..cloud import Seen
from ..signals import Signal
from .amplifiers import Amplifier

Array = NDArray[Any]

_NOT_CHARGED: Final = 0.06  # of the good charging current: what leaks away inside takes as much


class RampGenerator(Amplifier):
    """Charges a capacitor with a current for a field: its height goes with I / (C f)."""

    kind = "ramp generator"

    def set_up(self) -> None:
        """Find the capacitor's pin and the pin that sets the current."""
        outputs = [e for e in self.block.outputs if e in self.topology.pin_at]
        held = self.list_pins("filter", "oscillator")
        self.ramp = next((p for p in held), outputs[0] if outputs else None)
        setters = self.list_pins("reference", "control", among=self.block.needs)
        self.setters = [pin for pin in setters if self._sets_height(pin)]

    def _sets_height(self, pin: str) -> bool:
        function = self.topology.pin_at[pin].function.casefold()
        return "height" in function or "charg" in function or "amplitude" in function

    def _is_charged_by_parts(self, pin: str) -> bool:
        """Return whether a drawn resistor brings the capacitor its current."""
        parts = self.topology.parts_at.get(pin, ())
        charged = any(part.kind in ("resistor", "potentiometer") for part in parts)
        return charged and self.settled.has_source(pin)

    def list_main_inputs(self) -> dict[str, Signal]:
        """Return the timing; not the pin of the ramp itself."""
        return {end: s for end, s in super().list_main_inputs().items() if end != self.ramp}

    def advance(self) -> None:
        """Put out the ramp."""
        timing = self.find_main_input()
        size = np.ones(self.count)
        if self.ramp is not None:
            hz = self._find_hz()
            lifted = self.boards.is_lifted[:, self.topology.index[self.ramp]]
            share = self.settled.paths.compute_impedance_share(self.ramp, hz)
            size = size * np.where(lifted, 0.05, np.clip(share, 0, 4))
        for pin in self.setters:
            if self.settled.has_source(pin):
                lifted = self.boards.is_lifted[:, self.topology.index[pin]]
                current = np.where(lifted, 0.0, self.settled.compute_current_share(pin))
                size = size * np.clip(current, 0, 4)
        if not self.setters and self.ramp is not None and self._is_charged_by_parts(self.ramp):
            size = size * np.clip(self.settled.compute_current_share(self.ramp), 0, 4)
        # At a higher rate there is less time to charge.
        size = size / np.clip(1 + timing.detune, 0.1, 10)
        level = np.where(timing.level > 0.15, size, 0.0) * self.compute_vitality()
        most = self.draw_figure("most", 1.5, 2.2)
        clipped = level > most
        signal = replace(timing, level=np.minimum(level, most), colour=np.minimum(level, most))
        self.put_out(signal.add_seen(Seen.DISTORTED, clipped))
        self._move_mean(size, timing)

    def _move_mean(self, size: Array, timing: Signal) -> None:
        """Set the mean of the ramp: it grows with its height, from where it starts.

        Not charged it stays at its start; without timing it is not discharged, or never begun.
        """
        expectation = self.topology.expectations.get(self.ramp or "")
        waveform = expectation.waveform if expectation is not None else None
        if self.ramp is None or waveform is None or not self.settled.has_source(self.ramp):
            return
        low, high, mean = waveform.extremes_v
        good = self.settled.read_good_volts(self.ramp)
        start = good - (mean - low)
        level = start + (mean - low) * np.clip(size, 0, 2.2)
        level = np.where(size < _NOT_CHARGED, self.draw_figure("at rest", 0.0, 0.5) * start, level)
        supply = self.topology.supply_of.get(self.ramp)
        top = self.settled.read_volts(supply) if supply is not None else good + high - mean
        up = self.draw_figure("stays up at", 0.5, 0.98) * top
        stays = np.where(self.draw_event("stays up", 0.5), up, 0.05)
        works = (timing.level > 0.15) & (self.compute_vitality() > 0.3)
        self.settled.steer(self.ramp, np.where(works, level, stays))

    def _find_hz(self) -> float:
        for pin in (self.ramp, *self.block.outputs):
            expectation = self.topology.expectations.get(pin or "")
            if expectation is not None and expectation.waveform is not None:
                return expectation.waveform.frequency_hz or 50.0
        return 50.0

    def find_inside_signal(self, signal: Signal) -> Signal:
        """Return the output: its capacitor shows the same."""
        return signal


class Pump(Amplifier):
    """Lifts the foot of a capacitor, and with it the output's supply, during flyback."""

    kind = "pump"

    def advance(self) -> None:
        """Put out pulses, as far as the stage lives."""
        self.put_out(self.find_main_input().amplify(np.round(self.compute_vitality())))
