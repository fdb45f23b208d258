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
_LEAST_TIMING: Final = 0.15  # of the good timing signal: with less no ramp begins
_MOST_TIMES: Final = 4.0  # the good height, before the ramp meets its supply
_LIFTED_RAMP: Final = 0.05  # of the height: what is seen of a capacitor on a lifted pin
_FIELD_HZ: Final = 50.0


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
        """Put out the ramp, as high as charging current, capacitor and period make it."""
        timing = self.find_main_input()
        height = np.ones(self.count)
        if self.ramp is not None:
            is_lifted = self.boards.is_lifted[:, self.topology.index[self.ramp]]
            impedance = self.settled.paths.compute_impedance_share(self.ramp, self._find_hz())
            height = height * np.where(is_lifted, _LIFTED_RAMP, np.clip(impedance, 0, _MOST_TIMES))
        for pin in filter(self.settled.has_source, self.setters):
            is_lifted = self.boards.is_lifted[:, self.topology.index[pin]]
            current = np.where(is_lifted, 0.0, self.settled.compute_current_share(pin))
            height = height * np.clip(current, 0, _MOST_TIMES)
        if not self.setters and self.ramp is not None and self._is_charged_by_parts(self.ramp):
            current = self.settled.compute_current_share(self.ramp)
            height = height * np.clip(current, 0, _MOST_TIMES)
        # At a higher rate there is less time to charge.
        height = height / np.clip(1 + timing.detune, 0.1, 10)
        level = np.where(timing.level > _LEAST_TIMING, height, 0.0) * self.compute_vitality()
        most = self.draw_figure("most", 1.5, 2.2)
        signal = replace(timing, level=np.minimum(level, most), colour=np.minimum(level, most))
        self.put_out(signal.add_seen(Seen.DISTORTED, level > most))
        self._move_mean(height, timing)

    def _move_mean(self, height: Array, timing: Signal) -> None:
        """Set the mean of the ramp: it grows with its height, from where it starts.

        Not charged it stays at its start; without timing it is not discharged, or never begun.
        """
        expectation = self.topology.expectations.get(self.ramp or "")
        waveform = expectation.waveform if expectation is not None else None
        if self.ramp is None or waveform is None or not self.settled.has_source(self.ramp):
            return
        low_v, high_v, mean_v = waveform.extremes_v
        good_v = self.settled.read_good_volts(self.ramp)
        start_v = good_v - (mean_v - low_v)
        ramp_v = start_v + (mean_v - low_v) * np.clip(height, 0, 2.2)
        uncharged_v = self.draw_figure("at rest", 0.0, 0.5) * start_v
        ramp_v = np.where(height < _NOT_CHARGED, uncharged_v, ramp_v)
        supply = self.topology.supply_of.get(self.ramp)
        # Without a known supply the ramp's own peak is the highest that it can stay at.
        top_v = self.settled.read_volts(supply) if supply is not None else good_v + high_v - mean_v
        charged_v = self.draw_figure("stays up at", 0.5, 0.98) * top_v
        stuck_v = np.where(self.draw_event("stays up", 0.5), charged_v, 0.05)
        works = (timing.level > _LEAST_TIMING) & (self.compute_vitality() > 0.3)
        self.settled.steer(self.ramp, np.where(works, ramp_v, stuck_v))

    def _find_hz(self) -> float:
        for pin in (self.ramp, *self.block.outputs):
            expectation = self.topology.expectations.get(pin or "")
            if expectation is not None and expectation.waveform is not None:
                return expectation.waveform.frequency_hz or _FIELD_HZ
        return _FIELD_HZ

    def find_inside_signal(self, signal: Signal) -> Signal:
        """Return the output: its capacitor shows the same."""
        return signal


class Pump(Amplifier):
    """Lifts the foot of a capacitor, and with it the output's supply, during flyback."""

    kind = "pump"

    def advance(self) -> None:
        """Put out pulses, as far as the stage lives."""
        self.put_out(self.find_main_input().amplify(np.round(self.compute_vitality())))
