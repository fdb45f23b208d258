"""Stages that drive pins, with feedback, bootstrap or pump where there is one."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..cloud import Seen
from ..signals import Signal, no_signal
from .amplifiers import Amplifier

Array = NDArray[Any]

_UNKNOWN_SUPPLY_V: Final = 12.0
_LOST_FEEDBACK: Final = 0.3  # of the yoke's current: with less the drive runs to an end


class OutputStage(Amplifier):
    """Drives pins; with a feedback pin its gain and its mean are set by the drawn parts."""

    kind = "output stage"

    def setup(self) -> None:
        """Find the feedback pin and the pin that is driven."""
        names = [p for p in self.pins if self._is_feedback(p)]
        self.feedback = names[0] if names else None
        self.driven = self._driven()
        self._before: tuple[Array, Array] | None = None
        self._away = np.zeros(self.count, dtype=bool)

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
        """Return the inputs, without the feedback."""
        return {end: s for end, s in super().main_inputs().items() if end != self.feedback}

    def advance(self) -> None:
        """Put out the input at the gain that the feedback leaves."""
        signal = self.main().times(self.vitality() * self.gated())
        signal = self._above_black(self._blanked(signal))
        if self.feedback is not None and self.driven is not None:
            signal = self._run_away(self._fed_back(signal))
        self._lift_flyback()
        self.put_out(self.steadied(signal))

    def _lift_flyback(self) -> None:
        """Take the pump's lift off the flyback at the pin when the pump does not work."""
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
            lit = np.minimum(target + self.settled.black_v, self._highest_picture(pin, top))
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
        """Return the signal; without keys outputs are never blanked, or always."""
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

    def _run_away(self, signal: Signal) -> Signal:
        """Return the drive at one of its ends where the yoke's current no longer comes back."""
        assert self.feedback is not None
        assert self.driven is not None
        path, back = (
            self.settled.paths.at.get(self.feedback),
            self.settled.signal_into(self.feedback),
        )
        drive = self.settled.sent.get(self.driven)
        if path is None or back is None or drive is None or path.source not in self.settled.loops:
            return signal
        runs = np.clip(2.5 * drive.level - 0.5, 0, 1)
        lost = (back.level < _LOST_FEEDBACK * np.maximum(runs, 0.3)) & (signal.level > 0.3)
        self._away = lost | (self._away & (back.level < _LOST_FEEDBACK))
        end = np.where(self.happens("runs up", 0.5), 60.0, -60.0)
        foot, top = self._swing_ends(self.driven)
        end = np.where(end > 0, top, foot)
        self.settled.aim_where(self.driven, self._away, end)
        stuck = signal.times(self.drawn("left at its end", 0.05, 0.6))
        stuck = stuck.seen(Seen.DISTORTED, self._away).seen(Seen.CLIPPED, self._away)
        return stuck.where(self._away, signal)

    def _swing_ends(self, pin: str) -> tuple[Array, Array]:
        """Return the lowest and the highest volts that a pin can be driven to.

        The upper end keeps its distance to the supply when that falls.
        """
        foot, kept = self.drawn("kept at the foot", 0.0, 1.0), self.drawn("kept at the top", 0.3, 3)
        supply, limits = self.topology.supply_of.get(pin), self.topology.pin_at[pin].output_limits
        if limits is not None and limits.low is not None:
            foot = np.full(self.count, limits.low.nominal)
        if supply is None:
            return foot, np.full(self.count, _UNKNOWN_SUPPLY_V) - kept
        if limits is not None and limits.high is not None:
            kept = np.full(self.count, self.topology.nominal_v(supply) - limits.high.nominal)
        return foot, self.settled.volts(supply) - kept

    def _highest_picture(self, pin: str, top: Array) -> Array:
        """Return the highest volts that a picture reaches at a pin: as stated, else some way below
        its supply."""
        limits = self.topology.pin_at[pin].output_limits
        if limits is not None and limits.high is not None:
            return self._swing_ends(pin)[1]
        return self.drawn("highest", 0.7, 0.9) * top

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
        """Return the room that the mean leaves to swing in, beside the good board's."""
        assert self.driven is not None
        supply = self.topology.supply_of.get(self.driven)
        if supply is None:
            return np.ones(self.count)
        top = self.settled.volts(supply)
        mean, good = self.settled.volts(self.driven), self.settled.good_volts(self.driven)
        room = np.minimum(mean, top - mean)
        good_room = np.minimum(good, self.settled.good_volts(supply) - good)
        return np.asarray(np.clip(room / np.maximum(good_room, 0.2), 0.02, 1.0))

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
        wanted_emf = np.where(alive, inside + step, self._dead_emf(self.driven))
        supply = self.topology.supply_of.get(self.driven)
        if supply is not None:
            # However hard the driver tries, the output stage keeps some of what it gets.
            good = settled.good_volts(self.driven)
            foot, top = self._swing_ends(self.driven)
            bottom = np.minimum(foot, 0.5 * good)
            top = np.maximum(top, np.minimum(settled.volts(supply), 1.02 * good))
            wanted_emf = np.clip(wanted_emf, bottom, np.maximum(top, bottom))
        settled.aim(self.driven, wanted_emf)

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
