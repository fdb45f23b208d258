"""Stages that make signals larger, or let a voltage say how large."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..cloud import Seen
from ..signals import Signal, good_signal, no_signal
from .base import Stage

Array = NDArray[Any]

_STORE_OFF: Final = 0.12  # of its voltage: a store that lies farther off shows
_GLARING_V: Final = 1.5  # of black level moved: glaring, or dark
_MOST_TIMES: Final = 1.8
_OVERDRIVEN: Final = 1.35
_CONTROL_DEAD: Final = 0.3  # of a control's good voltage: where nothing is let through
_SWITCHED_BY: Final = ("threshold detector", "protection")


class Amplifier(Stage):
    """Hands its weakest input on, as far as it lives; a store that is off distorts it."""

    kind = "amplifier"

    def advance(self) -> None:
        """Put out the input."""
        self.put_out(self.steadied(self.main().times(self.vitality() * self.gated())))

    def gated(self) -> Array:
        """Return 0 where a detector that switches the stage has switched it off."""
        on = np.ones(self.count)
        stages = {stage.block.id: stage for stage in self.settled.stages}
        for end in (*self.block.inputs, *self.block.needs):
            for stage in stages.values():
                drives = end in stage.block.outputs or end == stage.block.id
                if drives and stage.kind in _SWITCHED_BY and stage.block.id in self.settled.out:
                    on = np.minimum(on, self.settled.out[stage.block.id].level)
        return on

    def main_inputs(self) -> dict[str, Signal]:
        """Return the inputs to work on, without what only switches."""
        switching = [s.block.id for s in self.settled.stages if s.kind in _SWITCHED_BY]
        return {end: s for end, s in super().main_inputs().items() if end not in switching}

    def stores(self) -> list[str]:
        """Return the pins at which the stage keeps a voltage in a capacitor."""
        filled = {end for block in self.topology.chip.blocks for end in block.outputs}
        return [p for p in self.pins_with("filter", "decoupling") if p not in filled]

    def steadied(self, signal: Signal) -> Signal:
        """Return the signal with what stores that are off, or no longer steady, do to it."""
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
    from ..signals import weakest

    return weakest(list(signals.values()), boards)


class Switch(Amplifier):
    """Lets through what comes in at the input that is live in this condition."""

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


class ControlledAmplifier(Amplifier):
    """An amplifier whose gain voltages set: contrast, colour, volume."""

    kind = "controlled amplifier"

    def advance(self) -> None:
        """Put out the input at the gain that the control voltages ask for."""
        self.put_out(self.steadied(self.controlled()))

    def controlled(self) -> Signal:
        """Return the input at the gain that the control voltages ask for."""
        signal = self.main().times(self.vitality() * self.gated())
        for pin in self.controls():
            signal = self._under(signal, pin)
        over = (signal.level > _OVERDRIVEN) | (signal.colour > 1.6)
        signal = replace(
            signal,
            level=np.clip(signal.level, 0, _MOST_TIMES),
            colour=np.clip(signal.colour, 0, _MOST_TIMES),
        )
        return signal.seen(Seen.DISTORTED, over)

    def controls(self) -> list[str]:
        """Return the pins whose voltage sets the gain."""
        carrying = set(self.inputs())
        return [pin for pin in self.pins_with("control") if pin not in carrying]

    def _under(self, signal: Signal, pin: str) -> Signal:
        function = self.topology.pin_at[pin].function.casefold()
        volts, good = self.settled.volts(pin), self.settled.good_volts(pin)
        if re.search(r"bright", function):
            self._brighten(volts - good, good)
            return signal
        if re.search(r"\btint|hue|phase", function):
            self.feature("hue", np.clip(1.25 - np.abs(volts - good) / (0.35 * good + 0.3), 0, 1))
            return signal
        gain = self._gain(pin, volts, good)
        if re.search(r"colou?r|saturation", function):
            if "luminance" in self.channels or "vision" in self.channels:
                return replace(signal, colour=signal.colour * gain)
        return signal.times(gain)

    def _gain(self, pin: str, volts: Array, good: Array) -> Array:
        """Return the gain beside the good one, for a control voltage."""
        limit = self.threshold_of(pin)
        function = self.topology.pin_at[pin].function.casefold()
        if limit is not None and limit[0] == "above" and "mut" in function:
            return np.where(volts > limit[1], 0.0, 1.0)
        if limit is not None and "drawn back" in function:
            # A limiter: nothing above its threshold, less and less below.
            slope = self.drawn(f"{pin} slope", 0.8, 2.5)
            return np.clip(1 - (limit[1] - volts) / slope, 0.0, 1.0)
        dead = _CONTROL_DEAD * good
        if limit is not None and limit[0] == "below":
            dead = np.full(self.count, limit[1])
        span = np.where(np.abs(good - dead) < 0.1, 0.1, good - dead)
        return np.clip((volts - dead) / span, 0.0, _MOST_TIMES)

    def _brighten(self, moved_v: Array, good: Array) -> None:
        self.settled.black_v = self.settled.black_v + moved_v * self.drawn("brightness", 0.25, 0.8)
        span = np.maximum(0.5 * np.abs(good), 0.5)
        self.settled.brightness = self.settled.brightness + moved_v / span


class GainControlledAmplifier(Amplifier):
    """Holds its output until its range is used up; the store's voltage tells how far it is."""

    kind = "gain-controlled amplifier"

    def setup(self) -> None:
        """Find the store and draw the range."""
        stores = self.pins_with("filter", "control")
        told = [p for p in stores if re.search(r"a[gc]c", self._words(p), re.IGNORECASE)]
        self.store = (told or stores or [None])[0]
        self.reach = self.boards.each_draw(
            self.draws.log_uniform(f"{self.block.id} reach", 3.0, 15.0)
        )

    def _words(self, pin: str) -> str:
        return f"{self.topology.pin_at[pin].symbol} {self.topology.pin_at[pin].function}"

    def stores(self) -> list[str]:
        """Return the stores besides that of the gain."""
        return [pin for pin in super().stores() if pin != self.store]

    def main_inputs(self) -> dict[str, Signal]:
        """Return the signals to amplify."""
        return {end: s for end, s in super().main_inputs().items() if end != self.store}

    def advance(self) -> None:
        """Put out the input at the gain that the store's voltage gives."""
        signal = self.main()
        alive = self.vitality()
        if self.store is None or not self.settled.has_source(self.store):
            self.put_out(signal.held(self.reach).times(alive))
            return
        good, most = self.settled.good_volts(self.store), self._most_gain_v()
        sensed = np.clip(signal.level * self._sensed() * np.maximum(alive, 1e-3), 1e-3, 5)
        asked = np.clip(-np.log(sensed) / np.log(self.reach), -0.6, 1.0)
        wanted = good + (most - good) * asked
        self.settled.steer(self.store, wanted)
        span = np.where(np.abs(most - good) < 0.2, 0.2, most - good)
        turned = (self.settled.volts(self.store) - good) / span
        held = np.abs(turned - asked) < 0.12
        gain = np.exp(np.log(self.reach) * np.clip(np.where(held, asked, turned), -1.2, 1.05))
        whole = signal.times(gain * alive)
        # What the loop holds is what its detector sees: losses on the way there are made up for.
        seen = np.clip(self._sensed(), 0.02, 1)
        over = whole.level * seen > _OVERDRIVEN
        most = self.drawn("most", 1.2, _MOST_TIMES) / seen
        clipped = replace(
            whole,
            level=np.clip(whole.level, 0, most),
            colour=np.clip(whole.colour, 0, most),
        )
        loose = self.settled.looseness(self.store) > 4
        unstable = loose & self.happens("hunts", 0.5)
        clipped = clipped.seen(Seen.UNSTABLE, unstable).seen(Seen.DISTORTED, over | loose)
        self.put_out(self.steadied(clipped.seen(Seen.NOISE, asked > 0.98)))

    def _most_gain_v(self) -> Array:
        """Return the store's voltage at which the gain is greatest."""
        assert self.store is not None
        if self.store in self.topology.quiet_dc_v:
            return np.full(self.count, self.topology.quiet_dc_v[self.store])
        good = self.settled.good_volts(self.store)
        function = self.topology.pin_at[self.store].function
        falls = re.search(r"falls as", function)
        rises = re.search(r"rises as", function)
        up = np.full(self.count, bool(falls)) if falls or rises else self.happens("up", 0.5)
        return good * np.where(up, 1.35, 0.6)

    def _sensed(self) -> Array:
        """Return how much of the output the detector that fills the store still sees."""
        for stage in self.settled.stages:
            if stage.kind == "level detector" and self.store in stage.block.outputs:
                own = self.settled.out.get(self.block.id) or good_signal(self.count)
                seen = self.settled.out.get(stage.block.id) or good_signal(self.count)
                return np.where(own.level > 0.02, seen.level / np.maximum(own.level, 0.02), 0.0)
        return np.ones(self.count)


class Clamp(ControlledAmplifier):
    """Sets the black level by a store; without its key pulse the level drifts."""

    kind = "clamp"

    def advance(self) -> None:
        """Put out the input; a store or key that is off moves its brightness."""
        signal = self.controlled()
        for key in self.keys().values():
            lost = key.level < 0.4
            shut = lost & self.happens("shut without keys", 0.35)
            signal = no_signal(self.count).where(shut, signal)
            signal = signal.seen(Seen.UNSTABLE, lost & self.happens("drifts", 0.6))
            way = np.where(self.happens("dark", 0.6), -1.0, 1.0)
            self._move(np.where(lost, way * self.drawn("drift", 0.3, 2.0), 0.0))
        for pin in self.stores():
            # The output's black level follows the store, mostly the same way.
            way = np.where(self.happens(f"{pin} way", 0.7), 1.0, -1.0)
            moved = self.settled.volts(pin) - self.settled.good_volts(pin)
            far = np.abs(self.settled.share(pin) - 1) > 0.3 * _STORE_OFF
            self._move(np.where(far, way * moved * self.drawn(f"{pin} gain", 0.4, 2.5), 0.0))
        self.put_out(self.steadied(signal))

    def _move(self, volts: Array) -> None:
        """Move the black level at the outputs, in volts."""
        if "colour" in self.channels and "luminance" not in self.channels:
            self.feature("hue", 1 - 0.6 * np.abs(np.clip(volts, -1, 1)))
            return
        self.settled.brightness = self.settled.brightness + volts / _GLARING_V
        self.settled.black_v = self.settled.black_v + volts


class OutputStage(Amplifier):
    """Drives pins; with a feedback pin its gain and its mean are set by the drawn parts."""

    kind = "output stage"

    def setup(self) -> None:
        """Find the feedback pin and the pin that is driven."""
        names = [p for p in self.pins if self._is_feedback(p)]
        self.feedback = names[0] if names else None
        self.driven = self._driven()
        self._before: tuple[Array, Array] | None = None

    def _is_feedback(self, pin: str) -> bool:
        found = self.topology.pin_at[pin]
        return found.role == "input" and bool(
            re.search(r"feedback|inverting", found.function, re.IGNORECASE)
        )

    def _driven(self) -> str | None:
        """Return the first pin that this stage drives, itself or through the next one."""
        blocks = {block.id: block for block in self.topology.chip.blocks}
        ends = list(self.block.outputs)
        for _ in range(3):
            pins = [e for e in ends if e in self.topology.pin_at]
            if pins:
                return pins[0]
            ends = [out for end in ends if end in blocks for out in blocks[end].outputs]
        return None

    def main_inputs(self) -> dict[str, Signal]:
        """Return what drives the stage, without its feedback."""
        return {end: s for end, s in super().main_inputs().items() if end != self.feedback}

    def advance(self) -> None:
        """Put out the input at the gain that the feedback leaves."""
        signal = self.main().times(self.vitality() * self.gated())
        signal = self._above_black(self._blanked(signal))
        if self.feedback is not None and self.driven is not None:
            signal = self._fed_back(signal)
        self._lift_flyback()
        self.put_out(self.steadied(signal))

    def _lift_flyback(self) -> None:
        """Take what the pump brings off the flyback at the pin when the pump does not work."""
        pumped = [p for p in self.pins_with("supply") if self.topology.is_pulsed(p)]
        for pin in [p for p in self.block.outputs if p in self.topology.expectations]:
            waveform = self.topology.expectations[pin].waveform
            if not pumped or waveform is None:
                continue
            nominal = self.topology.nominal_v(pumped[0])
            beyond = np.clip(1 - nominal / max(waveform.extremes_v[1], 1e-3), 0, 0.6)
            lift = self.settled.board_signal(pumped[0])
            left = np.clip(lift.level, 0, 1) if lift is not None else np.ones(self.count)
            self.feature("field shape", np.clip(0.2 + left, 0, 1))

            def lifted(shown: Signal, share: Array = 1 - beyond * (1 - left)) -> Signal:
                return shown.times(share)

            self.settled.overruled[pin] = lifted

    def rest(self, pin: str, presence: Array) -> None:
        """Set the pin's mean: where feedback wants it, moved by brightness, or idle."""
        if pin in self.settled.servoed:
            return
        idle = self.idle_v(pin)
        good = self.settled.good_volts(pin)
        target = good if idle is None else idle + (good - idle) * presence
        if self._is_picture(pin):
            dark = good * self.drawn("blanking level", 0.05, 0.6)
            supply = self.topology.supply_of.get(pin)
            top = self.settled.volts(supply) if supply is not None else 2 * good
            lit = np.minimum(target + self.settled.black_v, self.drawn("highest", 0.7, 0.9) * top)
            target = np.where(self.settled.blanked, dark, lit)
            target = np.maximum(target, np.minimum(self.drawn("lowest", 0.05, 0.6), good))
            if idle is None:
                self.settled.steer(pin, target)
                return
        if idle is not None and not self.topology.is_open_collector(pin):
            self.settled.steer(pin, target)
        else:
            super().rest(pin, presence)

    def _is_picture(self, pin: str) -> bool:
        return bool(
            re.search(r"\b(red|green|blue|luminance|video)\b", self.topology.pin_at[pin].function)
        )

    def _blanked(self, signal: Signal) -> Signal:
        """Return the signal; without keys outputs are not blanked, or blanked for good."""
        for end, key in self.keys().items():
            if "guard" in end:
                continue
            lost = key.level < 0.3
            for_good = lost & self.happens("blanked without keys", 0.5)
            self.settled.blanked |= for_good
            signal = no_signal(self.count).where(for_good, signal)
            signal = signal.seen(Seen.DISTORTED, lost)
        return signal

    def _above_black(self, signal: Signal) -> Signal:
        """Return the picture as far as its black level leaves it above cut-off."""
        pictures = [p for p in self.pins_with("output") if self._is_picture(p)]
        if not pictures or self.settled.brightness.min() > -0.1:
            return signal
        good = self.settled.good_volts(pictures[0])
        left = np.clip(1.4 + self.settled.black_v / np.maximum(0.5 * good, 0.3), 0, 1)
        return signal.times(left)

    def _fed_back(self, signal: Signal) -> Signal:
        assert self.feedback is not None
        assert self.driven is not None
        path = self.settled.paths.at.get(self.feedback)
        if path is not None and path.source == self.driven:
            lifted = self.boards.is_lifted[:, self.topology.index[self.feedback]]
            share = np.where(lifted, 0.0, path.share)
            signal = signal.times(1 / np.maximum(share, 0.12))
        self._servo_mean(signal)
        return self._within_swing(signal)

    def powered(self) -> Array:
        """Return how far its supplies suffice, the bootstrap among them."""
        alive = super().powered()
        for pin in self._bootstraps():
            alive = np.minimum(alive, np.clip((self.settled.share(pin) - 0.3) / 0.4, 0, 1))
        return alive

    def _bootstraps(self) -> list[str]:
        pins = self.pins_with("input", "supply", "decoupling", among=self.block.needs)
        return [p for p in pins if "bootstrap" in self.topology.pin_at[p].function.casefold()]

    def _within_swing(self, signal: Signal) -> Signal:
        """Return the signal with its tops cut where it would leave the supplies."""
        most = self.drawn("headroom", 1.15, 1.6) * self._room()
        for pin in self._bootstraps():
            lifts = self.settled.signal_into(pin)
            if lifts is not None:
                flat = lifts.level < 0.4 * np.maximum(signal.level, 0.05)
                most = most * np.where(flat, self.drawn("without bootstrap", 0.45, 0.85), 1.0)
        supplies = self.pins_with("supply")
        if supplies:
            most = most * np.clip(self.settled.share(supplies[0]), 0.05, 1.3)
        cut = signal.level > most
        shorter = replace(
            signal, level=np.minimum(signal.level, most), colour=np.minimum(signal.colour, most)
        )
        return shorter.seen(Seen.DISTORTED, cut).seen(Seen.CLIPPED, cut)

    def _room(self) -> Array:
        """Return how far the mean has left the middle: the room to swing beside the good board's."""
        assert self.driven is not None
        supply = self.topology.supply_of.get(self.driven)
        if supply is None:
            return np.ones(self.count)
        top = self.settled.volts(supply)
        mean, good = self.settled.volts(self.driven), self.settled.good_volts(self.driven)
        room = np.minimum(mean, top - mean)
        good_room = np.minimum(good, self.settled.good_volts(supply) - good)
        return np.clip(room / np.maximum(good_room, 0.2), 0.02, 1.0)

    def _servo_mean(self, signal: Signal) -> None:
        """Move the output's mean until the feedback pin lies where its reference wants it."""
        assert self.feedback is not None
        assert self.driven is not None
        settled = self.settled
        follows = np.ones(self.count)
        for pin in self.pins_with("reference", "decoupling", "filter"):
            if pin not in self.block.outputs:
                follows = np.clip(settled.share(pin), 0, 1.6)
        wanted = settled.good_volts(self.feedback) * follows
        now, inside = settled.volts(self.feedback), settled.emf(self.driven)
        slope = self._good_slope()
        if self._before is not None:
            moved = inside - self._before[1]
            usable = np.abs(moved) > 0.02
            measured = (now - self._before[0]) / np.where(usable, moved, 1.0)
            slope = np.where(usable, measured, slope)
        # Where the output no longer reaches the feedback pin it drifts to one end.
        lost = np.abs(slope) < 0.1 * np.abs(self._good_slope())
        end = np.where(self.happens("which end", 0.5), 60.0, -60.0)
        off = wanted - now
        step = np.where(lost, end, off / np.where(lost, 1.0, slope))
        step = np.where(np.abs(off) < 0.01 * np.abs(wanted) + 0.01, 0.0, step)
        step = np.where(lost & (np.abs(off) < 0.05 * np.abs(wanted)), 0.0, step)
        alive = self.vitality() > 0.3
        self._before = (now, inside)
        settled.servoed.add(self.driven)
        settled.absolute.add(self.driven)
        settled.aim(self.driven, np.where(alive, inside + step, self._dead_emf(self.driven)))

    def _good_slope(self) -> Array:
        """Return how far the feedback pin follows the output on good boards."""
        assert self.feedback is not None
        assert self.driven is not None
        boards = self.boards
        to, at = self.topology.index[self.feedback], self.topology.index[self.driven]
        number = boards.source_number.get(self.driven)
        if number is None:
            return np.ones(self.count)
        slope = boards.impedance.matrix[:, to, at] * boards.good.sources[number].siemens
        return np.where(np.abs(slope) < 1e-3, 1e-3, slope)[boards.draw_of]
