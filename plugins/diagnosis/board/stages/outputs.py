"""Stages that drive pins, with feedback, bootstrap or pump where there is one."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..cloud import Seen
from ..signals import Signal, make_no_signal
from ..topology import GROUND
from .amplifiers import Amplifier
from .feedback import (
    close_loop,
    compute_foot_gain,
    compute_good_slope,
    find_loop,
    find_meeting_drive,
    find_rest_signal,
    reaches,
)

Array = NDArray[Any]

_UNKNOWN_SUPPLY_V: Final = 12.0
_OUT_OF_REACH_V: Final = 60.0  # above any supply and below any foot: the swing's end cuts it
_DAMPING_OHM: Final = 33.0
_WHISTLES: Final = 0.7  # of amplifiers without their damping at the output: common practice
_LEAST_ASKED: Final = 0.03
_FOLLOWS: Final = 0.7  # of the swing that is asked for: with less the output is at its ends
_LOST_FEEDBACK: Final = 0.3  # of the yoke's current: with less the drive runs to an end
_LEAST_SIGNAL: Final = 0.3  # of the good level: with less a drive no longer runs to an end
_LEAST_VITALITY: Final = 0.3  # below it a stage no longer holds its mean
_MOST_FLYBACK_LIFT: Final = 0.6  # of the pulse's peak, that a pump adds to the supply
_FIELD_SHAPE_WITHOUT_PUMP: Final = 0.2
# Shares of the good mean at a picture output.
_BLANKED_SHARE: Final = (0.05, 0.6)
_LOWEST_V: Final = (0.05, 0.6)
_HIGHEST_SHARE: Final = (0.7, 0.9)  # of the supply
# Volts that an output keeps to its rails: a saturated transistor, or a follower and its driver.
_KEPT_AT_FOOT_V: Final = (0.0, 1.0)
_KEPT_AT_TOP_V: Final = (0.3, 3.0)
_HEADROOM: Final = (1.15, 1.6)  # of the good swing
_NO_LIFT: Final = 0.4  # of the signal: a bootstrap with less lifts nothing
_WITHOUT_BOOTSTRAP: Final = (0.45, 0.85)  # of the swing that is left
_LEFT_AT_AN_END: Final = (0.05, 0.6)  # of the signal
_LEAST_MOVE_V: Final = 0.02  # a smaller step tells no slope
_LOST_SLOPE: Final = 0.1  # of the good slope: the output no longer reaches its feedback pin
_CLOSE_ENOUGH: Final = 0.01  # of the wanted volts, and as many volts
_CLOSE_WITHOUT_SLOPE: Final = 0.05


class OutputStage(Amplifier):
    """Drives pins; with a feedback pin its gain and its mean are set by the drawn parts."""

    kind = "output stage"

    def set_up(self) -> None:
        """Find the feedback pin and the pin that is driven."""
        self.driven = self._find_driven_pin()
        self.loop = find_loop(self.settled, self.block)
        self.feedback = self.loop.pin if self.loop is not None else None
        self.dampers = self._list_dampers()
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
        self.put_out(self._whistle(self.spoil_by_stores(signal)))

    def _whistle(self, signal: Signal) -> Signal:
        """Return the signal, distorted where the output has lost what keeps it from oscillating.

        A resistor of some ohms and a capacitor to ground, in series at the output: common practice
        of power amplifiers (Zobel network).
        """
        unstable = np.zeros(self.count, dtype=bool)
        for number, fault in enumerate(self.boards.faults):
            one = fault.hypothesis
            if one.kind == "part" and one.failure == "open" and one.what in self.dampers:
                unstable[self.boards.list_rows(number)] = True
        whistles = unstable & self.draw_event("whistles", _WHISTLES)
        return signal.add_seen(Seen.DISTORTED, whistles & (signal.level > _LEAST_ASKED))

    def _list_dampers(self) -> frozenset[str]:
        """Return the references of the resistor and the capacitor that damp the output."""
        refs = set()
        for part in self.topology.parts_at.get(self.driven or "", ()):
            ohm = part.quantity.nominal if part.kind == "resistor" and part.quantity else np.inf
            for end in part.joins:
                behind = [p for p in self.topology.parts_at.get(end, ()) if p is not part]
                is_damper = (
                    ohm <= _DAMPING_OHM
                    and end not in self.topology.pin_at
                    and [p.kind for p in behind] == ["capacitor"]
                    and GROUND in behind[0].joins
                )
                if is_damper:
                    refs |= {part.ref, behind[0].ref}
        return frozenset(refs)

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
        """Lower the flyback peak at the output where the pump no longer lifts its supply.

        In the field flyback a pump puts the output stage on about twice its supply. Without it the
        peak ends at the supply, and the beam comes back too slowly to the top of the picture.
        """
        pumped_supplies = [p for p in self.list_pins("supply") if self.topology.is_pulsed(p)]
        for pin in [p for p in self.block.outputs if p in self.topology.expectations]:
            waveform = self.topology.expectations[pin].waveform
            if not pumped_supplies or waveform is None:
                continue
            supply_v = self.topology.find_nominal_v(pumped_supplies[0])
            peak_v = max(waveform.extremes_v[1], 1e-3)
            share_above_supply = np.clip(1 - supply_v / peak_v, 0, _MOST_FLYBACK_LIFT)
            pump_signal = self.settled.find_board_signal(pumped_supplies[0])
            # Nothing known of the pump's signal counts as a pump that works.
            lift_left = (
                np.clip(pump_signal.level, 0, 1) if pump_signal is not None else np.ones(self.count)
            )
            self.weaken_feature("field shape", np.clip(_FIELD_SHAPE_WITHOUT_PUMP + lift_left, 0, 1))

            def lower_peak(
                shown: Signal, share: Array = 1 - share_above_supply * (1 - lift_left)
            ) -> Signal:
                return shown.amplify(share)

            self.settled.overruled[pin] = lower_peak

    def set_rest_voltage(self, pin: str, presence: Array) -> None:
        """Set the mean voltage of a pin that has ``presence`` (0 to 1) left of its signal.

        Between the idle and the good mean, in proportion; a picture output also follows the
        brightness, is dark while blanked, and does not leave its swing.
        """
        if pin in self.settled.servoed:
            return  # a feedback loop sets this mean
        idle_v = self.find_idle_v(pin)
        good_v = self.settled.read_good_volts(pin)
        mean_v = good_v if idle_v is None else idle_v + (good_v - idle_v) * presence
        if self._is_picture(pin):
            mean_v = self._limit_picture_v(pin, mean_v)
            if idle_v is None:
                self.settled.steer(pin, mean_v)
                return
        # An open collector only pulls down: its load decides where it rests.
        if idle_v is None or self.topology.is_open_collector(pin):
            super().set_rest_voltage(pin, presence)
        else:
            self.settled.steer(pin, mean_v)

    def _limit_picture_v(self, pin: str, mean_v: Array) -> Array:
        """Return the mean of a picture output, moved by brightness, blanked, within its swing."""
        good_v = self.settled.read_good_volts(pin)
        blanked_v = good_v * self.draw_figure("blanking level", *_BLANKED_SHARE)
        supply = self.topology.supply_of.get(pin)
        supply_v = self.settled.read_volts(supply) if supply is not None else 2 * good_v
        highest_v = self._find_highest_picture_v(pin, supply_v)
        # The black level carries the whole picture up or down with it.
        lit_v = np.minimum(mean_v + self.settled.black_v, highest_v)
        picture_v = np.where(self.settled.blanked, blanked_v, lit_v)
        lowest_v = np.minimum(self.draw_figure("lowest", *_LOWEST_V), good_v)
        return np.maximum(picture_v, lowest_v)

    def _is_picture(self, pin: str) -> bool:
        return bool(
            re.search(r"\b(red|green|blue|luminance|video)\b", self.topology.pin_at[pin].function)
        )

    def _blank(self, signal: Signal) -> Signal:
        """Return the signal; without keys outputs are never blanked, or always."""
        for end, key in self.list_keys().items():
            if "guard" in end:
                continue
            is_lost = key.level < _LEAST_SIGNAL
            always_blanked = is_lost & self.draw_event("blanked without keys", 0.5)
            self.settled.blanked |= always_blanked
            signal = make_no_signal(self.count).choose_where(always_blanked, signal)
            # Never blanked: the flyback lines ride on the picture.
            signal = signal.add_seen(Seen.DISTORTED, is_lost)
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
        elif (
            self._drive is None
            and path is None
            and not reaches(self.settled, self.driven, self.feedback)
        ):
            # It comes back inside the chip, and the parts at the pin are its foot.
            asked = signal
            self.settled.overruled[self.feedback] = lambda _: asked
            self._rest_at_reference()
            gained = signal.amplify(compute_foot_gain(self.settled, self.driven, self.feedback))
            return self._cut_to_swing(gained)
        self._servo_mean(signal)
        return self._cut_to_swing(signal)

    def _rest_at_reference(self) -> None:
        """Set the mean of an output that feeds back inside the chip: it follows its reference, half
        the supply mostly; dead, it lies at an end."""
        assert self.driven is not None
        settled = self.settled
        settled.servoed.add(self.driven)
        settled.absolute.add(self.driven)
        rest_v = settled.read_good_volts(self.driven) * self._compute_reference_share()
        settled.steer(self.driven, rest_v)
        is_dead = self.compute_vitality() * self._compute_life_before() < _LEAST_VITALITY
        settled.aim_where(self.driven, is_dead, self._compute_dead_emf(self.driven))

    def _run_away(self, signal: Signal) -> Signal:
        """Return the signal, stuck at one end of the swing where the yoke's current is lost.

        An amplifier with feedback drives harder and harder for a current that does not come: its
        output ends at one rail, and only a little distorted signal is left.
        """
        assert self.feedback is not None
        assert self.driven is not None
        path = self.settled.paths.at.get(self.feedback)
        returned = self.settled.find_input_signal(self.feedback)
        drive = self.settled.sent.get(self.driven)
        if path is None or returned is None or drive is None:
            return signal
        if path.source not in self.settled.loops:
            return signal  # the feedback comes by drawn parts, which tell it better
        # A weak drive makes a weak current: that alone is no lost feedback.
        drive_share = np.clip(2.5 * drive.level - 0.5, 0, 1)
        is_lost = returned.level < _LOST_FEEDBACK * np.maximum(drive_share, _LEAST_SIGNAL)
        is_lost &= signal.level > _LEAST_SIGNAL
        # Once at an end the stage stays there until the current comes back.
        self._away = is_lost | (self._away & (returned.level < _LOST_FEEDBACK))
        foot_v, top_v = self._find_swing_ends(self.driven)
        end_v = np.where(self.draw_event("runs up", 0.5), top_v, foot_v)
        self.settled.aim_where(self.driven, self._away, end_v)
        stuck = signal.amplify(self.draw_figure("left at its end", *_LEFT_AT_AN_END))
        stuck = stuck.add_seen(Seen.DISTORTED, self._away).add_seen(Seen.CLIPPED, self._away)
        return stuck.choose_where(self._away, signal)

    def _find_swing_ends(self, pin: str) -> tuple[Array, Array]:
        """Return the lowest and the highest volts that a pin can be driven to, shape (boards,).

        The chip's stated output limits count before the usual losses of an output stage. The upper
        end keeps its distance to the supply when that falls.
        """
        foot_v = self.draw_figure("kept at the foot", *_KEPT_AT_FOOT_V)
        kept_at_top_v = self.draw_figure("kept at the top", *_KEPT_AT_TOP_V)
        supply = self.topology.supply_of.get(pin)
        limits = self.topology.pin_at[pin].output_limits
        if limits is not None and limits.low is not None:
            foot_v = np.full(self.count, limits.low.nominal)
        # An output without a known supply is taken to be on a usual one.
        if supply is None:
            return foot_v, np.full(self.count, _UNKNOWN_SUPPLY_V) - kept_at_top_v
        if limits is not None and limits.high is not None:
            stated_distance_v = self.topology.find_nominal_v(supply) - limits.high.nominal
            kept_at_top_v = np.full(self.count, stated_distance_v)
        return foot_v, self.settled.read_volts(supply) - kept_at_top_v

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
        most_level = self.draw_figure("headroom", *_HEADROOM) * self._compute_room()
        for pin in self._list_bootstraps():
            bootstrap = self.settled.find_input_signal(pin)
            if bootstrap is None:
                continue
            # A bootstrap that no longer rises with the output leaves its driver short at the top.
            is_flat = bootstrap.level < _NO_LIFT * np.maximum(signal.level, 0.05)
            share_left = self.draw_figure("without bootstrap", *_WITHOUT_BOOTSTRAP)
            most_level = most_level * np.where(is_flat, share_left, 1.0)
        supplies = self.list_pins("supply")
        if supplies:
            most_level = most_level * np.clip(self.settled.compute_share(supplies[0]), 0.05, 1.3)
        is_cut = signal.level > most_level
        shorter = replace(
            signal,
            level=np.minimum(signal.level, most_level),
            colour=np.minimum(signal.colour, most_level),
        )
        return shorter.add_seen(Seen.DISTORTED, is_cut).add_seen(Seen.CLIPPED, is_cut)

    def _compute_room(self) -> Array:
        """Return the room that the mean leaves to swing in, relative to the good board's."""
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
        """Move the output's mean one step closer to where the feedback pin has its wanted volts.

        The loop is simulated as a secant search: the slope of the feedback pin against the voltage
        inside the output comes from the last step, at first from the good board.
        """
        assert self.feedback is not None
        assert self.driven is not None
        settled = self.settled
        wanted_v = settled.read_good_volts(self.feedback) * self._compute_reference_share()
        feedback_v, inside_v = settled.read_volts(self.feedback), settled.read_emf(self.driven)
        good_slope = compute_good_slope(settled, self.driven, self.feedback)
        slope = self._measure_slope(feedback_v, inside_v, good_slope)
        self._before = (feedback_v, inside_v)

        # Where the output no longer reaches the feedback pin it drifts to one end.
        is_loose = self.boards.is_lifted[:, self.topology.index[self.feedback]]
        is_lost = (np.abs(slope) < _LOST_SLOPE * np.abs(good_slope)) | is_loose
        end_step_v = np.where(self.draw_event("which end", 0.5), _OUT_OF_REACH_V, -_OUT_OF_REACH_V)
        error_v = wanted_v - feedback_v
        step_v = np.where(is_lost, end_step_v, error_v / np.where(is_lost, 1.0, slope))
        # Close enough: another step would only make rounding errors swing.
        is_close = np.abs(error_v) < _CLOSE_ENOUGH * np.abs(wanted_v) + _CLOSE_ENOUGH
        is_close |= is_lost & (np.abs(error_v) < _CLOSE_WITHOUT_SLOPE * np.abs(wanted_v))
        step_v = np.where(is_close & ~is_loose, 0.0, step_v)

        is_alive = self.compute_vitality() * self._compute_life_before() > _LEAST_VITALITY
        settled.servoed.add(self.driven)
        settled.absolute.add(self.driven)
        emf_v = np.where(is_alive, inside_v + step_v, self._compute_dead_emf(self.driven))
        settled.aim(self.driven, self._limit_emf(emf_v))

    def _compute_reference_share(self) -> Array:
        """Return the voltage that the feedback is compared with, relative to the good board's.

        It is that of a reference pin, else of a decoupled divider; 1 where the stage has neither.
        """
        assert self.loop is not None
        share = np.ones(self.count)
        for roles in (("decoupling", "filter"), ("reference",)):
            for pin in self.list_pins(*roles, among=self.loop.pins):
                if pin not in self.block.outputs:
                    share = np.clip(self.settled.compute_share(pin), 0, 1.6)
        return share

    def _measure_slope(self, feedback_v: Array, inside_v: Array, good_slope: Array) -> Array:
        """Return volts at the feedback pin per volt inside the output, from the last step."""
        if self._before is None:
            return good_slope
        feedback_before_v, inside_before_v = self._before
        moved_v = inside_v - inside_before_v
        is_usable = np.abs(moved_v) > _LEAST_MOVE_V
        measured = (feedback_v - feedback_before_v) / np.where(is_usable, moved_v, 1.0)
        return np.where(is_usable, measured, good_slope)

    def _limit_emf(self, emf_v: Array) -> Array:
        """Return the voltage inside the driven pin, kept within the swing of the output stage."""
        assert self.driven is not None
        supply = self.topology.supply_of.get(self.driven)
        if supply is None:
            return emf_v
        # However hard the driver tries, the output stage keeps some of what it gets.
        good_v = self.settled.read_good_volts(self.driven)
        foot_v, top_v = self._find_swing_ends(self.driven)
        bottom_v = np.minimum(foot_v, 0.5 * good_v)
        top_v = np.maximum(top_v, np.minimum(self.settled.read_volts(supply), 1.02 * good_v))
        return np.clip(emf_v, bottom_v, np.maximum(top_v, bottom_v))
