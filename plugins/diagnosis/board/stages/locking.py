"""Oscillators kept in step: by a loop with a phase detector and a filter, or by trigger pulses."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..cloud import Seen
from ..signals import Signal, find_weakest
from .base import Stage
from .charging import LINE_HZ, ChargingStage

Array = NDArray[Any]

# How far a loop pulls its oscillator, as a share of the frequency, where nothing tells. Common
# practice: line oscillators some 4 %, crystals a few hundred parts in a million.
_PULL_IN: Final = {"crystal": 1.2e-4, "ceramic": 0.012, "coil": 0.03, "resistor": 0.04}
_SLOPE: Final = re.compile(r"[Ee]ach volt moves .*?by (?:about )?([0-9.]+) ?(k?)Hz")
_NAMED_RATE: Final = re.compile(r"([0-9.]+) ?([kM]?)Hz")
_PREFIX: Final = {"": 1.0, "k": 1e3, "M": 1e6}
_FREE_BELOW: Final = 0.055  # a triggered oscillator runs that much slow without its pulses
_FAR_OFF: Final = 4.0  # times its reach: the loop does not even notice
_HELD_V: Final = 0.06
_LOOSE: Final = 5.0  # times the ripple of a good board: a filter that smooths no more
_RAGGED: Final = 0.4  # of straight verticals, with a loop that jitters
_DRAGS: Final = 0.35  # of detectors: gated ones, that see the slope alone. Common practice.


class LockingStage(ChargingStage):
    """A stage whose frequency something outside it may hold."""

    style: str
    """``crystal``, ``ceramic``, ``coil`` or ``resistor``, by the part it swings on."""
    resonator: str | None
    nominal_hz: float
    steering: str | None
    """The pin of the loop filter."""
    steering_part: tuple[str, float] | None
    """A resistor from the filter into a timing pin: which pin, and how many ohms."""

    def _find_steering_pin(self) -> str | None:
        """Return the pin of the loop filter that steers the oscillator."""
        found = self.list_pins("filter", among=self.block.inputs)
        return found[0] if found else None

    def _lock(self, signal: Signal) -> Signal:
        detector = self._find_detector()
        if detector is not None:
            return self._lock_in_loop(signal, detector)
        triggers = self._list_triggers()
        if triggers:
            return self._trigger(signal, find_weakest(triggers, self.count))
        return signal

    def _find_detector(self) -> Stage | None:
        for stage in self.settled.stages:
            if stage.kind == "phase detector" and (
                (self.steering is not None and self.steering in stage.block.outputs)
                or self.block.id in stage.block.outputs
                or self._is_steered_by_parts(stage)
            ):
                return stage
        return None

    def _is_steered_by_parts(self, stage: Stage) -> bool:
        """Return whether a resistor leads from a detector's filter into the timing current."""
        for pin in stage.block.outputs:
            for part in self.topology.parts_at.get(pin, ()):
                others = [e for e in part.joins if e in self.pins and e != pin]
                if part.kind == "resistor" and others and part.quantity is not None:
                    self.steering = pin
                    self.steering_part = (others[0], part.quantity.nominal)
                    return True
        return False

    def _list_triggers(self) -> list[Signal]:
        found = []
        for end in self.block.inputs:
            signal = self.settled.find_input_signal(end)
            if signal is not None and end not in self.pins_of_it:
                found.append(signal)
        return found

    def _trigger(self, signal: Signal, trigger: Signal) -> Signal:
        """Return the oscillator pulled by pulses: in step while slow enough, and not too slow."""
        slow = (
            self.boards.spread_draws(self.draws.draw_uniform(f"{self.block.id}: free", 0.75, 1.25))
            * self._find_free_level()
        )
        free = (1 + signal.detune) * (1 - slow) - 1
        reach = self.draw_figure("trigger reach", 0.12, 0.25)
        held = (free < 0.004) & (free > -reach) & (trigger.level > 0.35)
        held &= (trigger.words & Seen.UNSTABLE) == 0
        runs = signal.level > 0.05
        if "field" in self.channels:
            self.weaken_feature("field lock", np.where(held | ~runs, 1.0, 0.0))
        detune = np.where(held, trigger.detune, free)
        shaken = (trigger.words & Seen.UNSTABLE) > 0
        return replace(signal, detune=detune).add_seen(Seen.UNSTABLE, shaken & runs)

    def _find_free_level(self) -> float:
        for pin in self.pins_of_it:
            mine = self.topology.expectations.get(pin)
            here = mine.waveform.frequency_hz if mine and mine.waveform else 0.0
            for other in self.topology.pin_at[pin].expectations:
                hz = other.waveform.frequency_hz if other.waveform else 0.0
                if here and hz and hz < 0.995 * here:
                    return 1 - hz / here
        return _FREE_BELOW

    def _lock_in_loop(self, signal: Signal, detector: Stage) -> Signal:
        """Return the oscillator in step where its loop holds it, else free or hunting."""
        reference = self.settled.out.get(detector.block.id, self.make_good_signal())
        reach = self._compute_reach()
        up = self._find_direction()
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
        if self.steering is not None and self.steering in self.topology.quiet_dc_v:
            # At rest the filter tells nothing of where the preset lets it run free.
            left = np.where(
                reference.level > 0.3, left, left + reach * self._compute_preset_offset()
            )
        steady = (reference.words & Seen.UNSTABLE) == 0
        pulled = (np.abs(left - reference.detune) < 0.12 * reach) & (np.abs(free) < reach)
        locked = has_reference & pulled & steady
        if self.steering is not None:
            cut = self.boards.is_lifted[:, self.topology.index[self.steering]]
            if drawn:
                # The filter no longer reaches the timing current: free, as the preset is set.
                left = np.where(cut, left + reach * self._compute_preset_offset(), left)
                locked &= ~cut
            else:
                # The detector steers without its filter, or the loop hunts and never settles.
                signal = signal.add_seen(Seen.UNSTABLE, cut & self.draw_event("jitters", 0.6))
                lost = cut & self.draw_event("lost without its filter", 0.5)
                left = np.where(lost, left + reach * self._compute_preset_offset(), left)
                locked &= ~lost
        off = np.where(locked, reference.detune, left)
        hunting = has_reference & ~locked & (np.abs(free) < 2.5 * reach)
        self._tell_lock(locked, signal.level > 0.05)
        shaken = hunting | self._find_jitter(locked) | (has_reference & ~steady)
        return replace(signal, detune=off).add_seen(Seen.UNSTABLE, shaken & (signal.level > 0.05))

    def _find_jitter(self, locked: Array) -> Array:
        """Return the locked boards whose filter is too loose to keep noise from the loop."""
        if self.steering is None:
            return np.zeros(self.count, dtype=bool)
        loose = self.settled.compute_looseness(self.steering) > _LOOSE
        jittery = locked & loose & self.draw_event("jitters", 0.6)
        if "line" in self.channels:
            # Without its flywheel the loop follows each line's noise: in step, and ragged.
            self.weaken_feature("line shape", np.where(jittery, _RAGGED, 1.0))
        return np.asarray(jittery)

    def _steer(self, asked: Array, up: Array, reference: Signal) -> Array:
        """Let the filter's voltage go where the loop wants it; return where it is, -1 to 1."""
        assert self.steering is not None
        good, half = self.settled.read_good_volts(self.steering), self._compute_half_range_v()
        has_reference = reference.level > 0.3
        rest = self._find_rest_v(good, half)
        # Beyond its reach it stays at an end, or the beat averages out to nearly nothing; far off
        # most detectors no longer drive it, and none does without a reference.
        beyond = np.abs(asked) >= 1
        averaged = beyond & self.draw_event("beat averages out", 0.5)
        drive = np.where(averaged, asked * self.draw_figure("beat", 0.0, 0.4), asked)
        drags = self.draw_event("drags however far", _DRAGS)
        driven = has_reference & (~self._far_off | drags)
        wanted = np.where(driven, good + up * half * drive, rest)
        self.settled.steer(self.steering, wanted)
        turned = np.clip(up * (self.settled.read_volts(self.steering) - good) / half, -1.6, 1.6)
        near = np.abs(turned - asked) * half < np.maximum(_HELD_V, 0.08 * half)
        return np.where(near & driven, asked, turned)

    def _steer_by_parts(self, free: Array, reference: Signal) -> Array:
        """Steer through a drawn resistor; return how far the filter's range reaches."""
        assert self.steering is not None
        assert self.steering_part is not None
        setter, ohm = self.steering_part
        number = self.boards.source_number[setter]
        source = self.boards.good.sources[number]
        volts = self.settled.read_volts(setter)[: self.boards.draws]
        current = (source.emf_v - volts) * source.siemens
        slope = self.boards.spread_draws(-1 / (ohm * np.where(current == 0, 1e-6, current)))
        good, half = self.settled.read_good_volts(self.steering), self._compute_half_range_v()
        now = self.boards.volts[:, self.topology.index[self.steering]]
        needed = now - free / slope
        self._asked = (needed - good) / half
        wanted = np.where(
            reference.level > 0.3,
            good + half * np.clip(self._asked, -1, 1),
            self._find_rest_v(good, half),
        )
        self.settled.steer(self.steering, wanted)
        return np.abs(slope) * half

    def _find_rest_v(self, good: Array, half: Array) -> Array:
        """Return where the filter lies without a reference: as told, else by the hold preset."""
        assert self.steering is not None
        if self.steering in self.topology.quiet_dc_v:
            # Told, and hardly ever exactly so.
            return self.topology.quiet_dc_v[self.steering] + half * self.draw_figure(
                "rest", -0.12, 0.12
            )
        return np.asarray(good + half * self._compute_preset_offset())

    def _compute_preset_offset(self) -> Array:
        """Return how far the hold preset is set off, as a share of the loop's half range."""
        way = np.where(self.draw_event("preset", 0.5), 1.0, -1.0)
        return np.asarray(way * self.draw_figure("preset off", 0.03, 0.5))

    def _compute_half_range_v(self) -> Array:
        assert self.steering is not None
        expectation = self.topology.expectations.get(self.steering)
        waveform = expectation.waveform if expectation is not None else None
        low, high = getattr(waveform, "low", None), getattr(waveform, "high", None)
        if low is not None and high is not None:
            return np.full(self.count, max((high.nominal - low.nominal) / 2, 0.1))
        return 0.25 * np.maximum(np.abs(self.settled.read_good_volts(self.steering)), 1.0)

    def _find_direction(self) -> Array:
        """Return 1 where a higher filter voltage means a higher frequency, else -1."""
        told = " ".join(
            part.purpose or "" for part in self.topology.parts_at.get(self.steering or "", ())
        )
        if re.search(r"higher .*slows", told):
            return np.full(self.count, -1.0)
        return np.where(self.draw_event("rises with its filter", 0.5), 1.0, -1.0)

    def _compute_reach(self) -> Array:
        """Return how far the loop pulls, as a share of the frequency."""
        if self.block.lock_range is not None:
            base_hz = self.nominal_hz if self.resonator is not None else self._find_rate_hz()
            return np.full(self.count, self.block.lock_range.nominal / base_hz)
        pull_in = self.topology.chip.application.pull_in
        if pull_in is not None and self.style == "crystal":
            return np.full(self.count, pull_in.nominal / self.nominal_hz)
        if self.steering is not None:
            expectation = self.topology.expectations.get(self.steering)
            match = _SLOPE.search(expectation.note or "") if expectation is not None else None
            if match is not None:
                hz = float(match[1]) * (1e3 if match[2] else 1.0)
                base = self.nominal_hz if self.resonator is not None else LINE_HZ
                return hz * self._compute_half_range_v() / base
        spread = self.draw_figure("pull-in", 0.7, 1.4)
        return _PULL_IN[self.style] * spread

    def _find_rate_hz(self) -> float:
        """Return the rate stated at the oscillator's own pins, else in its name, else line rate."""
        stated = [self.topology.expectations.get(pin) for pin in self.pins_of_it]
        rates = [e.waveform.frequency_hz for e in stated if e is not None and e.waveform]
        told = _NAMED_RATE.search(self.block.name)
        if not any(rates) and told is not None:
            return float(told[1]) * _PREFIX[told[2]]
        return next(filter(None, rates), LINE_HZ)

    def _tell_lock(self, locked: Array, runs: Array) -> None:
        if "colour" in self.channels:
            self.weaken_feature("colour lock", np.where(locked, 1.0, 0.0))
        elif "line" in self.channels:
            self.settled.line_locked = locked
            self.weaken_feature("line lock", np.where(locked | ~runs, 1.0, 0.0))
