"""Stages that hand a signal on: amplifiers, limiters, mixers, switches."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..cloud import Seen
from ..signals import Signal, find_weakest, make_no_signal
from .base import Stage

Array = NDArray[Any]

_STORE_OFF: Final = 0.12  # of its voltage: a store that lies farther off shows
_SWITCHED_OFF: Final = re.compile(r"\bmut(e|ing)\b", re.IGNORECASE)
_SWITCHED_BY: Final = ("threshold detector", "protection")


class Amplifier(Stage):
    """Hands its weakest input on, as far as it lives; a store that is off distorts it."""

    kind = "amplifier"

    def advance(self) -> None:
        """Put out the input."""
        self.put_out(
            self.spoil_by_stores(
                self.find_main_input().amplify(self.compute_vitality() * self.compute_gate())
            )
        )

    def compute_gate(self) -> Array:
        """Return 0 where a detector that switches the stage has switched it off."""
        on = self._compute_order()
        stages = {stage.block.id: stage for stage in self.settled.stages}
        for end in (*self.block.inputs, *self.block.needs):
            for stage in stages.values():
                drives = end in stage.block.outputs or end == stage.block.id
                if drives and stage.kind in _SWITCHED_BY and stage.block.id in self.settled.out:
                    on = np.minimum(on, self.settled.out[stage.block.id].level)
        return on

    def _compute_order(self) -> Array:
        """Return 0 where a pin for muting or blanking is on the other side of its threshold."""
        on = np.ones(self.count)
        for pin in self.list_pins("control"):
            if not _SWITCHED_OFF.search(self.topology.pin_at[pin].function):
                continue
            limit = self.find_threshold(pin)
            volts, good = self.settled.read_volts(pin), self.settled.read_good_volts(pin)
            at_v = (
                limit[1]
                if limit is not None
                else good + self.draw_figure(f"{pin} switches", 0.8, 3.0)
            )
            on = np.where((volts > at_v) == (good > at_v), on, 0.0)
        return on

    def list_main_inputs(self) -> dict[str, Signal]:
        """Return the inputs to work on, without those that only switch."""
        switching = [s.block.id for s in self.settled.stages if s.kind in _SWITCHED_BY]
        return {end: s for end, s in super().list_main_inputs().items() if end not in switching}

    def list_stores(self) -> list[str]:
        """Return the pins at which the stage keeps a voltage in a capacitor."""
        filled = {end for block in self.topology.chip.blocks for end in block.outputs}
        return [p for p in self.list_pins("filter", "decoupling") if p not in filled]

    def spoil_by_stores(self, signal: Signal) -> Signal:
        """Return the signal as stores that are off, or no longer steady, spoil it."""
        for pin in self.list_stores():
            off = np.abs(self.settled.compute_share(pin) - 1)
            signal = signal.add_seen(Seen.DISTORTED, off > 2 * _STORE_OFF)
            loose = self.settled.compute_looseness(pin) > self.draw_figure(pin, 3.0, 12.0)
            word = np.where(self.draw_event(f"{pin} loose", 0.5), Seen.UNSTABLE, Seen.DISTORTED)
            signal = signal.add_seen(Seen.UNSTABLE, loose & (word == Seen.UNSTABLE))
            signal = signal.add_seen(Seen.DISTORTED, loose & (word == Seen.DISTORTED))
        return signal


class Limiter(Amplifier):
    """Holds its output until hardly anything comes in."""

    kind = "limiter"

    def advance(self) -> None:
        """Put out the input, limited."""
        reach = self.draw_figure("reach", 3.0, 20.0)
        signal = (
            self.find_main_input()
            .limit(reach)
            .amplify(self.compute_vitality() * self.compute_gate())
        )
        signal = replace(signal, words=signal.words & ~np.uint8(Seen.DISTORTED | Seen.CLIPPED))
        # Without a signal it limits noise.
        noise = np.where(
            signal.level < 0.2, np.clip(self.compute_vitality() * self.compute_gate(), 0, 1), 0.0
        )
        signal = replace(signal, noise=noise)
        self.put_out(signal.add_seen(Seen.NOISE, signal.level < 0.5))


class Mixer(Amplifier):
    """Adds luminance and colour, or two signals alike."""

    kind = "mixer"

    def advance(self) -> None:
        """Put out luminance from the inputs that carry it, colour from the others."""
        inputs = self.list_main_inputs()
        colours = {e: s for e, s in inputs.items() if self._is_colour(e)}
        others = {e: s for e, s in inputs.items() if e not in colours}
        alive = self.compute_vitality() * self.compute_gate()
        if colours and others:
            main, colour = _find_weakest(others, self.count), _find_weakest(colours, self.count)
            mixed = replace(main, colour=colour.level, words=main.words | colour.words)
            self.put_out(mixed.amplify(alive))
        elif len(inputs) > 1:
            # Of signals alike each brings its share.
            mean = np.mean([s.level for s in inputs.values()], axis=0)
            main = _find_weakest(inputs, self.count)
            self.put_out(replace(main, level=mean, colour=mean).amplify(alive))
        else:
            self.put_out(self.find_main_input().amplify(alive))

    def _is_colour(self, end: str) -> bool:
        stages = {s.block.id: s for s in self.settled.stages}
        if end in stages:
            return "colour" in stages[end].channels and "luminance" not in stages[end].channels
        expectation = self.topology.expectations.get(end)
        waveform = expectation.waveform if expectation is not None else None
        return waveform is not None and waveform.kind in ("chrominance", "colour difference")


def _find_weakest(signals: dict[str, Signal], boards: int) -> Signal:
    return find_weakest(list(signals.values()), boards)


class Switch(Amplifier):
    """Lets through the input that is live in this condition."""

    kind = "switch"

    def advance(self) -> None:
        """Put out the live input; without any signal it is a switch of a voltage."""
        inputs = self.list_main_inputs()
        alive = self.compute_vitality()
        if not inputs:
            self._switch_voltage(alive)
            return
        live = self._find_live_input(inputs)
        control = self._compute_selection()
        signal = live.amplify(alive)
        other = make_no_signal(self.count)
        self.put_out(signal.choose_where(control, other))

    def _find_live_input(self, inputs: dict[str, Signal]) -> Signal:
        """Return the input that is on: a stage's before a pin's, unless only pins carry."""
        stages = [end for end in inputs if end not in self.topology.pin_at]
        names = stages or [end for end in inputs if end in self.topology.expectations]
        name = (names or list(inputs))[0]
        return inputs[name]

    def _compute_selection(self) -> Array:
        """Return where the control pins still ask for the live input."""
        right = np.ones(self.count, dtype=bool)
        for pin in self.list_pins("control", "input"):
            limit = self.find_threshold(pin)
            if limit is None or pin in self.list_inputs():
                continue
            volts, good = self.settled.read_volts(pin), self.settled.read_good_volts(pin)
            right &= (volts > limit[1]) == (good > limit[1])
        return right

    def _switch_voltage(self, alive: Array) -> None:
        """Hand on the signal gated, its outputs at their idle voltage while it is off."""
        on = self.compute_gate() * alive
        signal = self.make_good_signal().amplify(on)
        self.settled.out[self.block.id] = signal
        for pin in self.list_pins("output", among=self.block.outputs):
            idle = self.find_idle_v(pin)
            low = np.full(self.count, 0.15)
            idle = low if idle is None else idle
            good = self.settled.read_good_volts(pin)
            self.settled.steer(pin, idle + (good - idle) * on)
        if re.search(r"mut", self.block.name, re.IGNORECASE):
            self.weaken_feature("sound", on)
