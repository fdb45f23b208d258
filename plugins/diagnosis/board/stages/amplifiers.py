"""Stages that hand a signal on: amplifiers, limiters, mixers, switches."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..cloud import Seen
from ..signals import Signal, no_signal, weakest
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
        self.put_out(self.steadied(self.main().times(self.vitality() * self.gated())))

    def gated(self) -> Array:
        """Return 0 where a detector that switches the stage has switched it off."""
        on = self._ordered_on()
        stages = {stage.block.id: stage for stage in self.settled.stages}
        for end in (*self.block.inputs, *self.block.needs):
            for stage in stages.values():
                drives = end in stage.block.outputs or end == stage.block.id
                if drives and stage.kind in _SWITCHED_BY and stage.block.id in self.settled.out:
                    on = np.minimum(on, self.settled.out[stage.block.id].level)
        return on

    def _ordered_on(self) -> Array:
        """Return 0 where a pin for muting or blanking is on the other side of its threshold."""
        on = np.ones(self.count)
        for pin in self.pins_with("control"):
            if not _SWITCHED_OFF.search(self.topology.pin_at[pin].function):
                continue
            limit = self.threshold_of(pin)
            volts, good = self.settled.volts(pin), self.settled.good_volts(pin)
            at_v = limit[1] if limit is not None else good + self.drawn(f"{pin} switches", 0.8, 3.0)
            on = np.where((volts > at_v) == (good > at_v), on, 0.0)
        return on

    def main_inputs(self) -> dict[str, Signal]:
        """Return the inputs to work on, without those that only switch."""
        switching = [s.block.id for s in self.settled.stages if s.kind in _SWITCHED_BY]
        return {end: s for end, s in super().main_inputs().items() if end not in switching}

    def stores(self) -> list[str]:
        """Return the pins at which the stage keeps a voltage in a capacitor."""
        filled = {end for block in self.topology.chip.blocks for end in block.outputs}
        return [p for p in self.pins_with("filter", "decoupling") if p not in filled]

    def steadied(self, signal: Signal) -> Signal:
        """Return the signal as stores that are off, or no longer steady, spoil it."""
        for pin in self.stores():
            off = np.abs(self.settled.share(pin) - 1)
            signal = signal.seen(Seen.DISTORTED, off > 2 * _STORE_OFF)
            loose = self.settled.looseness(pin) > self.drawn(pin, 3.0, 12.0)
            word = np.where(self.happens(f"{pin} loose", 0.5), Seen.UNSTABLE, Seen.DISTORTED)
            signal = signal.seen(Seen.UNSTABLE, loose & (word == Seen.UNSTABLE))
            signal = signal.seen(Seen.DISTORTED, loose & (word == Seen.DISTORTED))
        return signal


class Limiter(Amplifier):
    """Holds its output until hardly anything comes in."""

    kind = "limiter"

    def advance(self) -> None:
        """Put out the input, limited."""
        reach = self.drawn("reach", 3.0, 20.0)
        signal = self.main().held(reach).times(self.vitality() * self.gated())
        signal = replace(signal, words=signal.words & ~np.uint8(Seen.DISTORTED | Seen.CLIPPED))
        # Without a signal it limits noise.
        noise = np.where(signal.level < 0.2, np.clip(self.vitality() * self.gated(), 0, 1), 0.0)
        signal = replace(signal, noise=noise)
        self.put_out(signal.seen(Seen.NOISE, signal.level < 0.5))


class Mixer(Amplifier):
    """Adds luminance and colour, or two signals alike."""

    kind = "mixer"

    def advance(self) -> None:
        """Put out luminance from the inputs that carry it, colour from the others."""
        inputs = self.main_inputs()
        colours = {e: s for e, s in inputs.items() if self._is_colour(e)}
        others = {e: s for e, s in inputs.items() if e not in colours}
        alive = self.vitality() * self.gated()
        if colours and others:
            main, colour = _weakest(others, self.count), _weakest(colours, self.count)
            mixed = replace(main, colour=colour.level, words=main.words | colour.words)
            self.put_out(mixed.times(alive))
        elif len(inputs) > 1:
            # Of signals alike each brings its share.
            mean = np.mean([s.level for s in inputs.values()], axis=0)
            main = _weakest(inputs, self.count)
            self.put_out(replace(main, level=mean, colour=mean).times(alive))
        else:
            self.put_out(self.main().times(alive))

    def _is_colour(self, end: str) -> bool:
        stages = {s.block.id: s for s in self.settled.stages}
        if end in stages:
            return "colour" in stages[end].channels and "luminance" not in stages[end].channels
        expectation = self.topology.expectations.get(end)
        waveform = expectation.waveform if expectation is not None else None
        return waveform is not None and waveform.kind in ("chrominance", "colour difference")


def _weakest(signals: dict[str, Signal], boards: int) -> Signal:
    return weakest(list(signals.values()), boards)


class Switch(Amplifier):
    """Lets through the input that is live in this condition."""

    kind = "switch"

    def advance(self) -> None:
        """Put out the live input; without any signal it is a switch of a voltage."""
        inputs = self.main_inputs()
        alive = self.vitality()
        if not inputs:
            self._switch_voltage(alive)
            return
        live = self._live(inputs)
        control = self._selected_right()
        signal = live.times(alive)
        other = no_signal(self.count)
        self.put_out(signal.where(control, other))

    def _live(self, inputs: dict[str, Signal]) -> Signal:
        """Return the input that is on: a stage's before a pin's, unless only pins carry."""
        stages = [end for end in inputs if end not in self.topology.pin_at]
        names = stages or [end for end in inputs if end in self.topology.expectations]
        name = (names or list(inputs))[0]
        return inputs[name]

    def _selected_right(self) -> Array:
        """Return where the control pins still ask for the live input."""
        right = np.ones(self.count, dtype=bool)
        for pin in self.pins_with("control", "input"):
            limit = self.threshold_of(pin)
            if limit is None or pin in self.inputs():
                continue
            volts, good = self.settled.volts(pin), self.settled.good_volts(pin)
            right &= (volts > limit[1]) == (good > limit[1])
        return right

    def _switch_voltage(self, alive: Array) -> None:
        """Hand on the signal gated, its outputs at their idle voltage while it is off."""
        on = self.gated() * alive
        signal = self.good().times(on)
        self.settled.out[self.block.id] = signal
        for pin in self.pins_with("output", among=self.block.outputs):
            idle = self.idle_v(pin)
            low = np.full(self.count, 0.15)
            idle = low if idle is None else idle
            good = self.settled.good_volts(pin)
            self.settled.steer(pin, idle + (good - idle) * on)
        if re.search(r"mut", self.block.name, re.IGNORECASE):
            self.feature("sound", on)
