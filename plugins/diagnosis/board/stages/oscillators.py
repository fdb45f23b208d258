"""Oscillators on a resonator, on coil and capacitor, on resistor and capacitor."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..cloud import Seen
from ..resonators import find_drive
from ..senders import find_resonator
from ..signals import Signal
from .locking import LockingStage
from .ringing import RingingStage

Array = NDArray[Any]

_WILD: Final = 5.0  # of its frequency too much: nothing but strays holds it
_STARTS_ABOVE: Final = 0.3  # of its vitality
_MOST_LEVEL: Final = 1.3
_LEAST_SHOWN: Final = 0.05


class Oscillator(LockingStage, RingingStage):
    """Runs while its loop gain exceeds one, at the rate its parts set; a loop may pull it in."""

    kind = "oscillator"

    def set_up(self) -> None:
        """Find pins, resonator, loop."""
        self.pins_of_it = self._list_own_pins()
        self.steering = self._find_steering_pin()
        self.resonator: str | None = None
        self.steering_part: tuple[str, float] | None = None
        self.looked = False
        self.margin = self.boards.spread_draws(
            self.draws.draw_log_uniform(f"{self.block.id} margin", 1.8, 6.0)
        )

    def _list_own_pins(self) -> list[str]:
        ends = tuple(self.pins)
        return self.list_pins("oscillator", among=ends)

    def advance(self) -> None:
        """Run, or stop, or run wild; in lock or free."""
        if not self.looked:
            self._look()
        alive = self.health * self.compute_power() * self.compute_bias()
        free_level, detune = self._run_free()
        # A weak stage swings less, and below some strength not at all.
        strength = np.where(alive > _STARTS_ABOVE, 1.0, 0.0) * np.clip(alive + 0.3, 0, 1)
        level = np.clip(free_level, 0, _MOST_LEVEL) * strength
        signal = Signal(level, level.copy(), detune, np.zeros(self.count, dtype=np.uint8))
        if self.style in ("crystal", "ceramic"):
            signal = self._run_wild(signal, alive)
        else:
            is_wild = (detune > _WILD) & (level > _LEAST_SHOWN)
            signal = signal.add_seen(Seen.UNSTABLE, is_wild)
        signal = self._lock(signal)
        hums = self.find_hum() & (level > _LEAST_SHOWN)
        self.settled.out[self.block.id] = signal.add_seen(Seen.HUM, hums)
        self._show(signal, level)

    def _look(self) -> None:
        """Find the parts that set the frequency: a resonator, else a coil, else resistors."""
        self.looked = True
        resonators = [find_resonator(self.topology, pin) for pin in self.pins_of_it]
        self.resonator = next((ref for ref in resonators if ref is not None), None)
        if self.resonator is None:
            near_parts = [p for pin in self.pins for p in self.topology.parts_at.get(pin, ())]
            has_coil = any(part.kind == "coil" for part in near_parts)
            self.style = "coil" if has_coil else "resistor"
            return
        part = {p.ref: p for p in self.topology.chip.application.parts}[self.resonator]
        self.style = "crystal" if part.kind == "crystal" else "ceramic"
        assert part.quantity is not None
        self.nominal_hz = part.quantity.nominal
        pairs = zip(self.pins_of_it, resonators, strict=True)
        # Of several oscillator pins only those on the resonator drive it.
        near_pins = [pin for pin, ref in pairs if ref is not None]
        self.drive = find_drive(self.settled.paths, self.resonator, near_pins, self.nominal_hz)

    def _run_free(self) -> tuple[Array, Array]:
        """Return amplitude and deviation when nothing pulls, shape (boards,) each."""
        if self.style in ("crystal", "ceramic"):
            gain = self.margin * self.drive.strength
            over = np.clip((gain - 1) / (self.margin - 1), 0, 1.6)
            self._swing = np.sqrt(over)
            return self._swing * np.clip(self.drive.heard, 0, 1.5), self.drive.pull
        if self.style == "coil":
            return self._compute_coil_run()
        return self._compute_current_run()

    def _compute_coil_run(self) -> tuple[Array, Array]:
        """Return amplitude and deviation of coil and capacitor: f goes with 1 / sqrt(L C)."""
        level, ratio = np.ones(self.count), np.ones(self.count)
        for pin in self.pins:
            tuned, shift = self.settled.solve_resonance(pin)
            level, ratio = level * np.clip(tuned * 2.5, 0, 1), ratio * shift
        return np.where(level > 0.25, level, 0), ratio - 1

    def _show(self, signal: Signal, runs: Array) -> None:
        """Send the signal at the oscillator's pins and outputs."""
        for pin in dict.fromkeys((*self.pins_of_it, *self.block.outputs)):
            if pin in self.topology.pin_at and self.topology.pin_at[pin].role != "input":
                lifted = self.boards.is_lifted[:, self.topology.index[pin]]
                gone = replace(signal, level=0 * runs, colour=0 * runs)
                self.settled.sent[pin] = gone.choose_where(lifted, signal)
                if pin not in self.pins_of_it:
                    self.set_rest_voltage(pin, np.clip(signal.level, 0, 1))
