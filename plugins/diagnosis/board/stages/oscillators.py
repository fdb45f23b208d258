"""Oscillators on a resonator, on coil and capacitor, on resistor and capacitor; in loops."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..cloud import Seen
from ..resonators import drive_of
from ..signals import Signal, weakest
from .base import Stage

Array = NDArray[Any]

# How far a loop pulls its oscillator, as a share of the frequency, where nothing tells. Common
# practice: line oscillators some 4 %, crystals a few hundred parts in a million.
_PULL_IN: Final = {"crystal": 1.2e-4, "ceramic": 0.012, "coil": 0.03, "resistor": 0.04}
_SLOPE: Final = re.compile(r"[Ee]ach volt moves .*?by (?:about )?([0-9.]+) ?(k?)Hz")
_SETS_CURRENT: Final = re.compile(r"current|charg|timing|hold|resistor", re.IGNORECASE)
_FREE_BELOW: Final = 0.055  # a triggered oscillator runs that much slow without its pulses
_STILL_RINGS: Final = 1e-4  # of the good drive: strays keep a resonator swinging a little
_LINE_HZ: Final = 15.7e3
_WELL_ABOVE: Final = 20.0
_FAR_OFF: Final = 4.0  # times its reach: the loop does not even notice
_HELD_V: Final = 0.06


class Oscillator(Stage):
    """Runs while its loop gain exceeds one, at what its parts set; a loop may pull it in."""

    kind = "oscillator"

    def setup(self) -> None:
        """Find pins, resonator, loop."""
        self.pins_of_it = self._own_pins()
        self.steering = self._steering()
        self.resonator: str | None = None
        self.steering_part: tuple[str, float] | None = None
        self.looked = False
        self.margin = self.boards.each_draw(
            self.draws.log_uniform(f"{self.block.id} margin", 1.8, 6.0)
        )

    def _own_pins(self) -> list[str]:
        ends = tuple(self.pins)
        return self.pins_with("oscillator", among=ends)

    def _steering(self) -> str | None:
        """Return the pin of the loop filter that steers the oscillator."""
        found = self.pins_with("filter", among=self.block.inputs)
        return found[0] if found else None

    def advance(self) -> None:
        """Run, or stop, or run wild; in lock or free."""
        if not self.looked:
            self._look()
        alive = self.health * self.powered() * self.biased()
        level, free = self._free()
        runs = np.clip(level, 0, 1.3) * np.where(alive > 0.3, 1.0, 0.0) * np.clip(alive + 0.3, 0, 1)
        signal = Signal(runs, runs.copy(), free, np.zeros(self.count, dtype=np.uint8))
        if self.style in ("crystal", "ceramic"):
            signal = self._wild(signal, alive)
        signal = self._locked(signal)
        self.settled.out[self.block.id] = signal.seen(Seen.HUM, self.hum() & (runs > 0.05))
        self._show(signal, runs)

    def _look(self) -> None:
        """Find out what sets the frequency."""
        self.looked = True
        paths = self.settled.paths
        found = [self.topology.resonator_near(pin) for pin in self.pins_of_it]
        self.resonator = next((ref for ref in found if ref is not None), None)
        parts = {p.ref: p for p in self.topology.chip.application.parts}
        self.style = "resistor"
        if self.resonator is not None:
            part = parts[self.resonator]
            self.style = "crystal" if part.kind == "crystal" else "ceramic"
            assert part.quantity is not None
            self.nominal_hz = part.quantity.nominal
            near = [p for p, ref in zip(self.pins_of_it, found, strict=True) if ref is not None]
            self.drive = drive_of(paths, self.resonator, near, self.nominal_hz)
            self._near = near
        elif any(
            p.kind == "coil" for pin in self.pins for p in self.topology.parts_at.get(pin, ())
        ):
            self.style = "coil"

    def _free(self) -> tuple[Array, Array]:
        """Return amplitude and deviation when nothing pulls, shape (boards,) each."""
        if self.style in ("crystal", "ceramic"):
            gain = self.margin * self.drive.strength
            over = np.clip((gain - 1) / (self.margin - 1), 0, 1.6)
            self._swing = np.sqrt(over)
            return self._swing * np.clip(self.drive.heard, 0, 1.5), self.drive.pull
        if self.style == "coil":
            return self._on_coil()
        return self._on_current()

    def _on_coil(self) -> tuple[Array, Array]:
        """Return amplitude and deviation of coil and capacitor: f goes with 1 / sqrt(L C)."""
        level, ratio = np.ones(self.count), np.ones(self.count)
        for pin in self.pins:
            tuned, shift = self.settled.resonance(pin)
            level, ratio = level * np.clip(tuned * 2.5, 0, 1), ratio * shift
        return np.where(level > 0.25, level, 0), ratio - 1

    def _on_current(self) -> tuple[Array, Array]:
        """Return amplitude and deviation of a capacitor charged by a current: f goes with I / C.

        The current is that of the pin which sets it, else what the drawn resistors bring.
        """
        rate = np.ones(self.count)
        settled = self.settled
        timing = [p for p in self.pins_of_it if settled.has_source(p)]
        setters = [] if any(map(self._has_resistor, timing)) else self._setters()
        for pin in timing:
            hz = _WELL_ABOVE * self._hz(pin)  # where the capacitor alone counts
            at = self.topology.index[pin]
            lifted = self.boards.is_lifted[:, at]
            capacity = 1 / np.maximum(settled.paths.impedance_share(pin, hz), 1e-3)
            # Without its capacitor only strays are left.
            capacity = np.where(lifted, self.drawn("stray", 0.001, 0.02), capacity)
            rate = rate / np.maximum(capacity, 1e-3)
            current = settled.current_share(pin)
            if not setters:
                rate = rate * np.clip(current, 0, 12)
            elif self._has_leak(pin):
                # What leaks away at the capacitor is missing to charge it.
                rate = rate * np.clip(1 + self._leak(pin), 0, 3)
        for pin in setters[:1]:
            # Never less than nothing: a timing current that turned round stops it.
            rate = rate * np.clip(settled.current_share(pin), 0, 12)
        # Thresholds follow the supply as the current does.
        swing = np.ones(self.count)
        for pin in timing[:1]:
            bias = self.topology.reference_of.get(pin)
            swing = settled.share(bias) if bias is not None else settled.supply_share(pin)
        rate = rate / np.clip(swing, 0.25, 1.5)
        stopped = (rate < 0.08) | (rate > 60)
        for pin in timing:
            settled.release(pin, stopped | (self.health < 0.2))
        level = np.where(stopped, 0.0, 1.0)
        high = np.clip(rate, 0.05, 60)
        # Far above its rate the swing shrinks: discharge takes its time.
        level = level * np.clip(1.4 - 0.15 * np.abs(np.log(high)), 0.3, 1.0)
        return np.where(np.abs(high - 1) < 0.3, np.where(stopped, 0, 1.0), level), high - 1

    def _setters(self) -> list[str]:
        """Return the pins whose current the chip repeats at the capacitor."""
        found = [p for p in self.pins_with("reference", "control") if self.settled.has_source(p)]
        return [p for p in found if _SETS_CURRENT.search(self.topology.pin_at[p].function)]

    def _has_resistor(self, pin: str) -> bool:
        parts = self.topology.parts_at.get(pin, ())
        return any(part.kind in ("resistor", "potentiometer") for part in parts)

    def _has_leak(self, pin: str) -> bool:
        return len(self.topology.shunt_capacitors(pin)) > 0

    def _leak(self, pin: str) -> Array:
        """Return what more flows out of a timing pin, as a share of a usual charging current."""
        number = self.boards.source_number[pin]
        at = self.topology.index[pin]
        flow = (self.boards.emf_v[:, number] - self.boards.volts[:, at]) * self.boards.siemens[
            :, number
        ]
        good = flow[: self.boards.draws][self.boards.draw_of]
        hz = self._hz(pin)
        farad = sum(
            p.quantity.nominal
            for p in self.topology.shunt_capacitors(pin)
            if p.quantity is not None
        )
        expectation = self.topology.expectations.get(pin)
        swing = expectation.waveform.vpp_v if expectation and expectation.waveform else 3.0
        usual = max(hz * farad * swing, 1e-9)
        return -(flow - good) / usual

    def _hz(self, pin: str) -> float:
        expectation = self.topology.expectations.get(pin)
        waveform = expectation.waveform if expectation is not None else None
        return waveform.frequency_hz if waveform is not None and waveform.frequency_hz else _LINE_HZ

    def _wild(self, signal: Signal, alive: Array) -> Signal:
        """Return the signal, running wild on strays where the resonator no longer keeps it going.

        At the pin it then jumps about, far below its frequency; behind the resonator's own series
        capacitor what little swings is on frequency.
        """
        weak = (signal.level < 0.12) & (alive > 0.3)
        lost = self.happens("runs wild", 0.55) & weak
        jumpy = Signal(
            self.drawn("wild level", 0.15, 0.9),
            self.drawn("wild level", 0.15, 0.9),
            self.drawn("wild rate", 0.12, 0.8) - 1,
            np.full(self.count, int(Seen.UNSTABLE), dtype=np.uint8),
        )
        self._show_resonator(lost)
        return jumpy.where(lost, signal)

    def _show_resonator(self, lost: Array) -> None:
        """Let the resonator's leads show its own swing; on frequency also where the pin is lost."""
        zero = np.zeros(self.count, np.uint8)
        rings = np.where(self.drive.strength > _STILL_RINGS, 0.35, 0.0)
        part = next(p for p in self.topology.chip.application.parts if p.ref == self.resonator)
        for name in self._resonator_ends():
            share = self.drive.at_ends[:, part.joins.index(name)]
            alone = Signal(rings * share, rings * share, self.drive.pull, zero)

            def swing(shown: Signal, share: Array = share, alone: Signal = alone) -> Signal:
                level = self._swing * share * np.where(shown.level > 0, 1.0, 0.0)
                running = replace(shown, level=level, colour=level.copy())
                return alone.where(lost, running)

            self.settled.overruled[name] = swing

    def _resonator_ends(self) -> list[str]:
        part = next(p for p in self.topology.chip.application.parts if p.ref == self.resonator)
        ends = [e for e in part.joins if e in self.topology.index and e != "ground"]
        return [e for e in ends if e not in self.topology.pin_at]

    # In a loop

    def _locked(self, signal: Signal) -> Signal:
        detector = self._detector()
        if detector is not None:
            return self._in_loop(signal, detector)
        triggers = self._triggers()
        if triggers:
            return self._triggered(signal, weakest(triggers, self.count))
        return signal

    def _detector(self) -> Stage | None:
        for stage in self.settled.stages:
            if stage.kind == "phase detector" and (
                (self.steering is not None and self.steering in stage.block.outputs)
                or self.block.id in stage.block.outputs
                or self._steered_by_parts(stage)
            ):
                return stage
        return None

    def _steered_by_parts(self, stage: Stage) -> bool:
        """Return whether a resistor leads from a detector's filter into the timing current."""
        for pin in stage.block.outputs:
            for part in self.topology.parts_at.get(pin, ()):
                others = [e for e in part.joins if e in self.pins and e != pin]
                if part.kind == "resistor" and others and part.quantity is not None:
                    self.steering = pin
                    self.steering_part = (others[0], part.quantity.nominal)
                    return True
        return False

    def _triggers(self) -> list[Signal]:
        found = []
        for end in self.block.inputs:
            signal = self.settled.signal_into(end)
            if signal is not None and end not in self.pins_of_it:
                found.append(signal)
        return found

    def _triggered(self, signal: Signal, trigger: Signal) -> Signal:
        """Return the oscillator pulled by pulses: in step while slow enough, and not too slow."""
        slow = (
            self.boards.each_draw(self.draws.uniform(f"{self.block.id}: free", 0.75, 1.25))
            * self._free_below()
        )
        free = (1 + signal.detune) * (1 - slow) - 1
        reach = self.drawn("trigger reach", 0.12, 0.25)
        held = (free < 0.004) & (free > -reach) & (trigger.level > 0.35)
        held &= (trigger.words & Seen.UNSTABLE) == 0
        runs = signal.level > 0.05
        if "field" in self.channels:
            self.feature("field lock", np.where(held | ~runs, 1.0, 0.0))
        detune = np.where(held, trigger.detune, free)
        shaken = (trigger.words & Seen.UNSTABLE) > 0
        return replace(signal, detune=detune).seen(Seen.UNSTABLE, shaken & runs)

    def _free_below(self) -> float:
        for pin in self.pins_of_it:
            mine = self.topology.expectations.get(pin)
            here = mine.waveform.frequency_hz if mine and mine.waveform else 0.0
            for other in self.topology.pin_at[pin].expectations:
                hz = other.waveform.frequency_hz if other.waveform else 0.0
                if here and hz and hz < 0.995 * here:
                    return 1 - hz / here
        return _FREE_BELOW

    def _in_loop(self, signal: Signal, detector: Stage) -> Signal:
        """Return the oscillator in step where its loop holds it, else free or hunting."""
        reference = self.settled.out.get(detector.block.id, self.good())
        reach = self._reach()
        up = self._direction()
        free = signal.detune
        asked = np.clip(-free / reach, -1.0, 1.0)  # of the loop's half range
        self._far_off = (np.abs(free) > _FAR_OFF * reach) | (signal.level < 0.05)
        turned = asked
        drawn = self.steering_part is not None
        if not drawn and self.steering is not None and self.settled.has_source(self.steering):
            turned = self._steer(asked, up, reference)
        left = free + turned * reach
        if self.steering_part is not None:
            # What the drawn resistor brings is in the timing current already.
            left, reach = free, self._steer_by_parts(free, reference)
            free = np.where(np.abs(self._asked) > 1, 1.01 * reach, 0.0)
        has_reference = (reference.level > 0.3) & (signal.level > 0.05)
        steady = (reference.words & Seen.UNSTABLE) == 0
        pulled = (np.abs(left - reference.detune) < 0.12 * reach) & (np.abs(free) < reach)
        locked = has_reference & pulled & steady
        if self.steering is not None:
            cut = self.boards.is_lifted[:, self.topology.index[self.steering]]
            if drawn:
                # The filter no longer reaches the timing current: free, as the preset is set.
                way = np.where(self.happens("preset", 0.5), 1.0, -1.0)
                left = np.where(cut, left + way * reach * self.drawn("preset off", 0.03, 0.5), left)
                locked &= ~cut
            else:
                # The detector steers without its filter.
                signal = signal.seen(Seen.UNSTABLE, cut & self.happens("jitters", 0.6))
        off = np.where(locked, reference.detune, left)
        hunting = has_reference & ~locked & (np.abs(free) < 2.5 * reach)
        self._tell_lock(locked, signal.level > 0.05)
        loose = np.zeros(self.count, dtype=bool)
        if self.steering is not None:
            loose = self.settled.looseness(self.steering) > 5
        shaken = (
            hunting | (locked & loose & self.happens("jitters", 0.6)) | (has_reference & ~steady)
        )
        return replace(signal, detune=off).seen(Seen.UNSTABLE, shaken & (signal.level > 0.05))

    def _steer(self, asked: Array, up: Array, reference: Signal) -> Array:
        """Let the filter's voltage go where the loop wants it; return where it is, -1 to 1."""
        assert self.steering is not None
        good, half = self.settled.good_volts(self.steering), self._half_range_v()
        has_reference = reference.level > 0.3
        rest = self._rest_v(good, half)
        # Beyond its reach it stays at an end, or the beat averages out to nearly nothing; far off,
        # or without a reference, nothing drives it.
        beyond = np.abs(asked) >= 1
        averaged = beyond & self.happens("beat averages out", 0.5)
        drive = np.where(averaged, asked * self.drawn("beat", 0.0, 0.4), asked)
        driven = has_reference & ~self._far_off
        wanted = np.where(driven, good + up * half * drive, rest)
        self.settled.steer(self.steering, wanted)
        turned = np.clip(up * (self.settled.volts(self.steering) - good) / half, -1.6, 1.6)
        near = np.abs(turned - asked) * half < np.maximum(_HELD_V, 0.08 * half)
        return np.where(near & driven, asked, turned)

    def _steer_by_parts(self, free: Array, reference: Signal) -> Array:
        """Steer through a drawn resistor; return how far the filter's range reaches."""
        assert self.steering is not None
        assert self.steering_part is not None
        setter, ohm = self.steering_part
        number = self.boards.source_number[setter]
        source = self.boards.good.sources[number]
        volts = self.settled.volts(setter)[: self.boards.draws]
        current = (source.emf_v - volts) * source.siemens
        slope = self.boards.each_draw(-1 / (ohm * np.where(current == 0, 1e-6, current)))
        good, half = self.settled.good_volts(self.steering), self._half_range_v()
        now = self.boards.volts[:, self.topology.index[self.steering]]
        needed = now - free / slope
        self._asked = (needed - good) / half
        wanted = np.where(
            reference.level > 0.3,
            good + half * np.clip(self._asked, -1, 1),
            self._rest_v(good, half),
        )
        self.settled.steer(self.steering, wanted)
        return np.abs(slope) * half

    def _rest_v(self, good: Array, half: Array) -> Array:
        """Return where the filter lies without a reference: as told, else by the hold preset."""
        assert self.steering is not None
        idle = self.idle_v(self.steering)
        if idle is not None and np.abs(idle - good).max() > 0.02:
            return idle
        way = np.where(self.happens("preset", 0.5), 1.0, -1.0)
        return np.asarray(good + way * half * self.drawn("preset off", 0.03, 0.5))

    def _half_range_v(self) -> Array:
        assert self.steering is not None
        expectation = self.topology.expectations.get(self.steering)
        waveform = expectation.waveform if expectation is not None else None
        low, high = getattr(waveform, "low", None), getattr(waveform, "high", None)
        if low is not None and high is not None:
            return np.full(self.count, max((high.nominal - low.nominal) / 2, 0.1))
        return 0.25 * np.maximum(np.abs(self.settled.good_volts(self.steering)), 1.0)

    def _direction(self) -> Array:
        """Return 1 where a higher filter voltage means a higher frequency, else -1."""
        told = " ".join(
            part.purpose or "" for part in self.topology.parts_at.get(self.steering or "", ())
        )
        if re.search(r"higher .*slows", told):
            return np.full(self.count, -1.0)
        return np.where(self.happens("rises with its filter", 0.5), 1.0, -1.0)

    def _reach(self) -> Array:
        """Return how far the loop pulls, as a share of the frequency."""
        if self.block.lock_range is not None:
            base_hz = self.nominal_hz if self.resonator is not None else self._rate_hz()
            return np.full(self.count, self.block.lock_range.nominal / base_hz)
        pull_in = self.topology.chip.application.pull_in
        if pull_in is not None and self.style == "crystal":
            return np.full(self.count, pull_in.nominal / self.nominal_hz)
        if self.steering is not None:
            expectation = self.topology.expectations.get(self.steering)
            match = _SLOPE.search(expectation.note or "") if expectation is not None else None
            if match is not None:
                hz = float(match[1]) * (1e3 if match[2] else 1.0)
                base = self.nominal_hz if self.resonator is not None else _LINE_HZ
                return hz * self._half_range_v() / base
        spread = self.drawn("pull-in", 0.7, 1.4)
        return _PULL_IN[self.style] * spread

    def _rate_hz(self) -> float:
        """Return the rate at the oscillator's own pins, else line rate."""
        rates = [self._hz(pin) for pin in self.pins_of_it]
        return rates[0] if rates else _LINE_HZ

    def _tell_lock(self, locked: Array, runs: Array) -> None:
        if "colour" in self.channels:
            self.feature("colour lock", np.where(locked, 1.0, 0.0))
        elif "line" in self.channels:
            self.feature("line lock", np.where(locked | ~runs, 1.0, 0.0))

    def _show(self, signal: Signal, runs: Array) -> None:
        """Send the signal at the oscillator's pins and outputs."""
        for pin in dict.fromkeys((*self.pins_of_it, *self.block.outputs)):
            if pin in self.topology.pin_at and self.topology.pin_at[pin].role != "input":
                lifted = self.boards.is_lifted[:, self.topology.index[pin]]
                gone = replace(signal, level=0 * runs, colour=0 * runs)
                self.settled.sent[pin] = gone.where(lifted, signal)
                if pin not in self.pins_of_it:
                    self.rest(pin, np.clip(signal.level, 0, 1))
