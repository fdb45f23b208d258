"""Stages that make and use timing pulses: gates, keys, separators, dividers."""

from __future__ import annotations

import re
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..cloud import Seen
from ..signals import Signal, find_weakest, make_no_signal
from .amplifiers import Amplifier
from .base import Stage

Array = NDArray[Any]

_FLYBACK: Final = re.compile(r"\bflyback detector", re.IGNORECASE)
_GUARD: Final = re.compile(r"\bguard\b", re.IGNORECASE)
_BURST_STEP: Final = (0.72, 0.86)  # of a sandcastle, where its highest step is sliced
_SEEN: Final = (0.15, 0.5)  # of a flyback: it stands well above the scan. Common practice.
_BLANKS: Final = 0.6  # of sets, those that blank the tube when no guard pulse comes
_LEAST_PULSE: Final = 0.25  # of a good pulse: a lower one is missed
_LOST_STEP: Final = (0.1, 0.45)  # of the mean, that one step of a sandcastle makes
_SLICE_REACH: Final = (0.22, 0.5)  # of its volts, that a slicing level may be off
_AT_THE_EDGE: Final = 0.16  # off: noise tears the sync now and then
_LEAST_VIDEO: Final = (0.12, 0.3)
_BROAD_PULSE_HZ: Final = 3e3  # the broad pulses of field sync, against line pulses
_MOST_PULSE: Final = 1.4  # of a field pulse, before its stage limits
_LETS_LINE_THROUGH: Final = 2.5  # of the good share: line pulses trigger as well
_LEAST_RESET: Final = 0.3


class Gate(Amplifier):
    """Lets a signal through while its key pulse is there."""

    kind = "gate"

    def advance(self) -> None:
        """Put out the signal where the key comes."""
        signal = self.find_main_input().amplify(self.compute_vitality())
        for key in self.list_keys().values():
            opens = np.clip(key.level * 2 - 0.6, 0, 1) * (np.abs(key.detune) < 0.02)
            signal = signal.amplify(opens)
        self.put_out(signal)


class PulseDetector(Stage):
    """Takes key pulses out of a sandcastle by their height; a flyback is seen while it lasts."""

    kind = "pulse detector"

    def advance(self) -> None:
        """Put out keys where the input is high enough: the burst key is the highest step."""
        signal = self.find_main_input()
        sees_flyback = bool(_FLYBACK.search(self.block.name))
        enough = self.draw_figure("slice", *(_SEEN if sees_flyback else _BURST_STEP))
        keys = signal.amplify(
            np.where(signal.level > enough, 1 / np.maximum(signal.level, 0.01), 0)
        )
        self.put_out(keys.amplify(np.round(self.compute_vitality())))


class PulseGenerator(Stage):
    """Makes pulses from a timing signal, with steps from other sources: a sandcastle."""

    kind = "pulse generator"

    def advance(self) -> None:
        """Put out pulses at the main timing's rate; a missing step leaves less of them."""
        inputs = self.list_inputs()
        alive = self.compute_vitality()
        if not inputs:
            self.put_out(self.make_good_signal().amplify(alive))
            return
        main_name, *step_names = inputs
        main = inputs[main_name]
        level = np.where(main.level > _LEAST_PULSE, 1.0, 0.0)
        signal = Signal(level, level.copy(), main.detune, main.words).amplify(alive)
        step_missing = np.zeros(self.count, dtype=bool)
        for name in step_names:
            is_gone = inputs[name].level < _LEAST_PULSE
            signal = signal.add_seen(Seen.DISTORTED, is_gone & (level > 0))
            if self._is_guard(name):
                self._blank(is_gone)
            elif name in self.topology.pin_at:
                step_missing |= is_gone
        self.put_out(signal)
        self._blank_by_guard(signal)
        # One step less lowers the mean.
        for pin in self.list_pins("output", among=self.block.outputs):
            step_v = self.draw_figure("step", *_LOST_STEP) * self.settled.read_good_volts(pin)
            lift_v = np.where(step_missing & (level > 0), -step_v, 0.0)
            self.settled.lift[pin] = self.settled.lift.get(pin, 0.0) * (lift_v == 0) + lift_v

    def _blank_by_guard(self, signal: Signal) -> None:
        """Darken the screen where the guard's own pulse does not leave the chip: most sets blank
        the tube then, lest one bright line burn in. Common practice."""
        for pin in self.list_pins("output", among=self.block.outputs):
            if _GUARD.search(self.topology.pin_at[pin].function):
                lifted = self.boards.is_lifted[:, self.topology.index[pin]]
                gone = (signal.level < _LEAST_PULSE) | lifted
                dark = gone & self.draw_event("blanks the tube", _BLANKS)
                self.weaken_feature("raster", np.where(dark, 0.0, 1.0))

    def _is_guard(self, end: str) -> bool:
        pin = self.topology.pin_at.get(end)
        return pin is not None and bool(re.search(r"guard|blank", pin.function, re.IGNORECASE))

    def _blank(self, gone: Array) -> None:
        """Blank the screen: the field flyback that should come does not."""
        self.weaken_feature("raster", np.where(gone, 0.0, 1.0))
        for pin in self.block.outputs:
            if pin in self.topology.pin_at and self.settled.has_source(pin):
                self.settled.lift[pin] = np.where(gone, self.draw_figure("blanking", 0.4, 2.2), 0.0)


class SyncSeparator(Amplifier):
    """Slices the sync pulses off the picture: steady until little is left of it."""

    kind = "sync separator"

    def advance(self) -> None:
        """Put out sync where video comes in and the slicing level suits."""
        video = self.find_main_input()
        alive = self.compute_vitality()
        least_video = self.draw_figure("least video", *_LEAST_VIDEO)
        level = np.where(video.level > least_video, 1.0, 0.0)
        signal = Signal(level, level.copy(), np.zeros(self.count), video.words & 0)
        for pin in (*self.list_stores(), *self.list_pins("input")):
            offset = np.abs(self.settled.compute_share(pin) - 1)
            # A slicing level that left the sync takes picture, or nothing.
            is_beyond = offset > self.draw_figure(f"{pin} reach", *_SLICE_REACH)
            signal = make_no_signal(self.count).choose_where(is_beyond, signal)
            is_at_edge = (offset > _AT_THE_EDGE) & ~is_beyond
            signal = signal.add_seen(Seen.UNSTABLE, is_at_edge)
        # Hum moves the video against the slicing level.
        is_shaken = (video.words & (Seen.HUM | Seen.UNSTABLE)) > 0
        signal = self.spoil_by_stores(signal.add_seen(Seen.UNSTABLE, is_shaken))
        self.put_out(signal.amplify(np.round(alive)))

    def list_keys(self) -> dict[str, Signal]:
        """Return nothing: it makes the keys."""
        return {}


class Integrator(Amplifier):
    """Makes field pulses of the broad ones in the sync."""

    kind = "integrator"

    def set_up(self) -> None:
        """Begin with pins as the parts leave them, before the pulses change."""
        self._first_share: dict[str, Array] = {}

    def _compute_drawn_down(self, pin: str) -> Array:
        """Return how far leaks draw a pin down, as pulses of some length see it."""
        first = self._first_share.setdefault(pin, np.clip(self.settled.compute_share(pin), 1e-3, 1))
        return np.asarray(first ** self.draw_figure(f"{pin} drawn down", 0.2, 1.0))

    def advance(self) -> None:
        """Put out field pulses as high as its capacitor lets them grow."""
        sync = find_weakest(list(self.list_main_inputs().values()), self.count)
        # Many chips take field sync only while the line is in step.
        is_shut = ~self.settled.line_locked & self.draw_event("keyed by the line", 0.5)
        signal = make_no_signal(self.count).choose_where(is_shut, sync)
        signal = signal.amplify(self.compute_vitality())
        for pin in self.list_pins("filter", "input", "output"):
            share = self.settled.paths.compute_impedance_share(pin, _BROAD_PULSE_HZ)
            # Without its capacitor it either takes any pulse, or none gets through.
            is_lifted = self.boards.is_lifted[:, self.topology.index[pin]]
            lifted_share = np.where(self.draw_event("lifted: none", 0.5), 0.0, 1.3)
            share = np.where(is_lifted, lifted_share, share)
            if pin in self.block.outputs or self.topology.pin_at[pin].role == "filter":
                # A leak takes from the long pulses what it takes of the mean, or nearly so.
                share = np.where(is_lifted, share, share * self._compute_drawn_down(pin))
                signal = signal.amplify(np.clip(share, 0, _MOST_PULSE))
            # Too large a share: line pulses come through as well, and trigger too.
            signal = signal.add_seen(Seen.UNSTABLE, share > _LETS_LINE_THROUGH)
        self.put_out(signal)

    def list_main_inputs(self) -> dict[str, Signal]:
        """Return the sync; not its own pin."""
        found = super().list_main_inputs()
        return {end: s for end, s in found.items() if end not in self.block.outputs}

    def find_inside_signal(self, signal: Signal) -> Signal:
        """Return the output: its capacitor shows the same."""
        return signal


class Divider(Amplifier):
    """Counts an oscillator down; its resets keep the field in step."""

    kind = "divider"

    def advance(self) -> None:
        """Put out the same deviation at a full amplitude."""
        signal = self._count()
        full = np.where(signal.level > 0.2, 1.0, 0.0)
        whole = Signal(full, full.copy(), signal.detune, signal.words)
        self.put_out(whole.amplify(self.compute_vitality()))

    def _count(self) -> Signal:
        """Return the output of a counter: the rate of its clock, lost without resets."""
        inputs = self.list_main_inputs()
        clocks = {e: s for e, s in inputs.items() if re.search(r"osc|vco|divider|line", e)}
        resets = {e: s for e, s in inputs.items() if e not in clocks}
        clock = find_weakest(list((clocks or inputs).values()), self.count)
        if "field" not in self.channels or not clocks:
            return clock
        is_shut = ~self.settled.line_locked & self.draw_event("keyed by the line", 0.5)
        for reset in resets.values():
            # Without resets the count goes on, a little off the field.
            is_lost = (reset.level < _LEAST_RESET) | is_shut
            self.weaken_feature("field lock", np.where(is_lost, 0.0, 1.0))
            clock = clock.add_seen(Seen.UNSTABLE, is_lost & self.draw_event("slips", 0.3))
        return clock
