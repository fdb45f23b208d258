"""Stages whose gain or level a voltage sets: by hand, by a loop, or by a clamp and its store."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..cloud import Seen
from ..signals import Signal, make_good_signal, make_no_signal
from .amplifiers import Amplifier

Array = NDArray[Any]

_STORE_OFF: Final = 0.12  # of its voltage: a store that lies farther off shows
_GLARING_V: Final = 1.5  # of black level moved: glaring, or dark
_MOST_TIMES: Final = 1.8
_OVERDRIVEN: Final = 1.35
# How much weaker than usual a signal may come that a gain control still makes up for: of colour and
# sync ten to twenty decibels, of an intermediate frequency some more. Common practice.
_REACH: Final = (3.0, 15.0)
_IF_REACH: Final = (6.0, 60.0)
_IF: Final = re.compile(r"\bIF\b|\bif-")
_CONTROL_DEAD: Final = 0.3  # of a control's good voltage: where nothing is let through


class ControlledAmplifier(Amplifier):
    """An amplifier whose gain voltages set: contrast, colour, volume."""

    kind = "controlled amplifier"

    def advance(self) -> None:
        """Put out the input at the gain that the control voltages ask for."""
        self.put_out(self.spoil_by_stores(self.control_input()))

    def control_input(self) -> Signal:
        """Return the input at the gain that the control voltages ask for."""
        signal = self.find_main_input().amplify(self.compute_vitality() * self.compute_gate())
        for pin in self.list_controls():
            signal = self._apply_control(signal, pin)
        over = (signal.level > _OVERDRIVEN) | (signal.colour > 1.6)
        signal = replace(
            signal,
            level=np.clip(signal.level, 0, _MOST_TIMES),
            colour=np.clip(signal.colour, 0, _MOST_TIMES),
        )
        return signal.add_seen(Seen.DISTORTED, over)

    def list_controls(self) -> list[str]:
        """Return the pins whose voltage sets the gain."""
        carrying = set(self.list_inputs())
        return [pin for pin in self.list_pins("control") if pin not in carrying]

    def _apply_control(self, signal: Signal, pin: str) -> Signal:
        """Return the signal as one control leaves it; brightness and hue set features alone."""
        function = self.topology.pin_at[pin].function.casefold()
        volts, good = self.settled.read_volts(pin), self.settled.read_good_volts(pin)
        if re.search(r"bright", function):
            self._brighten(volts - good, good)
            return signal
        if re.search(r"\btint|hue|phase", function):
            self.weaken_feature(
                "hue", np.clip(1.25 - np.abs(volts - good) / (0.35 * good + 0.3), 0, 1)
            )
            return signal
        gain = self._compute_gain(pin, volts, good)
        mixed = "luminance" in self.channels or "vision" in self.channels
        if mixed and re.search(r"colou?r|saturation", function):
            return replace(signal, colour=signal.colour * gain)
        return signal.amplify(gain)

    def _compute_gain(self, pin: str, volts: Array, good: Array) -> Array:
        """Return the gain beside the good one, for a control voltage."""
        limit = self.find_threshold(pin)
        function = self.topology.pin_at[pin].function.casefold()
        if limit is not None and limit[0] == "above" and "mut" in function:
            return np.where(volts > limit[1], 0.0, 1.0)
        if limit is not None and "drawn back" in function:
            # A limiter: nothing above its threshold, less and less below.
            slope = self.draw_figure(f"{pin} slope", 0.8, 2.5)
            rest = self.draw_figure(f"{pin} rest", 0.0, 0.12)
            return np.clip(1 - (limit[1] - volts) / slope, rest, 1.0)
        dead = _CONTROL_DEAD * good
        if limit is not None and limit[0] == "below":
            dead = np.full(self.count, limit[1])
        span = np.where(np.abs(good - dead) < 0.1, 0.1, good - dead)
        return np.clip((volts - dead) / span, 0.0, _MOST_TIMES)

    def _brighten(self, moved_v: Array, good: Array) -> None:
        self.settled.black_v = self.settled.black_v + moved_v * self.draw_figure(
            "brightness", 0.25, 0.8
        )
        span = np.maximum(0.5 * np.abs(good), 0.5)
        self.settled.brightness = self.settled.brightness + moved_v / span


class GainControlledAmplifier(Amplifier):
    """Holds its output until its range is used up; the store's voltage tells how far it is."""

    kind = "gain-controlled amplifier"

    def set_up(self) -> None:
        """Find the store and draw the range."""
        stores = self.list_pins("filter", "control")
        told = [p for p in stores if re.search(r"a[gc]c", self._read_words(p), re.IGNORECASE)]
        self.store: str | None = next(iter(told or stores), None)
        is_if = bool(_IF.search(f"{self.block.name} {self.block.id}"))
        span = _IF_REACH if is_if else _REACH
        self.reach = self.boards.spread_draws(
            self.draws.draw_log_uniform(f"{self.block.id} reach", *span)
        )

    def _read_words(self, pin: str) -> str:
        return f"{self.topology.pin_at[pin].symbol} {self.topology.pin_at[pin].function}"

    def list_stores(self) -> list[str]:
        """Return the stores besides that of the gain."""
        return [pin for pin in super().list_stores() if pin != self.store]

    def list_main_inputs(self) -> dict[str, Signal]:
        """Return the signals to amplify."""
        return {end: s for end, s in super().list_main_inputs().items() if end != self.store}

    def advance(self) -> None:
        """Put out the input at the gain that the store's voltage gives."""
        signal = self.find_main_input()
        alive = self.compute_vitality()
        if self.store is None or not self.settled.has_source(self.store):
            self.put_out(signal.limit(self.reach).amplify(alive))
            return
        good, most = self.settled.read_good_volts(self.store), self._find_most_gain_v()
        sensed = np.clip(
            signal.level * self._compute_sensed_share() * np.maximum(alive, 1e-3), 1e-3, 5
        )
        asked = np.clip(-np.log(sensed) / np.log(self.reach), -0.6, 1.0)
        wanted = good + (most - good) * asked
        self.settled.steer(self.store, wanted)
        span = np.where(np.abs(most - good) < 0.2, 0.2, most - good)
        turned = (self.settled.read_volts(self.store) - good) / span
        held = np.abs(turned - asked) < 0.12
        gain = np.exp(np.log(self.reach) * np.clip(np.where(held, asked, turned), -1.2, 1.05))
        whole = signal.amplify(gain * alive)
        # What the loop holds is what its detector sees: losses on the way there are made up for.
        seen = np.clip(self._compute_sensed_share(), 0.02, 1)
        over = whole.level * seen > _OVERDRIVEN
        most = self.draw_figure("most", 1.2, _MOST_TIMES) / seen
        clipped = replace(
            whole,
            level=np.clip(whole.level, 0, most),
            colour=np.clip(whole.colour, 0, most),
        )
        loose = self.settled.compute_looseness(self.store) > 4
        unstable = loose & self.draw_event("hunts", 0.5)
        clipped = clipped.add_seen(Seen.UNSTABLE, unstable).add_seen(Seen.DISTORTED, over | loose)
        noise = np.where(asked > 0.98, np.clip(gain / self.reach, 0, 1) * alive, 0.0)
        clipped = replace(clipped, noise=noise)
        snow = asked > self.draw_figure("snow above", 0.6, 0.98)
        self.put_out(self.spoil_by_stores(clipped.add_seen(Seen.NOISE, snow)))

    def _find_most_gain_v(self) -> Array:
        """Return the store's voltage at which the gain is greatest."""
        assert self.store is not None
        if self.store in self.topology.quiet_dc_v:
            return np.full(self.count, self.topology.quiet_dc_v[self.store])
        good = self.settled.read_good_volts(self.store)
        function = self.topology.pin_at[self.store].function
        falls = re.search(r"falls as", function)
        rises = re.search(r"rises as", function)
        up = np.full(self.count, bool(falls)) if falls or rises else self.draw_event("up", 0.5)
        return good * np.where(up, 1.35, 0.6)

    def _compute_sensed_share(self) -> Array:
        """Return how much of the output the detector that fills the store still sees."""
        for stage in self.settled.stages:
            if stage.kind == "level detector" and self.store in stage.block.outputs:
                own = self.settled.out.get(self.block.id) or make_good_signal(self.count)
                seen = self.settled.out.get(stage.block.id) or make_good_signal(self.count)
                return np.where(own.level > 0.02, seen.level / np.maximum(own.level, 0.02), 0.0)
        return np.ones(self.count)


class Clamp(ControlledAmplifier):
    """Sets the black level by a store; without its key pulse the level drifts."""

    kind = "clamp"

    def advance(self) -> None:
        """Put out the input; a store or key that is off moves its brightness."""
        signal = self.control_input()
        for key in self.list_keys().values():
            lost = key.level < 0.4
            shut = lost & self.draw_event("shut without keys", 0.35)
            signal = make_no_signal(self.count).choose_where(shut, signal)
            self.settled.blanked |= shut
            signal = signal.add_seen(Seen.UNSTABLE, lost & self.draw_event("drifts", 0.6))
            way = np.where(self.draw_event("dark", 0.6), -1.0, 1.0)
            self._move(np.where(lost, way * self.draw_figure("drift", 0.3, 2.0), 0.0))
        for pin in self.list_stores():
            # The output's black level follows the store, mostly the same way.
            way = np.where(self.draw_event(f"{pin} way", 0.7), 1.0, -1.0)
            moved = self.settled.read_volts(pin) - self.settled.read_good_volts(pin)
            far = np.abs(self.settled.compute_share(pin) - 1) > 0.3 * _STORE_OFF
            self._move(np.where(far, way * moved * self.draw_figure(f"{pin} gain", 0.4, 2.5), 0.0))
        self.put_out(self.spoil_by_stores(signal))

    def _move(self, volts: Array) -> None:
        """Move the black level at the outputs, in volts."""
        if "colour" in self.channels and "luminance" not in self.channels:
            self.weaken_feature("hue", 1 - 0.6 * np.abs(np.clip(volts, -1, 1)))
            return
        self.settled.brightness = self.settled.brightness + volts / _GLARING_V
        self.settled.black_v = self.settled.black_v + volts
