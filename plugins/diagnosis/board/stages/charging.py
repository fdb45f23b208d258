"""Oscillators on resistor and capacitor: a current charges a capacitor up to a threshold."""

from __future__ import annotations

import re
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .base import Stage

Array = NDArray[Any]

_SETS_CURRENT: Final = re.compile(r"current|charg|timing|hold|resistor", re.IGNORECASE)
LINE_HZ: Final = 15.7e3
_WILD_ABOVE: Final = 60.0
_WELL_ABOVE: Final = 20.0


class ChargingStage(Stage):
    """A stage with timing pins, whose rate goes with current over capacitance."""

    pins_of_it: list[str]

    def _compute_current_run(self) -> tuple[Array, Array]:
        """Return amplitude and deviation of a capacitor charged by a current: f goes with I / C.

        The current is that of the pin which sets it, else of the drawn resistors.
        """
        rate = np.ones(self.count)
        settled = self.settled
        timing = [p for p in self.pins_of_it if settled.has_source(p)]
        setters = [] if any(map(self._has_resistor, timing)) else self._list_setters()
        for pin in timing:
            hz = _WELL_ABOVE * self._find_hz(pin)  # where the capacitor alone counts
            at = self.topology.index[pin]
            lifted = self.boards.is_lifted[:, at]
            capacity = 1 / np.maximum(settled.paths.compute_impedance_share(pin, hz), 1e-3)
            # Without its capacitor only strays are left.
            capacity = np.where(lifted, self.draw_figure("stray", 0.001, 0.02), capacity)
            rate = rate / np.maximum(capacity, 1e-3)
            current = settled.compute_current_share(pin)
            if not setters:
                rate = rate * np.clip(current, 0, 12)
            elif self._has_leak(pin):
                # What leaks away at the capacitor is missing to charge it.
                rate = rate * np.clip(1 + self._compute_leak(pin), 0, 3)
        for pin in setters[:1]:
            # Never less than nothing: a timing current that turned round stops it.
            rate = rate * np.clip(settled.compute_current_share(pin), 0, 12)
        # Thresholds follow the supply as the current does.
        swing = np.ones(self.count)
        for pin in timing[:1]:
            bias = self.topology.reference_of.get(pin)
            swing = (
                settled.compute_share(bias)
                if bias is not None
                else settled.compute_supply_share(pin)
            )
        rate = rate / np.clip(swing, 0.25, 1.5)
        # On what strays are left it runs wild, or not at all.
        wild = (rate > _WILD_ABOVE) & self.draw_event("runs wild", 0.5)
        rate = np.where(wild, np.minimum(rate, self.draw_figure("wild rate", 10.0, 50.0)), rate)
        stopped = (rate < 0.08) | (rate > _WILD_ABOVE)
        for pin in timing:
            settled.release(pin, stopped | (self.health < 0.2))
        level = np.where(stopped, 0.0, 1.0)
        high = np.clip(rate, 0.05, 60)
        # Far above its rate the swing shrinks: discharge takes its time.
        level = level * np.clip(1.4 - 0.15 * np.abs(np.log(high)), 0.3, 1.0)
        return np.where(np.abs(high - 1) < 0.3, np.where(stopped, 0, 1.0), level), high - 1

    def _list_setters(self) -> list[str]:
        """Return the pins whose current the chip repeats at the capacitor."""
        found = [p for p in self.list_pins("reference", "control") if self.settled.has_source(p)]
        return [p for p in found if _SETS_CURRENT.search(self.topology.pin_at[p].function)]

    def _has_resistor(self, pin: str) -> bool:
        parts = self.topology.parts_at.get(pin, ())
        return any(part.kind in ("resistor", "potentiometer") for part in parts)

    def _has_leak(self, pin: str) -> bool:
        return len(self.topology.list_shunt_capacitors(pin)) > 0

    def _compute_leak(self, pin: str) -> Array:
        """Return the excess current out of a timing pin, as a share of a usual charging current."""
        number = self.boards.source_number[pin]
        at = self.topology.index[pin]
        flow = (self.boards.emf_v[:, number] - self.boards.volts[:, at]) * self.boards.siemens[
            :, number
        ]
        good = flow[: self.boards.draws][self.boards.draw_of]
        hz = self._find_hz(pin)
        farad = sum(
            p.quantity.nominal
            for p in self.topology.list_shunt_capacitors(pin)
            if p.quantity is not None
        )
        expectation = self.topology.expectations.get(pin)
        swing = expectation.waveform.vpp_v if expectation and expectation.waveform else 3.0
        usual = max(hz * farad * swing, 1e-9)
        return -(flow - good) / usual

    def _find_hz(self, pin: str) -> float:
        expectation = self.topology.expectations.get(pin)
        waveform = expectation.waveform if expectation is not None else None
        return waveform.frequency_hz if waveform is not None and waveform.frequency_hz else LINE_HZ
