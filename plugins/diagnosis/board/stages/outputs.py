"""Stages that drive pins, with feedback, bootstrap or pump where there is one."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..cloud import Seen
from ..signals import Signal, make_no_signal
from .amplifiers import Amplifier
from .feedback import (
    close_loop,
    compute_good_slope,
    find_loop,
    find_meeting_drive,
    find_rest_signal,
)

Array = NDArray[Any]

_UNKNOWN_SUPPLY_V: Final = 12.0
_LEAST_ASKED: Final = 0.03
_FOLLOWS: Final = 0.7  # of the swing that is asked for: with less the output is at its ends
_LOST_FEEDBACK: Final = 0.3  # of the yoke's current: with less the drive runs to an end


class OutputStage(Amplifier):
    """Drives pins; with a feedback pin its gain and its mean are set by the drawn parts."""

    kind = "output stage"

    def set_up(self) -> None:
        """Find the feedback pin and the pin that is driven."""
        self.driven = self._find_driven_pin()
        self.loop = find_loop(self.settled, self.block)
        self.feedback = self.loop.pin if self.loop is not None else None
        self._looked = False
        self._drive: str | None = None
        self._before: tuple[Array, Array] | None = None
        self._away = np.zeros(self.count, dtype=bool)

    def _find_driven_pin(self) -> str | None:
        """Return the first pin that this stage drives, itself or through the next one."""
        blocks = {block.id: block for block in self.topology.chip.blocks}
        ends = list(self.block.outputs)
        for _ in range(3):
            pins = [e for e in ends if e in self.topology.pin_at]
            if pins:
                return pins[0]
            ends = [out for end in ends if end in blocks for out in blocks[end].outputs]
        return None

    def list_main_inputs(self) -> dict[str, Signal]:
        """Return the inputs, without the feedback."""
        return {end: s for end, s in super().list_main_inputs().items() if end != self.feedback}

    def advance(self) -> None:
        """Put out the input at the gain that the feedback leaves."""
        signal = self._find_asked_signal().amplify(self.compute_vitality() * self.compute_gate())
        signal = self._cut_below_black(self._blank(signal))
        if self.feedback is not None and self.driven is not None:
            asked = signal
            signal = self._run_away(self._feed_back(signal))
            self._show_where_they_meet(asked, signal)
        self._lift_flyback()
        self.put_out(self.spoil_by_stores(signal))

    def _find_asked_signal(self) -> Signal:
        """Return the input; where it meets the feedback outside, the output that both ask for."""
        if self.loop is None or self.driven is None or not self.loop.before:
            return self.find_main_input()
        if not self._looked:
            self._looked = True
            self._drive = find_meeting_drive(self.settled, self.loop, self.driven)
        if self._drive is None:
            return self.find_main_input()
        asked = close_loop(self.settled, self.loop, self._drive, self.driven)
        return asked.amplify(self._compute_life_before())

    def _show_where_they_meet(self, asked: Signal, given: Signal) -> None:
        """Show what is left where drive and feedback meet: little, while the output follows."""
        if self._drive is None or self.loop is None:
            return
        held = (asked.level > _LEAST_ASKED) & (given.level > _FOLLOWS * asked.level)
        rest = find_rest_signal(self.settled, self.loop, self._drive, held)
        self.settled.overruled[self.loop.pin] = lambda _: rest

    def _compute_life_before(self) -> Array:
        """Return how far the stages live that the loop leads through before this one."""
        alive = np.ones(self.count)
        before = self.loop.before if self.loop is not None else ()
        for stage in self.settled.stages:
            if stage.block.id in before and isinstance(stage, Amplifier):
                alive = alive * stage.compute_vitality() * stage.compute_gate()
        return alive

    def _lift_flyback(self) -> None:
        """Take the pump's lift off the flyback at the pin when the pump does not work."""
        pumped = [p for p in self.list_pins("supply") if self.topology.is_pulsed(p)]
        for pin in [p for p in self.block.outputs if p in self.topology.expectations]:
            waveform = self.topology.expectations[pin].waveform
            if not pumped or waveform is None:
                continue
            nominal = self.topology.find_nominal_v(pumped[0])
            beyond = np.clip(1 - nominal / max(waveform.extremes_v[1], 1e-3), 0, 0.6)
            lift = self.settled.find_board_signal(pumped[0])
            left = np.clip(lift.level, 0, 1) if lift is not None else np.ones(self.count)
            self.weaken_feature("field shape", np.clip(0.2 + left, 0, 1))

            def scale_shown(shown: Signal, share: Array = 1 - beyond * (1 - left)) -> Signal:
                return shown.amplify(share)

            self.settled.overruled[pin] = scale_shown

    def set_rest_voltage(self, pin: str, presence: Array) -> None:
        """Set the pin's mean: where feedback wants it, moved by brightness, or idle."""
        if pin in self.settled.servoed:
            return
        idle = self.find_idle_v(pin)
        good = self.settled.read_good_volts(pin)
        target = good if idle is None else idle + (good - idle) * presence
        if self._is_picture(pin):
            dark = good * self.draw_figure("blanking level", 0.05, 0.6)
            supply = self.topology.supply_of.get(pin)
            top = self.settled.read_volts(supply) if supply is not None else 2 * good
            lit = np.minimum(target + self.settled.black_v, self._find_highest_picture_v(pin, top))
            target = np.where(self.settled.blanked, dark, lit)
            target = np.maximum(target, np.minimum(self.draw_figure("lowest", 0.05, 0.6), good))
            if idle is None:
                self.settled.steer(pin, target)
                return
        if idle is not None and not self.topology.is_open_collector(pin):
            self.settled.steer(pin, target)
        else:
            super().set_rest_voltage(pin, presence)

    def _is_picture(self, pin: str) -> bool:
        return bool(
            re.search(r"\b(red|green|blue|luminance|video)\b", self.topology.pin_at[pin].function)
        )

    def _blank(self, signal: Signal) -> Signal:
        """Return the signal; without keys outputs are never blanked, or always."""
        for end, key in self.list_keys().items():
            if "guard" in end:
                continue
            lost = key.level < 0.3
            for_good = lost & self.draw_event("blanked without keys", 0.5)
            self.settled.blanked |= for_good
            signal = make_no_signal(self.count).choose_where(for_good, signal)
            signal = signal.add_seen(Seen.DISTORTED, lost)
        return signal

    def _cut_below_black(self, signal: Signal) -> Signal:
        """Return the picture as far as its black level leaves it above cut-off."""
        pictures = [p for p in self.list_pins("output") if self._is_picture(p)]
        if not pictures or self.settled.brightness.min() > -0.1:
            return signal
        good = self.settled.read_good_volts(pictures[0])
        left = np.clip(1.4 + self.settled.black_v / np.maximum(0.5 * good, 0.3), 0, 1)
        return signal.amplify(left)

    def _feed_back(self, signal: Signal) -> Signal:
        assert self.feedback is not None
        assert self.driven is not None
        path = self.settled.paths.at.get(self.feedback)
        if self._drive is None and path is not None and path.source == self.driven:
            lifted = self.boards.is_lifted[:, self.topology.index[self.feedback]]
            share = np.where(lifted, 0.0, path.share)
            signal = signal.amplify(1 / np.maximum(share, 0.12))
        self._servo_mean(signal)
        return self._cut_to_swing(signal)

    def _run_away(self, signal: Signal) -> Signal:
        """Return the drive at one of its ends where the yoke's current no longer comes back."""
        assert self.feedback is not None
        assert self.driven is not None
        path, back = (
            self.settled.paths.at.get(self.feedback),
            self.settled.find_input_signal(self.feedback),
        )
        drive = self.settled.sent.get(self.driven)
        if path is None or back is None or drive is None or path.source not in self.settled.loops:
            return signal
        runs = np.clip(2.5 * drive.level - 0.5, 0, 1)
        lost = (back.level < _LOST_FEEDBACK * np.maximum(runs, 0.3)) & (signal.level > 0.3)
        self._away = lost | (self._away & (back.level < _LOST_FEEDBACK))
        end = np.where(self.draw_event("runs up", 0.5), 60.0, -60.0)
        foot, top = self._find_swing_ends(self.driven)
        end = np.where(end > 0, top, foot)
        self.settled.aim_where(self.driven, self._away, end)
        stuck = signal.amplify(self.draw_figure("left at its end", 0.05, 0.6))
        stuck = stuck.add_seen(Seen.DISTORTED, self._away).add_seen(Seen.CLIPPED, self._away)
        return stuck.choose_where(self._away, signal)

    def _find_swing_ends(self, pin: str) -> tuple[Array, Array]:
        """Return the lowest and the highest volts that a pin can be driven to.

        The upper end keeps its distance to the supply when that falls.
        """
        foot, kept = (
            self.draw_figure("kept at the foot", 0.0, 1.0),
            self.draw_figure("kept at the top", 0.3, 3),
        )
        supply, limits = self.topology.supply_of.get(pin), self.topology.pin_at[pin].output_limits
        if limits is not None and limits.low is not None:
            foot = np.full(self.count, limits.low.nominal)
        if supply is None:
            return foot, np.full(self.count, _UNKNOWN_SUPPLY_V) - kept
        if limits is not None and limits.high is not None:
            kept = np.full(self.count, self.topology.find_nominal_v(supply) - limits.high.nominal)
        return foot, self.settled.read_volts(supply) - kept

    def _find_highest_picture_v(self, pin: str, top: Array) -> Array:
        """Return the highest volts that a picture reaches at a pin: as stated, else some way below
        its supply."""
        limits = self.topology.pin_at[pin].output_limits
        if limits is not None and limits.high is not None:
            return self._find_swing_ends(pin)[1]
        return self.draw_figure("highest", 0.7, 0.9) * top

    def compute_power(self) -> Array:
        """Return how far its supplies suffice, the bootstrap among them."""
        alive = super().compute_power()
        for pin in self._list_bootstraps():
            alive = np.minimum(alive, np.clip((self.settled.compute_share(pin) - 0.3) / 0.4, 0, 1))
        return alive

    def _list_bootstraps(self) -> list[str]:
        pins = self.list_pins("input", "supply", "decoupling", among=self.block.needs)
        return [p for p in pins if "bootstrap" in self.topology.pin_at[p].function.casefold()]

    def _cut_to_swing(self, signal: Signal) -> Signal:
        """Return the signal with its tops cut where it would leave the supplies."""
        most = self.draw_figure("headroom", 1.15, 1.6) * self._compute_room()
        for pin in self._list_bootstraps():
            lifts = self.settled.find_input_signal(pin)
            if lifts is not None:
                flat = lifts.level < 0.4 * np.maximum(signal.level, 0.05)
                most = most * np.where(flat, self.draw_figure("without bootstrap", 0.45, 0.85), 1.0)
        supplies = self.list_pins("supply")
        if supplies:
            most = most * np.clip(self.settled.compute_share(supplies[0]), 0.05, 1.3)
        cut = signal.level > most
        shorter = replace(
            signal, level=np.minimum(signal.level, most), colour=np.minimum(signal.colour, most)
        )
        return shorter.add_seen(Seen.DISTORTED, cut).add_seen(Seen.CLIPPED, cut)

    def _compute_room(self) -> Array:
        """Return the room that the mean leaves to swing in, beside the good board's."""
        assert self.driven is not None
        supply = self.topology.supply_of.get(self.driven)
        if supply is None:
            return np.ones(self.count)
        top = self.settled.read_volts(supply)
        mean, good = self.settled.read_volts(self.driven), self.settled.read_good_volts(self.driven)
        room = np.minimum(mean, top - mean)
        good_room = np.minimum(good, self.settled.read_good_volts(supply) - good)
        return np.asarray(np.clip(room / np.maximum(good_room, 0.2), 0.02, 1.0))

    def _servo_mean(self, signal: Signal) -> None:
        """Move the output's mean until the feedback pin lies where its reference wants it."""
        assert self.feedback is not None
        assert self.driven is not None
        settled = self.settled
        follows = np.ones(self.count)
        assert self.loop is not None
        for roles in (("decoupling", "filter"), ("reference",)):
            for pin in self.list_pins(*roles, among=self.loop.pins):
                if pin not in self.block.outputs:
                    follows = np.clip(settled.compute_share(pin), 0, 1.6)
        wanted = settled.read_good_volts(self.feedback) * follows
        now, inside = settled.read_volts(self.feedback), settled.read_emf(self.driven)
        good = compute_good_slope(settled, self.driven, self.feedback)
        slope = good
        if self._before is not None:
            moved = inside - self._before[1]
            usable = np.abs(moved) > 0.02
            measured = (now - self._before[0]) / np.where(usable, moved, 1.0)
            slope = np.where(usable, measured, slope)
        # Where the output no longer reaches the feedback pin it drifts to one end.
        lost = np.abs(slope) < 0.1 * np.abs(good)
        end = np.where(self.draw_event("which end", 0.5), 60.0, -60.0)
        off = wanted - now
        step = np.where(lost, end, off / np.where(lost, 1.0, slope))
        step = np.where(np.abs(off) < 0.01 * np.abs(wanted) + 0.01, 0.0, step)
        step = np.where(lost & (np.abs(off) < 0.05 * np.abs(wanted)), 0.0, step)
        alive = self.compute_vitality() * self._compute_life_before() > 0.3
        self._before = (now, inside)
        settled.servoed.add(self.driven)
        settled.absolute.add(self.driven)
        wanted_emf = np.where(alive, inside + step, self._compute_dead_emf(self.driven))
        supply = self.topology.supply_of.get(self.driven)
        if supply is not None:
            # However hard the driver tries, the output stage keeps some of what it gets.
            lies = settled.read_good_volts(self.driven)
            foot, top = self._find_swing_ends(self.driven)
            bottom = np.minimum(foot, 0.5 * lies)
            top = np.maximum(top, np.minimum(settled.read_volts(supply), 1.02 * lies))
            wanted_emf = np.clip(wanted_emf, bottom, np.maximum(top, bottom))
        settled.aim(self.driven, wanted_emf)
