"""Stages that judge a signal: level and threshold detectors, demodulators, protection."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..cloud import Seen
from ..senders import list_driven_pins
from ..signals import Signal, find_weakest, make_good_signal, make_no_signal
from .amplifiers import Amplifier
from .base import Stage

Array = NDArray[Any]

_STEEP: Final = 1.4  # of the good amplitude: no longer a straight line
_STEEPEST: Final = 3.0
_PULLED: Final = 3e-5  # a carrier that far off demodulates to another hue
_LEAST_LEVEL: Final = 0.25  # of the good signal, for a threshold detector to accept it
_LEAST_VITALITY: Final = 0.4  # of a detector that still judges
_STILL_SWITCHES: Final = 0.2  # of a detector whose store still switches
_LOOSE_STORE: Final = 5.0  # times the good ripple
_LEAST_SPAN_V: Final = 0.2
_EMPTY_SHARE: Final = (0.05, 0.7)  # of a threshold, the volts of an empty store
_USUAL_TRIP: Final = 1.4  # times the good volts of a protection input
_WEAK_CARRIER: Final = 0.3  # of the good one: one axis no longer demodulates
_POORLY_TUNED: Final = 0.6  # of the good tuning: the demodulated signal is distorted
_LEAST_SHOWN: Final = 0.05
_SUBCARRIER: Final = r"subcarrier|oscillator|tint|quadrature|divider|carrier|pal.switch"
_MOST_ASKED: Final = 4.0  # times what a takeover point asks of a good tuner: it saturates before
_TOO_LITTLE: Final = (0.02, 0.12)  # of its carrier, a demodulator does not switch with
_TUNED_AT: Final = ("output", "input", "filter", "oscillator")


class LevelDetector(Stage):
    """Measures how strong a signal is, for a gain control to hold it."""

    kind = "level detector"

    def advance(self) -> None:
        """Hand on the signal; a pin of its own that nothing else uses shows it."""
        alive = self.health * self.compute_power() * self.compute_bias()
        signal = self.find_main_input().amplify(alive)
        self.settled.out[self.block.id] = signal
        stages = self.settled.stages
        used_ends = {end for s in stages for end in (*s.block.inputs, *s.block.needs)}
        for pin in self.block.outputs:
            is_known = pin in self.topology.pin_at and pin in self.topology.quiet_dc_v
            if not is_known or pin in used_ends:
                continue  # a stage that uses the pin sets its volts
            idle_v = np.full(self.count, self.topology.quiet_dc_v[pin])
            good_v = self.settled.read_good_volts(pin)
            presence = np.clip(signal.level, 0, 1.5)
            presence = presence * self._compute_gain_turn() * self._compute_takeover_share()
            self.settled.steer(pin, idle_v + (good_v - idle_v) * presence)

    def _compute_takeover_share(self) -> Array:
        """Return how far the preset of a takeover point still asks for what it did."""
        asked = np.ones(self.count)
        for pin in self.list_pins("control"):
            way = np.where(self.draw_event(f"{pin} delays", 0.7), 1.0, -1.0)
            moved = self.settled.compute_share(pin) - 1
            asked = np.clip(
                1 - way * moved * self.draw_figure(f"{pin} asks", 0.7, 3.0), 0, _MOST_ASKED
            )
        return asked

    def _compute_gain_turn(self) -> Array:
        """Return how far the store of the gain lies from its end, relative to the good board's."""
        for stage in self.settled.stages:
            store = getattr(stage, "store", None)
            if store is not None and store in self.topology.quiet_dc_v:
                good, idle = self.settled.read_good_volts(store), self.topology.quiet_dc_v[store]
                span = np.where(np.abs(good - idle) < 0.2, 0.2, good - idle)
                return np.clip((self.settled.read_volts(store) - idle) / span, 0, 2)
        return np.ones(self.count)


class ThresholdDetector(Stage):
    """Fills a store while its signal is good; the stages it switches follow the store's voltage."""

    kind = "threshold detector"

    def set_up(self) -> None:
        """Find the store."""
        stores = self.list_pins("filter", among=(*self.block.outputs, *self.block.needs))
        self.store = stores[0] if stores else None

    def advance(self) -> None:
        """Fill or empty the store, and switch."""
        signal = self._join_inputs()
        alive = self.health * self.compute_power() * self.compute_bias()
        is_accepted = (signal.level > _LEAST_LEVEL) & (alive > _LEAST_VITALITY)
        presence = np.where(is_accepted, 1.0, 0.0)
        good_signal = make_good_signal(self.count)
        if self.store is None or not self.settled.has_source(self.store):
            self.settled.out[self.block.id] = good_signal.amplify(presence)
            self._show_pins(presence)
            return
        good_v, empty_v = self.settled.read_good_volts(self.store), self._find_empty_v()
        self.settled.steer(self.store, empty_v + (good_v - empty_v) * presence)
        limit_v = self._limit_v(good_v, empty_v)
        is_on = (self.settled.read_volts(self.store) > limit_v) == (good_v > limit_v)
        is_on &= alive > _STILL_SWITCHES
        # A store without its capacitor follows every line.
        is_loose = self.settled.compute_looseness(self.store) > _LOOSE_STORE
        flickers = is_loose & self.draw_event("flickers", 0.5)
        switched = good_signal.amplify(np.where(is_on, 1.0, 0.0))
        self.settled.out[self.block.id] = switched.add_seen(Seen.UNSTABLE, flickers)
        self._show_pins(switched.level)

    def _join_inputs(self) -> Signal:
        """Return the inputs, gone where they run at different rates."""
        inputs = list(self.list_inputs().values())
        signal = find_weakest(inputs, self.count)
        if len(inputs) > 1:
            detunes = np.stack([s.detune for s in inputs])
            apart = np.ptp(detunes, axis=0) > _PULLED
            signal = make_no_signal(self.count).choose_where(apart, signal)
        unsteady = (signal.words & Seen.UNSTABLE) > 0
        return signal.choose_where(
            ~(unsteady & self.draw_event("confused", 0.5)), make_no_signal(self.count)
        )

    def _find_empty_v(self) -> Array:
        """Return the volts of the store without a charge, shape (boards,)."""
        assert self.store is not None
        if self.store in self.topology.quiet_dc_v:
            return np.full(self.count, self.topology.quiet_dc_v[self.store])
        good_v = self.settled.read_good_volts(self.store)
        threshold = self.find_threshold(self.store)
        if threshold is None:
            return good_v * self.draw_figure("empty", 0.1, 0.6)
        # Well beyond its limit, on the side away from the good volts.
        limit_v = threshold[1]
        share = self.draw_figure("empty", *_EMPTY_SHARE)
        return np.where(good_v > limit_v, limit_v * share, limit_v * (1.2 + share))

    def _limit_v(self, good: Array, empty: Array) -> Array:
        assert self.store is not None
        limit = self.find_threshold(self.store)
        return np.full(self.count, limit[1]) if limit is not None else 0.5 * (good + empty)

    def _show_pins(self, on: Array) -> None:
        for pin in self.list_pins("output", among=self.block.outputs):
            idle = self.find_idle_v(pin)
            if idle is not None:
                good = self.settled.read_good_volts(pin)
                self.settled.steer(pin, idle + (good - idle) * on)


class Protection(Stage):
    """Stops the stages it guards once its input passes a limit, and stays so until switched off."""

    kind = "protection"

    def set_up(self) -> None:
        """Begin untripped."""
        self.tripped = np.zeros(self.count, dtype=bool)

    def advance(self) -> None:
        """Trip where the input is beyond its limit; dead, it trips no more, or at once."""
        for pin in self.list_pins("input", "control"):
            threshold = self.find_threshold(pin)
            good_v, volts = self.settled.read_good_volts(pin), self.settled.read_volts(pin)
            limit_v = threshold[1] if threshold is not None else _USUAL_TRIP * good_v
            trips_above = threshold is None or threshold[0] == "above"
            # Tripped, it stays so: only switching off the set resets it.
            self.tripped |= volts > limit_v if trips_above else volts < limit_v
        dead_and_tripped = (self.health < 0.5) & self.draw_event("dead trips", 0.5)
        level = np.where(self.tripped | dead_and_tripped, 0.0, 1.0)
        self.settled.out[self.block.id] = make_good_signal(self.count).amplify(level)


class Demodulator(Amplifier):
    """Needs a carrier of the right frequency, from an oscillator or a tuned circuit."""

    kind = "demodulator"

    def advance(self) -> None:
        """Put out the signal as far as its carrier and its tuned circuit let it."""
        inputs = self.list_main_inputs()
        carriers = {end: signal for end, signal in inputs.items() if self._is_carrier(end)}
        others = [signal for end, signal in inputs.items() if end not in carriers]
        signal = find_weakest(others or [self.make_good_signal()], self.count)
        signal = signal.amplify(self.compute_vitality() * self.compute_gate())
        if "colour" not in self.channels:
            self._drive_coils(signal)
        if "sound" in self.channels:
            signal = self._detect_at_coil(signal)
        for carrier in carriers.values():
            signal = self._switch_by_carrier(signal, carrier)
        signal = self._detune(signal)
        if "colour" in self.channels:
            self._cast()
            # Carriers at pins are the two phases of a colour demodulator, one for each axis.
            for carrier in [c for end, c in carriers.items() if end in self.topology.pin_at]:
                self.weaken_feature("hue", np.clip(carrier.level * 1.5, 0, 1))
                signal = signal.add_seen(Seen.DISTORTED, carrier.level < _WEAK_CARRIER)
        self.put_out(self.spoil_by_stores(replace(signal, detune=np.zeros(self.count))))

    def _drive_coils(self, signal: Signal) -> None:
        """Let the tuned circuits at its pins swing with the signal that the chip drives them by."""
        driven = {
            end
            for block in self.topology.chip.blocks
            for end in list_driven_pins(self.topology, block)
        }
        sources = self.settled.paths.sources
        for pin in self.pins:
            has_coil = any("coil" in part.kind for part in self.topology.parts_at.get(pin, ()))
            is_own = sources.get(pin) == pin and pin not in driven
            if is_own and has_coil and self.topology.pin_at[pin].role in _TUNED_AT:
                self.settled.sent[pin] = signal

    def _switch_by_carrier(self, signal: Signal, carrier: Signal) -> Signal:
        """Return the signal as one carrier lets it through, beating where that is off frequency."""
        is_colour = "colour" in self.channels
        # A demodulator switches with its carrier: until it is weak, the output is the same.
        # Noise that a limiter brings up switches it as well.
        carrier_level = np.maximum(carrier.level, carrier.noise)
        enough_level = carrier_level - self.draw_figure("too little", *_TOO_LITTLE)
        drive = np.clip(enough_level * self.draw_figure("drive", 1.5, 4.0), 0, 1)
        # What comes through without any carrier is noise, if anything.
        noise = signal.noise * np.where(self.draw_event("noisy anyway", 0.5), 1.0, drive)
        signal = replace(signal.amplify(drive), noise=noise)
        beats = (np.abs(carrier.detune) > _PULLED) & (signal.level > _LEAST_SHOWN)
        feature = "colour lock" if is_colour else "luminance"
        self.weaken_feature(feature, np.where(beats, 0.0, 1.0))
        signal = signal.add_seen(Seen.UNSTABLE, beats)
        if not is_colour:
            # The carrier beats with the oscillator: about as high as the picture, and none.
            signal = signal.add_seen(Seen.DISTORTED, beats)
        return replace(signal, words=signal.words | (carrier.words & Seen.UNSTABLE))

    def _detune(self, signal: Signal) -> Signal:
        """Return the signal behind tuned circuits that may be off frequency."""
        tuning = self._compute_tuning()
        if "colour" in self.channels:
            # A phase shifter that is off gives the wrong hue, and one axis less.
            self.weaken_feature("hue", np.clip(1.4 * tuning - 0.2, 0, 1))
            other_axis = self.draw_figure("axis left", 0.4, 0.9)
            signal = signal.amplify(np.clip(tuning + other_axis, 0, 1))
        else:
            signal = signal.amplify(np.clip(tuning * 1.3, 0, 1))
        return signal.add_seen(Seen.DISTORTED, tuning < _POORLY_TUNED)

    def _detect_at_coil(self, signal: Signal) -> Signal:
        """Return what a quadrature detector makes of frequency: the steeper its coil's phase, the
        more, and in steps that are no longer alike. The coil's own swing tells how steep it is."""
        for pin in self.pins:
            swing = self.settled.find_board_signal(pin)
            if self.topology.pin_at[pin].role not in _TUNED_AT or swing is None:
                continue
            if any("coil" in part.kind for part in self.topology.parts_at.get(pin, ())):
                level = np.where(swing.level > 1, signal.level * swing.level, signal.level)
                level = np.minimum(level, _STEEPEST)
                signal = replace(signal, level=level, colour=level)
                signal = signal.add_seen(Seen.DISTORTED, level > _STEEP)
        return signal

    def _cast(self) -> None:
        """Colour the whole picture where the store of the colour clamps is off."""
        for pin in self.list_stores():
            off = np.clip(np.abs(self.settled.compute_share(pin) - 1) / 0.4, 0, 1)
            self.weaken_feature("hue", 1 - off)
            way = np.where(self.draw_event(f"{pin} cast", 0.5), 1.0, -1.0)
            self.settled.black_v = self.settled.black_v + way * off * self.draw_figure(
                "cast", 0.0, 1.0
            )

    def _is_carrier(self, end: str) -> bool:
        if end in self.topology.pin_at:
            expectation = self.topology.expectations.get(end)
            waveform = expectation.waveform if expectation is not None else None
            return waveform is not None and waveform.kind == "sine"
        names = {block.id: block.name for block in self.topology.chip.blocks}
        return bool(re.search(_SUBCARRIER, f"{end} {names.get(end, '')}", re.IGNORECASE))

    def _compute_tuning(self) -> Array:
        """Return how well the tuned circuits at its pins are still on frequency, 0 to 1."""
        share = np.ones(self.count)
        for pin in self.pins:
            if self.topology.pin_at[pin].role in _TUNED_AT:
                share = np.minimum(share, self.settled.compute_resonance_share(pin))
        return share


class TuningDetector(Demodulator):
    """Tells how far off tune the station is: half the supply when on tune."""

    kind = "tuning detector"

    def advance(self) -> None:
        """Set its output: towards an end when its circuit is off tune, idle without a signal."""
        self._drive_coils(self._find_driving_signal())
        signal = self.find_main_input().amplify(self.compute_vitality())
        self.settled.out[self.block.id] = signal
        off_tune = np.clip((1 - self._compute_tuning()) * 1.5, 0, 1) * signal.level
        # Above or below the station: nothing on the board tells which.
        side = np.where(self.draw_event("side", 0.5), 1.0, -1.0)
        for pin in self.list_pins("output", among=self.block.outputs):
            good_v = self.settled.read_good_volts(pin)
            self.settled.steer(pin, good_v * (1 + 0.8 * side * off_tune))
            self.weaken_feature("tuning", 1 - off_tune)

    def _find_driving_signal(self) -> Signal:
        """Return the signal that swings its circuit: the limiter's, behind its own tuned circuit or
        before it."""
        stages = {stage.block.id: stage for stage in self.settled.stages}
        before_circuit = self.draw_event("before the circuit", 0.5)
        signals = []
        for end in self.block.inputs:
            if end in self.settled.out:
                limited = getattr(stages[end], "limited", None) or self.settled.out[end]
                signals.append(limited.choose_where(before_circuit, self.settled.out[end]))
        return find_weakest(signals, self.count)
