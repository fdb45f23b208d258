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
_LEAST_SWING: Final = 0.05  # of the good oscillator: a weaker one shows no state of lock
_LEAST_REFERENCE: Final = 0.3  # of the good reference: with less the detector compares nothing
_LEAST_TRIGGER: Final = 0.35  # of a good trigger pulse
_FREE_SHARE: Final = (0.75, 1.25)  # of the usual slowness of a triggered oscillator
_TRIGGER_REACH: Final = (0.12, 0.25)  # of its rate, that a pulse ends a period early
_NEARLY_FREE: Final = 0.004  # faster than its pulses: they come too late to trigger
_SLOWER: Final = 0.995  # of the rate here: another condition's that is free
_SETTLED: Final = 0.12  # of the reach: a loop as near to its reference gets there
_HUNTS_WITHIN: Final = 2.5  # times the reach: beyond it the loop no longer even hunts
_JITTERS: Final = 0.6  # of loops without a filter, those that are seen to jitter
_CURRENT_A: Final = 1e-6  # for a timing pin that carries none
_REST_OFF: Final = (-0.12, 0.12)  # of the half range, round a stated voltage at rest


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
        """Return the oscillator pulled by pulses: in step while slow enough, and not too slow.

        Each pulse ends a period early, so the oscillator must run slower than its pulses.
        """
        free_share = self.boards.spread_draws(
            self.draws.draw_uniform(f"{self.block.id}: free", *_FREE_SHARE)
        )
        slowness = free_share * self._find_free_level()
        free_detune = (1 + signal.detune) * (1 - slowness) - 1
        reach = self.draw_figure("trigger reach", *_TRIGGER_REACH)
        is_shaken = (trigger.words & Seen.UNSTABLE) > 0
        # Too slow, it is not near its threshold when a pulse comes; too fast, it does not wait for
        # it.
        is_held = (free_detune < _NEARLY_FREE) & (free_detune > -reach)
        is_held &= (trigger.level > _LEAST_TRIGGER) & ~is_shaken
        runs = signal.level > _LEAST_SWING
        if "field" in self.channels:
            self.weaken_feature("field lock", np.where(is_held | ~runs, 1.0, 0.0))
        detune = np.where(is_held, trigger.detune, free_detune)
        return replace(signal, detune=detune).add_seen(Seen.UNSTABLE, is_shaken & runs)

    def _find_free_level(self) -> float:
        """Return how much slower the oscillator runs free: from another condition's stated rate."""
        for pin in self.pins_of_it:
            expectation = self.topology.expectations.get(pin)
            waveform = expectation.waveform if expectation is not None else None
            hz = waveform.frequency_hz if waveform is not None else 0.0
            for other in self.topology.pin_at[pin].expectations:
                other_hz = other.waveform.frequency_hz if other.waveform else 0.0
                if hz and other_hz and other_hz < _SLOWER * hz:
                    return 1 - other_hz / hz
        return _FREE_BELOW

    def _lock_in_loop(self, signal: Signal, detector: Stage) -> Signal:
        """Return the oscillator in step where its loop holds it, else free or hunting."""
        reference = self.settled.out.get(detector.block.id, self.make_good_signal())
        runs = signal.level > _LEAST_SWING
        has_reference = (reference.level > _LEAST_REFERENCE) & runs
        is_steady = (reference.words & Seen.UNSTABLE) == 0

        free_detune, left_detune, reach = self._pull(signal, reference)
        is_pulled = np.abs(left_detune - reference.detune) < _SETTLED * reach
        is_pulled &= np.abs(free_detune) < reach
        signal, left_detune, is_locked = self._cut_filter(
            signal, left_detune, reach, has_reference & is_pulled & is_steady
        )

        detune = np.where(is_locked, reference.detune, left_detune)
        self._tell_lock(is_locked, runs)
        # Just out of reach the beat with the reference pulls the frequency to and fro.
        is_hunting = has_reference & ~is_locked & (np.abs(free_detune) < _HUNTS_WITHIN * reach)
        is_shaken = is_hunting | self._find_jitter(is_locked) | (has_reference & ~is_steady)
        return replace(signal, detune=detune).add_seen(Seen.UNSTABLE, is_shaken & runs)

    def _pull(self, signal: Signal, reference: Signal) -> tuple[Array, Array, Array]:
        """Let the loop pull; return the free deviation, that left of it, and the loop's reach.

        All three are shares of the frequency, shape (boards,).
        """
        free_detune, reach = signal.detune, self._compute_reach()
        direction = self._find_direction()
        asked = np.clip(-free_detune / reach, -1.0, 1.0)  # of the loop's half range
        self._far_off = (np.abs(free_detune) > _FAR_OFF * reach) | (signal.level < _LEAST_SWING)
        if self.steering_part is not None:
            # What the drawn resistor brings is in the timing current already.
            left_detune = free_detune
            reach = self._steer_by_parts(free_detune, reference)
            free_detune = np.where(np.abs(self._asked) > 1, 1.01 * reach, 0.0)
        elif self.steering is not None and self.settled.has_source(self.steering):
            turned = self._steer(asked, direction, reference)
            left_detune = free_detune + turned * reach
        else:
            left_detune = free_detune + asked * reach
        if self.steering is not None and self.steering in self.topology.quiet_dc_v:
            # At rest the filter tells nothing of where the preset lets it run free.
            preset_detune = left_detune + reach * self._compute_preset_offset()
            is_compared = reference.level > _LEAST_REFERENCE
            left_detune = np.where(is_compared, left_detune, preset_detune)
        return free_detune, left_detune, reach

    def _cut_filter(
        self, signal: Signal, left_detune: Array, reach: Array, is_locked: Array
    ) -> tuple[Signal, Array, Array]:
        """Return signal, deviation and lock as they are where the filter's joint is open."""
        if self.steering is None:
            return signal, left_detune, is_locked
        is_cut = self.boards.is_lifted[:, self.topology.index[self.steering]]
        preset_detune = left_detune + reach * self._compute_preset_offset()
        if self.steering_part is not None:
            # The filter no longer reaches the timing current: free, as the preset is set.
            return signal, np.where(is_cut, preset_detune, left_detune), is_locked & ~is_cut
        # The detector steers without its filter, or the loop hunts and never settles.
        signal = signal.add_seen(Seen.UNSTABLE, is_cut & self.draw_event("jitters", _JITTERS))
        is_lost = is_cut & self.draw_event("lost without its filter", 0.5)
        return signal, np.where(is_lost, preset_detune, left_detune), is_locked & ~is_lost

    def _find_jitter(self, locked: Array) -> Array:
        """Return the locked boards whose filter is too loose to keep noise from the loop."""
        if self.steering is None:
            return np.zeros(self.count, dtype=bool)
        is_loose = self.settled.compute_looseness(self.steering) > _LOOSE
        jitters = locked & is_loose & self.draw_event("jitters", _JITTERS)
        if "line" in self.channels:
            # Without its flywheel the loop follows each line's noise: in step, and ragged.
            self.weaken_feature("line shape", np.where(jitters, _RAGGED, 1.0))
        return np.asarray(jitters)

    def _steer(self, asked: Array, direction: Array, reference: Signal) -> Array:
        """Move the filter's voltage where the loop wants it; return where it is, -1 to 1.

        ``asked`` is the same share of the loop's half range, before the board has its say.
        """
        assert self.steering is not None
        good_v, half_v = self.settled.read_good_volts(self.steering), self._compute_half_range_v()
        # Beyond its reach it stays at an end, or the beat averages out to nearly nothing; far off
        # most detectors no longer drive it, and none does without a reference.
        averages_out = (np.abs(asked) >= 1) & self.draw_event("beat averages out", 0.5)
        drive = np.where(averages_out, asked * self.draw_figure("beat", 0.0, 0.4), asked)
        drags = self.draw_event("drags however far", _DRAGS)
        is_driven = (reference.level > _LEAST_REFERENCE) & (~self._far_off | drags)
        driven_v = good_v + direction * half_v * drive
        rest_v = self._find_rest_v(good_v, half_v)
        self.settled.steer(self.steering, np.where(is_driven, driven_v, rest_v))
        moved_v = self.settled.read_volts(self.steering) - good_v
        turned = np.clip(direction * moved_v / half_v, -1.6, 1.6)
        is_near = np.abs(turned - asked) * half_v < np.maximum(_HELD_V, 0.08 * half_v)
        return np.where(is_near & is_driven, asked, turned)

    def _steer_by_parts(self, free_detune: Array, reference: Signal) -> Array:
        """Steer through a drawn resistor; return the loop's reach as a share of the frequency.

        The resistor adds to the timing current, and the frequency follows that current.
        """
        assert self.steering is not None
        assert self.steering_part is not None
        setter, ohm = self.steering_part
        source = self.boards.good.sources[self.boards.source_number[setter]]
        setter_v = self.settled.read_volts(setter)[: self.boards.draws]
        timing_a = (source.emf_v - setter_v) * source.siemens
        timing_a = np.where(timing_a == 0, _CURRENT_A, timing_a)
        # One volt more at the filter takes 1 / ohm amperes from the timing current.
        detune_per_v = self.boards.spread_draws(-1 / (ohm * timing_a))
        good_v, half_v = self.settled.read_good_volts(self.steering), self._compute_half_range_v()
        present_v = self.boards.volts[:, self.topology.index[self.steering]]
        needed_v = present_v - free_detune / detune_per_v
        self._asked = (needed_v - good_v) / half_v
        driven_v = good_v + half_v * np.clip(self._asked, -1, 1)
        rest_v = self._find_rest_v(good_v, half_v)
        is_compared = reference.level > _LEAST_REFERENCE
        self.settled.steer(self.steering, np.where(is_compared, driven_v, rest_v))
        return np.abs(detune_per_v) * half_v

    def _find_rest_v(self, good_v: Array, half_v: Array) -> Array:
        """Return the filter's volts without a reference: as stated, else by the hold preset."""
        assert self.steering is not None
        if self.steering in self.topology.quiet_dc_v:
            # Stated, and hardly ever exactly so.
            off_v = half_v * self.draw_figure("rest", *_REST_OFF)
            return self.topology.quiet_dc_v[self.steering] + off_v
        return np.asarray(good_v + half_v * self._compute_preset_offset())

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
        """Return how far the loop pulls its oscillator, as a share of the frequency.

        As the chip's data state it: a lock range, a pull-in range, hertz per volt at the filter;
        else as oscillators of this kind usually do.
        """
        if self.block.lock_range is not None:
            base_hz = self.nominal_hz if self.resonator is not None else self._find_rate_hz()
            return np.full(self.count, self.block.lock_range.nominal / base_hz)
        pull_in = self.topology.chip.application.pull_in
        if pull_in is not None and self.style == "crystal":
            return np.full(self.count, pull_in.nominal / self.nominal_hz)
        slope = self._find_stated_slope()
        if slope is not None:
            base_hz = self.nominal_hz if self.resonator is not None else LINE_HZ
            return slope * self._compute_half_range_v() / base_hz
        # Nothing is stated: as far as loops on this kind of oscillator usually pull.
        return _PULL_IN[self.style] * self.draw_figure("pull-in", 0.7, 1.4)

    def _find_stated_slope(self) -> float | None:
        """Return the hertz per volt that a note on the filter's pin states; None for no note."""
        expectation = self.topology.expectations.get(self.steering or "")
        match = _SLOPE.search(expectation.note or "") if expectation is not None else None
        if match is None:
            return None
        return float(match[1]) * (_PREFIX["k"] if match[2] else 1.0)

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
