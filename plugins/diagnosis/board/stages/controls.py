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
_COLOUR_OVERDRIVEN: Final = 1.6
_LIMITER_SLOPE_V: Final = (0.8, 2.5)  # from no limiting to all of it
_LIMITER_LEAST_GAIN: Final = (0.0, 0.12)
_LEAST_SPAN_V: Final = 0.1  # from closed to good, at a control
_LEAST_STORE_SPAN_V: Final = 0.2  # from good to most gain, at a store
_HELD: Final = 0.12  # of the gain's range: a store as near to its goal reaches it
_LOOSE_STORE: Final = 4.0  # times the good ripple
_FULL_GAIN: Final = 0.98  # of the range
_SNOW_ABOVE: Final = (0.6, 0.98)  # of the range
_LOST_KEY: Final = 0.4  # of the good key pulse
_DRIFT_V: Final = (0.3, 2.0)
_STORE_GAIN: Final = (0.4, 2.5)  # volts of black level per volt at the store


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
        is_overdriven = (signal.level > _OVERDRIVEN) | (signal.colour > _COLOUR_OVERDRIVEN)
        signal = replace(
            signal,
            level=np.clip(signal.level, 0, _MOST_TIMES),
            colour=np.clip(signal.colour, 0, _MOST_TIMES),
        )
        return signal.add_seen(Seen.DISTORTED, is_overdriven)

    def list_controls(self) -> list[str]:
        """Return the pins whose voltage sets the gain."""
        carrying = set(self.list_inputs())
        return [pin for pin in self.list_pins("control") if pin not in carrying]

    def _apply_control(self, signal: Signal, pin: str) -> Signal:
        """Return the signal as one control leaves it; brightness and hue set features alone."""
        function = self.topology.pin_at[pin].function.casefold()
        volts, good_v = self.settled.read_volts(pin), self.settled.read_good_volts(pin)
        if re.search(r"bright", function):
            # Brightness moves the black level and leaves the height of the picture.
            self._brighten(volts - good_v, good_v)
            return signal
        if re.search(r"\btint|hue|phase", function):
            turned = np.abs(volts - good_v) / (0.35 * good_v + 0.3)
            self.weaken_feature("hue", np.clip(1.25 - turned, 0, 1))
            return signal
        gain = self._compute_gain(pin, volts, good_v)
        carries_luminance = "luminance" in self.channels or "vision" in self.channels
        if carries_luminance and re.search(r"colou?r|saturation", function):
            # A colour control beside luminance sets the colour alone.
            return replace(signal, colour=signal.colour * gain)
        return signal.amplify(gain)

    def _compute_gain(self, pin: str, volts: Array, good_v: Array) -> Array:
        """Return the gain at a control voltage, relative to the gain of the good stage."""
        threshold = self.find_threshold(pin)
        side, limit_v = threshold if threshold is not None else ("", 0.0)
        function = self.topology.pin_at[pin].function.casefold()
        if side == "above" and "mut" in function:
            return np.where(volts > limit_v, 0.0, 1.0)
        if threshold is not None and "drawn back" in function:
            # A limiter: nothing above its threshold, less and less below.
            slope_v = self.draw_figure(f"{pin} slope", *_LIMITER_SLOPE_V)
            least_gain = self.draw_figure(f"{pin} rest", *_LIMITER_LEAST_GAIN)
            return np.clip(1 - (limit_v - volts) / slope_v, least_gain, 1.0)
        # Nothing passes at the stated threshold, else at a usual share of the good voltage.
        closed_v = np.full(self.count, limit_v) if side == "below" else _CONTROL_DEAD * good_v
        span_v = good_v - closed_v
        span_v = np.where(np.abs(span_v) < _LEAST_SPAN_V, _LEAST_SPAN_V, span_v)
        return np.clip((volts - closed_v) / span_v, 0.0, _MOST_TIMES)

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
        """Find the store, preferably one named AGC or ACC, and draw the range of the gain."""
        stores = self.list_pins("filter", "control")
        named = [p for p in stores if re.search(r"a[gc]c", self._read_words(p), re.IGNORECASE)]
        self.store: str | None = next(iter(named or stores), None)
        is_if = bool(_IF.search(f"{self.block.name} {self.block.id}"))
        reach = _IF_REACH if is_if else _REACH
        self.reach = self.boards.spread_draws(
            self.draws.draw_log_uniform(f"{self.block.id} reach", *reach)
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
            # No store to read: an ideal control, that holds its output within its reach.
            self.put_out(signal.limit(self.reach).amplify(alive))
            return
        sensed_share = self._compute_sensed_share()
        demand = self._compute_demand(signal.level * sensed_share * np.maximum(alive, 1e-3))
        gain = self._steer_store(demand)
        amplified = signal.amplify(gain * alive)
        # What the loop holds is what its detector sees: losses on the way there are made up for.
        seen_share = np.clip(sensed_share, 0.02, 1)
        is_overdriven = amplified.level * seen_share > _OVERDRIVEN
        most_level = self.draw_figure("most", 1.2, _MOST_TIMES) / seen_share
        # Near full gain the stage's own noise comes up: snow, and hiss.
        has_full_gain = demand > _FULL_GAIN
        noise = np.where(has_full_gain, np.clip(gain / self.reach, 0, 1) * alive, 0.0)
        clipped = replace(
            amplified,
            level=np.clip(amplified.level, 0, most_level),
            colour=np.clip(amplified.colour, 0, most_level),
            noise=noise,
        )
        # A store without its capacitor lets the loop hunt, or follow the picture itself.
        is_loose = self.settled.compute_looseness(self.store) > _LOOSE_STORE
        clipped = clipped.add_seen(Seen.UNSTABLE, is_loose & self.draw_event("hunts", 0.5))
        clipped = clipped.add_seen(Seen.DISTORTED, is_overdriven | is_loose)
        snows = demand > self.draw_figure("snow above", *_SNOW_ABOVE)
        self.put_out(self.spoil_by_stores(clipped.add_seen(Seen.NOISE, snows)))

    def _compute_demand(self, sensed_level: Array) -> Array:
        """Return the gain that the loop asks for: 0 as in the good set, 1 all of its range."""
        level = np.clip(sensed_level, 1e-3, 5)
        return np.asarray(np.clip(-np.log(level) / np.log(self.reach), -0.6, 1.0))

    def _steer_store(self, demand: Array) -> Array:
        """Move the store towards the gain in demand; return the gain that its voltage gives."""
        assert self.store is not None
        good_v, most_gain_v = self.settled.read_good_volts(self.store), self._find_most_gain_v()
        self.settled.steer(self.store, good_v + (most_gain_v - good_v) * demand)
        span_v = most_gain_v - good_v
        span_v = np.where(np.abs(span_v) < _LEAST_STORE_SPAN_V, _LEAST_STORE_SPAN_V, span_v)
        reached = (self.settled.read_volts(self.store) - good_v) / span_v
        # A store that is nearly where the loop wants it gets there in the end.
        is_held = np.abs(reached - demand) < _HELD
        reached = np.clip(np.where(is_held, demand, reached), -1.2, 1.05)
        return np.asarray(np.exp(np.log(self.reach) * reached))

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
            # Without its key the clamp shuts the picture off, or lets its black level drift.
            is_lost = key.level < _LOST_KEY
            is_shut = is_lost & self.draw_event("shut without keys", 0.35)
            signal = make_no_signal(self.count).choose_where(is_shut, signal)
            self.settled.blanked |= is_shut
            signal = signal.add_seen(Seen.UNSTABLE, is_lost & self.draw_event("drifts", 0.6))
            direction = np.where(self.draw_event("dark", 0.6), -1.0, 1.0)
            drift_v = direction * self.draw_figure("drift", *_DRIFT_V)
            self._move(np.where(is_lost, drift_v, 0.0))
        for pin in self.list_stores():
            # The output's black level follows the store, mostly the same way.
            direction = np.where(self.draw_event(f"{pin} way", 0.7), 1.0, -1.0)
            moved_v = self.settled.read_volts(pin) - self.settled.read_good_volts(pin)
            is_far = np.abs(self.settled.compute_share(pin) - 1) > 0.3 * _STORE_OFF
            black_v = direction * moved_v * self.draw_figure(f"{pin} gain", *_STORE_GAIN)
            self._move(np.where(is_far, black_v, 0.0))
        self.put_out(self.spoil_by_stores(signal))

    def _move(self, volts: Array) -> None:
        """Move the black level at the outputs, in volts."""
        if "colour" in self.channels and "luminance" not in self.channels:
            self.weaken_feature("hue", 1 - 0.6 * np.abs(np.clip(volts, -1, 1)))
            return
        self.settled.brightness = self.settled.brightness + volts / _GLARING_V
        self.settled.black_v = self.settled.black_v + volts
