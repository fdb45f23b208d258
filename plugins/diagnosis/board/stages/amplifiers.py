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

_SWITCHES_ALREADY: Final = 1.3  # times a carrier as it should be: the reserve of a demodulator
_TUNED_ROLES: Final = ("oscillator", "filter", "output")  # a coil to a supply is another stage's
_STORE_OFF: Final = 0.12  # of its voltage: a store that lies farther off shows
_LOOSE_TIMES: Final = (3.0, 12.0)  # the ripple of a good store, from which it spoils the signal
_USUAL_DISTANCE_V: Final = (0.8, 3.0)  # from the good level to an unstated muting threshold
_REACH: Final = (3.0, 20.0)  # times that a limiter's input may drop before its output does
_NOISE_ONLY: Final = 0.2  # of the good output of a limiter
_NOISY: Final = 0.5
_SWITCHED_LOW_V: Final = 0.15  # an output that pulls down. Common practice.
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
        """Return 0 where a muting pin or a detector has switched the stage off, else 1."""
        on = self._compute_order()
        for end in (*self.block.inputs, *self.block.needs):
            for stage in self.settled.stages:
                drives_end = end in stage.block.outputs or end == stage.block.id
                is_switch = stage.kind in _SWITCHED_BY and stage.block.id in self.settled.out
                if drives_end and is_switch:
                    on = np.minimum(on, self.settled.out[stage.block.id].level)
        return on

    def _compute_order(self) -> Array:
        """Return 0 where a pin for muting or blanking is on the other side of its threshold."""
        on = np.ones(self.count)
        for pin in self.list_pins("control"):
            if not _SWITCHED_OFF.search(self.topology.pin_at[pin].function):
                continue
            volts, good_v = self.settled.read_volts(pin), self.settled.read_good_volts(pin)
            threshold = self.find_threshold(pin)
            if threshold is not None:
                limit_v = np.full(self.count, threshold[1])
            else:
                # None is stated: somewhat above the level at which the good stage works.
                limit_v = good_v + self.draw_figure(f"{pin} switches", *_USUAL_DISTANCE_V)
            on = np.where((volts > limit_v) == (good_v > limit_v), on, 0.0)
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
        """Return the signal as stores that are off, or no longer steady, spoil it.

        A store is a capacitor at a pin that keeps a voltage for the stage: a black level, a bias.
        """
        for pin in self.list_stores():
            offset = np.abs(self.settled.compute_share(pin) - 1)
            signal = signal.add_seen(Seen.DISTORTED, offset > 2 * _STORE_OFF)
            # A store without its capacitor moves with every line: the picture jumps, or is smeared.
            is_loose = self.settled.compute_looseness(pin) > self.draw_figure(pin, *_LOOSE_TIMES)
            jumps = self.draw_event(f"{pin} loose", 0.5)
            signal = signal.add_seen(Seen.UNSTABLE, is_loose & jumps)
            signal = signal.add_seen(Seen.DISTORTED, is_loose & ~jumps)
        return signal


class Limiter(Amplifier):
    """Holds its output until hardly anything comes in; a tuned circuit may be its load."""

    kind = "limiter"
    limited: Signal | None = None
    """What it puts out before a tuned circuit shapes it."""

    def advance(self) -> None:
        """Put out the input, limited: clean while enough comes in, noise without."""
        gain = self.compute_vitality() * self.compute_gate()
        signal = self.find_main_input().limit(self.draw_figure("reach", *_REACH)).amplify(gain)
        # Limiting removes the distortion of amplitude that came in.
        signal = replace(signal, words=signal.words & ~np.uint8(Seen.DISTORTED | Seen.CLIPPED))
        # Without a signal it limits noise.
        noise = np.where(signal.level < _NOISE_ONLY, np.clip(gain, 0, 1), 0.0)
        signal = replace(signal, noise=noise).add_seen(Seen.NOISE, signal.level < _NOISY)
        self.limited = signal
        left_share = np.clip(_SWITCHES_ALREADY * self._compute_tuning(), 0, 1)
        self.put_out(signal.amplify(left_share))

    def find_inside_signal(self, signal: Signal) -> Signal:
        """Return the signal at its tuned circuit: limited, as high as the circuit leaves it."""
        return (self.limited or signal).amplify(self._compute_tuning())

    def _compute_tuning(self) -> Array:
        """Return how much the tuned circuits at its pins still bring, 0 to 1."""
        share = np.ones(self.count)
        for pin in self.list_pins(*_TUNED_ROLES):
            share = np.minimum(share, self.settled.compute_resonance_share(pin))
        return share


class Mixer(Amplifier):
    """Adds luminance and colour, or two signals alike."""

    kind = "mixer"

    def advance(self) -> None:
        """Put out luminance from the inputs that carry it, colour from the others."""
        inputs = self.list_main_inputs()
        colours = {end: signal for end, signal in inputs.items() if self._is_colour(end)}
        others = {end: signal for end, signal in inputs.items() if end not in colours}
        gain = self.compute_vitality() * self.compute_gate()
        if colours and others:
            luminance = _find_weakest(others, self.count)
            colour = _find_weakest(colours, self.count)
            words = luminance.words | colour.words
            self.put_out(replace(luminance, colour=colour.level, words=words).amplify(gain))
        elif len(inputs) > 1:
            # Of signals alike each brings its share.
            mean_level = np.mean([signal.level for signal in inputs.values()], axis=0)
            weakest = _find_weakest(inputs, self.count)
            self.put_out(replace(weakest, level=mean_level, colour=mean_level).amplify(gain))
        else:
            self.put_out(self.find_main_input().amplify(gain))

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
        signal = self._find_live_input(inputs).amplify(alive)
        nothing = make_no_signal(self.count)
        self.put_out(signal.choose_where(self._compute_selection(), nothing))

    def _find_live_input(self, inputs: dict[str, Signal]) -> Signal:
        """Return the input that is on: a stage's before a pin's, unless only pins carry."""
        stages = [end for end in inputs if end not in self.topology.pin_at]
        names = stages or [end for end in inputs if end in self.topology.expectations]
        name = (names or list(inputs))[0]
        return inputs[name]

    def _compute_selection(self) -> Array:
        """Return on which boards the control pins still select the live input."""
        is_selected = np.ones(self.count, dtype=bool)
        for pin in self.list_pins("control", "input"):
            threshold = self.find_threshold(pin)
            if threshold is None or pin in self.list_inputs():
                continue
            volts, good_v = self.settled.read_volts(pin), self.settled.read_good_volts(pin)
            is_selected &= (volts > threshold[1]) == (good_v > threshold[1])
        return is_selected

    def _switch_voltage(self, alive: Array) -> None:
        """Hand on the signal gated, its outputs at their idle voltage while it is off."""
        on = self.compute_gate() * alive
        self.settled.out[self.block.id] = self.make_good_signal().amplify(on)
        for pin in self.list_pins("output", among=self.block.outputs):
            idle_v = self.find_idle_v(pin)
            if idle_v is None:
                idle_v = np.full(self.count, _SWITCHED_LOW_V)
            good_v = self.settled.read_good_volts(pin)
            self.settled.steer(pin, idle_v + (good_v - idle_v) * on)
        if re.search(r"mut", self.block.name, re.IGNORECASE):
            self.weaken_feature("sound", on)
