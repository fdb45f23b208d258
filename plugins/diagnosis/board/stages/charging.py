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
_USUAL_SWING_V: Final = 3.0  # of a timing capacitor, where none is stated
_STOPS_BELOW: Final = 0.08  # of its rate
_SLOWEST: Final = 0.05
_FASTEST: Final = 60.0
_MOST_CURRENT: Final = 12.0  # times the good charging current
_NEAR_ITS_RATE: Final = 0.3
_STRAY_SHARE: Final = (0.001, 0.02)  # of the timing capacitor: socket, track and chip
_WILD_RATE: Final = (10.0, 50.0)


class ChargingStage(Stage):
    """A stage with timing pins, whose rate goes with current over capacitance."""

    pins_of_it: list[str]

    def _compute_current_run(self) -> tuple[Array, Array]:
        """Return amplitude and deviation of a capacitor charged by a current: f goes with I / C.

        Both relative to the good board, shape (boards,). The current is that of the pin which sets
        it, else of the drawn resistors.
        """
        rate = self._compute_charging_rate() / np.clip(self._compute_threshold_share(), 0.25, 1.5)
        # On what strays are left it runs wild, or not at all.
        is_wild = (rate > _WILD_ABOVE) & self.draw_event("runs wild", 0.5)
        wild_rate = np.minimum(rate, self.draw_figure("wild rate", *_WILD_RATE))
        rate = np.where(is_wild, wild_rate, rate)
        is_stopped = (rate < _STOPS_BELOW) | (rate > _WILD_ABOVE)
        for pin in self._list_timing_pins():
            self.settled.release(pin, is_stopped | (self.health < 0.2))
        rate = np.clip(rate, _SLOWEST, _FASTEST)
        # Far from its rate the swing shrinks: discharge takes its time.
        swing = np.clip(1.4 - 0.15 * np.abs(np.log(rate)), 0.3, 1.0)
        swing = np.where(np.abs(rate - 1) < _NEAR_ITS_RATE, 1.0, swing)
        return np.where(is_stopped, 0.0, swing), rate - 1

    def _list_timing_pins(self) -> list[str]:
        return [pin for pin in self.pins_of_it if self.settled.has_source(pin)]

    def _compute_charging_rate(self) -> Array:
        """Return current over capacitance at the timing pins, relative to the good board."""
        settled = self.settled
        timing_pins = self._list_timing_pins()
        has_resistor = any(map(self._has_resistor, timing_pins))
        setters = [] if has_resistor else self._list_setters()
        rate = np.ones(self.count)
        for pin in timing_pins:
            hz = _WELL_ABOVE * self._find_hz(pin)  # where the capacitor alone counts
            impedance_share = settled.paths.compute_impedance_share(pin, hz)
            capacitance_share = 1 / np.maximum(impedance_share, 1e-3)
            # Without its capacitor only strays are left.
            is_lifted = self.boards.is_lifted[:, self.topology.index[pin]]
            stray_share = self.draw_figure("stray", *_STRAY_SHARE)
            capacitance_share = np.where(is_lifted, stray_share, capacitance_share)
            rate = rate / np.maximum(capacitance_share, 1e-3)
            if not setters:
                rate = rate * np.clip(settled.compute_current_share(pin), 0, _MOST_CURRENT)
            elif self._has_leak(pin):
                # What leaks away at the capacitor is missing to charge it.
                rate = rate * np.clip(1 + self._compute_leak(pin), 0, 3)
        for pin in setters[:1]:
            # Never less than nothing: a timing current that turned round stops it.
            rate = rate * np.clip(settled.compute_current_share(pin), 0, _MOST_CURRENT)
        return rate

    def _compute_threshold_share(self) -> Array:
        """Return how high the capacitor is charged, relative to the good board.

        Thresholds follow the reference or the supply, as the current does.
        """
        pin = next(iter(self._list_timing_pins()), None)
        if pin is None:
            return np.ones(self.count)
        bias = self.topology.reference_of.get(pin)
        if bias is not None:
            return self.settled.compute_share(bias)
        return self.settled.compute_supply_share(pin)

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
        """Return the excess current into a timing pin, as a share of a usual charging current.

        The usual current charges the drawn capacitors once in each period: I = C V f.
        """
        boards, number = self.boards, self.boards.source_number[pin]
        across_v = boards.emf_v[:, number] - boards.volts[:, self.topology.index[pin]]
        # A leak outside draws its current from the pin's own source.
        flow_a = across_v * boards.siemens[:, number]
        good_flow_a = flow_a[: boards.draws][boards.draw_of]
        capacitors = self.topology.list_shunt_capacitors(pin)
        farad = sum(c.quantity.nominal for c in capacitors if c.quantity is not None)
        expectation = self.topology.expectations.get(pin)
        waveform = expectation.waveform if expectation is not None else None
        swing_v = waveform.vpp_v if waveform is not None else _USUAL_SWING_V
        usual_a = max(self._find_hz(pin) * farad * swing_v, 1e-9)
        return -(flow_a - good_flow_a) / usual_a

    def _find_hz(self, pin: str) -> float:
        expectation = self.topology.expectations.get(pin)
        waveform = expectation.waveform if expectation is not None else None
        return waveform.frequency_hz if waveform is not None and waveform.frequency_hz else LINE_HZ
