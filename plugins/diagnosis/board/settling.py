"""Boards at rest with themselves: voltages, signals and stages, each after the other.

Voltages decide how stages work, stages decide which signals there are and where stores and
outputs sit, and that changes voltages. A few rounds bring it to rest.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .clippers import compute_clipped_shares, compute_unloaded_shares
from .cloud import FEATURES, Seen
from .kinds import find_kind
from .links import Link, compute_line_chain_share, find_links, find_outside_loops
from .operating_point import Boards
from .paths import Paths
from .resonators import solve_tuned_circuit
from .ripple import compute_ripple_vpp
from .senders import carries_signal
from .signals import Signal, make_good_signal, make_no_signal
from .stages import Stage, list_stages
from .tuner import compute_tuner_gain

Array = NDArray[Any]

_ROUNDS: Final = 4
_SWEEPS: Final = 2  # along the diagram in each round: a loop needs its own result once
_FAR_OFF: Final = 0.15
_SAGS_BELOW: Final = (0.2, 0.6)  # of field rate that is left, where a picture's slope shows
_DROPOUT_SHARE: Final = 0.2  # of a supply, what a regulator inside keeps to itself
_HANGS_ON_REFERENCE: Final = 0.5  # of chips with one, those that bias inputs by it
_BIASED: Final = ("input", "decoupling", "filter")
_STOPS: Final = (0.1, 0.3)  # of a supply: two or three junctions, common practice
_BIAS_RANGE: Final = (0.3, 0.75)  # of its bias, how far off an input still works
_SLICING_RANGE: Final = (0.06, 0.6)
_LEAST_BIAS_V: Final = 0.6  # inputs nearer to ground are not biased there
_LEAST_GAIN: Final = 0.2
_HALF_BANDWIDTH: Final = 0.06  # of its frequency, a damped tuned circuit at a detector
_USUAL_SUPPLY_V: Final = 12.0  # where none is stated
_MOST_SUPPLY: Final = 1.6  # of its good voltage, before something inside limits
_LEAST_CURRENT_A: Final = 1e-9


class Settled:
    """Boards with their signals and stages."""

    def __init__(self, boards: Boards) -> None:
        self.boards = boards
        self.good = boards.good
        self.topology = boards.good.topology
        self.draws = boards.good.draws
        self.paths = Paths(boards)
        self.sent: dict[str, Signal] = {}
        """The signal of each source, before the parts on it load it."""
        self.out: dict[str, Signal] = {}
        """The signal that each stage puts out, by id."""
        self.ripple_vpp = np.zeros((boards.count, boards.nodes))
        self.ripple = np.ones((boards.count, boards.nodes))
        """Ripple at each point relative to a good board's."""
        self.features = {name: np.ones(boards.count) for name in FEATURES}
        self.overruled: dict[str, Callable[[Signal], Signal]] = {}
        """Signals that no share of their source describes: sides of a resonator."""
        self.line_locked = np.ones(boards.count, dtype=bool)
        """Whether the line oscillator is in step with the picture."""
        self.brightness = np.zeros(boards.count)
        """How far the picture is too bright, 1 for glaring; -1 for dark."""
        self.black_v = np.zeros(boards.count)
        """How far the black level at the picture's outputs has moved."""
        self.blanked = np.zeros(boards.count, dtype=bool)
        self.lift: dict[str, Array] = {}
        """Volts by which a stage holds a pin up for another reason than its signal."""
        self.absolute: set[str] = set()
        """Pins that do not follow their supply in proportion: regulated, or held by a loop."""
        self.servoed: set[str] = set()
        """Pins whose mean a feedback loop sets."""
        self._good_emf = boards.emf_v.copy()
        self._number = {s.at: n for n, s in enumerate(boards.good.sources)}
        """The column of each source, by its point."""
        self._wanted_emf: dict[str, Array] = {}
        self._seen_volts: dict[str, tuple[int, Array]] = {}
        self._resonances: dict[str, tuple[Array, Array]] = {}
        self._ones = np.ones(boards.count)
        self.off_v: dict[str, Array] = {}
        """Volts of pins that pull down in pulses, while they do not."""
        self.links: dict[str, Link] = {}
        self.clipped: dict[str, Array] = {}
        """Signals relative to the good one where a diode clips no more."""
        self.unloaded: dict[str, Array] = {}
        """Shares left of signals behind followers without their load, by point."""
        self.loops = find_outside_loops(boards)
        self.line_chain = compute_line_chain_share(boards)
        self.stages: tuple[Stage, ...] = list_stages(self)

    # Voltages

    def read_volts(self, name: str) -> Array:
        """Return a pin's volts as its stage sees them: against its ground, behind the joint."""
        version, volts = self._seen_volts.get(name, (None, self._ones))
        if version != self.boards.version:
            volts = self._look_at(name)
            self._seen_volts[name] = (self.boards.version, volts)
        return volts

    def _look_at(self, name: str) -> Array:
        column, boards = self.topology.index[name], self.boards
        ground = self.topology.index[self.topology.ground_of.get(name, "ground")]
        volts = np.asarray(boards.volts[:, column] - boards.volts[:, ground])
        is_lifted = boards.is_lifted[:, column]
        if not is_lifted.any():
            return volts
        inside_v = boards.emf_v[:, self._number[name]] if name in self._number else 0.0
        return np.where(is_lifted, inside_v, volts)

    def read_good_volts(self, name: str) -> Array:
        """Return the same of the good board of each draw."""
        return self.read_volts(name)[: self.boards.draws][self.boards.draw_of]

    def compute_share(self, name: str) -> Array:
        """Return the voltage at a pin as a share of the good board's."""
        good = self.read_good_volts(name)
        usable = np.abs(good) > 0.05
        return np.where(usable, self.read_volts(name) / np.where(usable, good, 1.0), 1.0)

    def compute_supply_share(self, pin: str) -> Array:
        """Return the supply of a pin's stage as a share of the good one's."""
        supply = self.topology.supply_of.get(pin)
        return self.compute_share(supply) if supply is not None else self._ones

    def compute_current_share(self, name: str) -> Array:
        """Return the current that a pin gives, as a share of the good board's."""
        boards, number = self.boards, self._number[name]
        column = self.topology.index[name]
        ground = self.topology.index[boards.good.sources[number].returns_to]
        across_v = boards.volts[:, column] - boards.volts[:, ground]
        current_a = (boards.emf_v[:, number] - across_v) * boards.siemens[:, number]
        good_a = current_a[: boards.draws][boards.draw_of]
        share = current_a / np.where(good_a == 0, 1, good_a)
        return np.where(np.abs(good_a) > _LEAST_CURRENT_A, share, 1.0)

    def compute_gain_from_inside(self, name: str, least: float = _LEAST_GAIN) -> Array:
        """Return how far a pin follows the voltage inside it, on good boards."""
        at, number = self.topology.index[name], self._number[name]
        gain = self.boards.impedance.read_own(at) * self.boards.good.sources[number].siemens
        return np.clip(gain, least, 1.0)[self.boards.draw_of]

    def has_source(self, name: str) -> bool:
        """Return whether a pin or node has a source of its own."""
        return name in self._number

    def steer(self, name: str, volts: Array) -> None:
        """Let the source inside a pin aim at a voltage, as far as the board lets it."""
        if name not in self._number:
            return
        number = self._number[name]
        least = 1e-3 if self.topology.is_open_collector(name) else _LEAST_GAIN
        moved = (volts - self.read_good_volts(name)) / self.compute_gain_from_inside(name, least)
        self._wanted_emf[name] = self._good_emf[:, number] + moved

    def read_emf(self, name: str) -> Array:
        """Return the voltage inside a pin's source."""
        return self.boards.emf_v[:, self._number[name]]

    def aim(self, name: str, emf_v: Array) -> None:
        """Set the voltage inside a pin's source."""
        if name in self._number:
            self._wanted_emf[name] = emf_v

    def aim_where(self, name: str, where: Array, emf_v: Array) -> None:
        """Set the voltage inside a pin's source on some boards."""
        number = self._number[name]
        before = self._wanted_emf.get(name, self._good_emf[:, number])
        self._wanted_emf[name] = np.where(where, emf_v, before)

    def release(self, name: str, where: Array) -> None:
        """Let a pin hang free on some boards: its stage is dead."""
        if name in self._number:
            self.boards.released[:, self._number[name]] = where

    # Signals

    def find_board_signal(self, name: str) -> Signal | None:
        """Return the signal at a point of the board; None where none is known to come."""
        path = self.paths.at.get(name) or self.links.get(name)
        if path is None:
            # A signal that is stated, and that nothing drawn explains, is taken as it is.
            stated = carries_signal(self.topology, name)
            return make_good_signal(self.boards.count) if stated else None
        sent = self.sent.get(path.source) or make_good_signal(self.boards.count)
        signal = sent.amplify(path.share)
        if name in self.clipped:
            signal = signal.amplify(self.clipped[name])
        if name in self.unloaded:
            is_cut = self.unloaded[name] < 1
            signal = signal.amplify(self.unloaded[name]).add_seen(Seen.DISTORTED, is_cut)
        if name in self.paths.field_share:
            signal = self._tilt(name, signal)
        return self.overruled[name](signal) if name in self.overruled else signal

    def _tilt(self, name: str, signal: Signal) -> Signal:
        """Return a picture whose coupling no longer passes field rate: it sags from line to line.

        Its lines keep their height; a technician sees the slope, or takes it for the picture.
        """
        lost = self.paths.field_share[name] < self.boards.spread_draws(
            self.draws.draw_uniform(f"{name} sags", *_SAGS_BELOW)
        )
        return signal.add_seen(Seen.DISTORTED, lost & (signal.level > 0.05))

    def find_input_signal(self, end: str) -> Signal | None:
        """Return the signal that a stage gets from a pin or another stage; None for no signal."""
        if end in self.out:
            return self.out[end]
        if end not in self.topology.pin_at:
            return None
        signal = self.find_board_signal(end)
        if signal is None:
            return None
        is_lifted = self.boards.is_lifted[:, self.topology.index[end]]
        arriving = make_no_signal(self.boards.count).choose_where(is_lifted, signal)
        return arriving.amplify(self.compute_bias_share(end))

    def compute_bias_share(self, pin: str) -> Array:
        """Return how far an input still works at the voltage it is at: 1 near its own bias.

        A move along with its supply does not count.
        """
        good = self.read_good_volts(pin)
        if self.topology.pin_at[pin].role != "input" or np.abs(good).min() < _LEAST_BIAS_V:
            return self._ones
        usual = np.clip(self.compute_supply_share(pin), 0.1, 1.5)
        off = np.abs(self.compute_share(pin) / usual - 1)
        # Sync is sliced from the tips, some per cent of the bias away.
        slices = any(find_kind(b) == "sync separator" for b in self.topology.blocks_at.get(pin, ()))
        span = _SLICING_RANGE if slices else _BIAS_RANGE
        limit = self.boards.spread_draws(self.draws.draw_uniform(f"{pin} bias range", *span))
        return np.asarray(np.clip((1.3 * limit - off) / (0.3 * limit), 0.0, 1.0))

    def compute_looseness(self, name: str) -> Array:
        """Return ripple at a store, or behind its filter's resistor, in times the good board's."""
        names = [name]
        for part in self.topology.parts_at.get(name, ()):
            if part.kind == "resistor":
                names += [e for e in part.joins if e not in (name, "ground")
                          and e not in self.topology.pin_at]  # fmt: skip
        columns = [self.topology.index[n] for n in names]
        return np.asarray(self.ripple[:, columns].max(axis=1))

    # Tuned circuits

    def solve_resonance(self, pin: str) -> tuple[Array, Array]:
        """Return the share left of a pin's tuned circuit, and its frequency's share."""
        parts = self.topology.parts_at.get(pin, ())
        coil = next((part for part in parts if part.kind == "coil" and part.quantity), None)
        if coil is None:
            return self._ones, self._ones
        if pin not in self._resonances:
            self._resonances[pin] = solve_tuned_circuit(self.paths, pin, coil)
        return self._resonances[pin]

    def compute_resonance_share(self, pin: str) -> Array:
        """Return how much a tuned circuit at a pin still brings at its frequency, 0 to 1."""
        left, shift = self.solve_resonance(pin)
        off = np.abs(shift - 1)
        return np.asarray(np.clip(left, 0, 1.2) / np.sqrt(1 + (off / _HALF_BANDWIDTH) ** 2))

    # Coming to rest

    def run(self) -> None:
        """Bring voltages, signals and stages to rest."""
        for turn in range(_ROUNDS):
            self.boards.solve_dc()
            if turn in (0, _ROUNDS - 1):
                self._follow_signals()  # slow, and hardly different in the rounds between
            self._send_from_outside()
            for _ in range(_SWEEPS):
                self._begin_sweep()
                for stage in self.stages:
                    stage.advance()
            if turn < _ROUNDS - 1:
                self._move_sources()

    def _follow_signals(self) -> None:
        """Work out how signals and ripple get through the parts in the devices' present states."""
        self.paths.solve()
        self.links = find_links(self.boards, set(self.paths.at))
        self.clipped = compute_clipped_shares(self.paths)
        self.unloaded = compute_unloaded_shares(self.paths)
        self._look_at_switched()
        self.ripple_vpp = compute_ripple_vpp(self.paths)
        self.ripple = self.ripple_vpp / self.ripple_vpp[: self.boards.draws][self.boards.draw_of]

    def _look_at_switched(self) -> None:
        """Find the volts to which each pin that pulls down in pulses is pulled up meanwhile."""
        for name in self.topology.pin_at:
            pulsed = self.topology.is_pulsed(name) and self.topology.is_open_collector(name)
            if pulsed and self.has_source(name):
                self.off_v[name] = self.boards.solve_without_source(name)

    def _begin_sweep(self) -> None:
        """Forget the picture of the last sweep."""
        for name in self.features:
            self.features[name] = np.ones(self.boards.count)
        self.brightness = np.zeros(self.boards.count)
        self.black_v = np.zeros(self.boards.count)
        self.blanked = np.zeros(self.boards.count, dtype=bool)

    def _send_from_outside(self) -> None:
        """Set the signals from outside, with their faults."""
        good, gone = make_good_signal(self.boards.count), make_no_signal(self.boards.count)
        for name in self.paths.sources:
            pin = self.topology.pin_at.get(name)
            if pin is None or pin.role == "input":
                self.sent[name] = make_good_signal(self.boards.count)
            elif name not in self.sent:
                is_lifted = self.boards.is_lifted[:, self.topology.index[name]]
                self.sent[name] = gone.choose_where(is_lifted, good)
        for name in self.paths.sources:
            gain = compute_tuner_gain(self.boards, name)
            if gain is not None:
                self.sent[name] = self.sent[name].amplify(gain)
        for name, link in self.loops.items():
            self._close_loop(name, link)
        # Last, so that a fault outside is neither amplified nor overruled by a loop.
        for number, fault in enumerate(self.boards.faults):
            rows = self.boards.list_rows(number)
            for name in fault.signal_share.keys() & self.sent.keys():
                self.sent[name].level[rows] = fault.signal_share[name]
                self.sent[name].colour[rows] = fault.signal_share[name]

    def _compute_following(self, pin: str, good_emf_v: Array) -> Array:
        """Return how far a pin's inner voltage follows its supply, or the reference it hangs on.

        On some boards the chip regulates inside: it then holds until the supply no longer suffices.
        """
        if pin in self.topology.fed_outside:
            return self._ones
        bias = self.topology.reference_of.get(pin)
        if bias is not None:
            return self.compute_share(bias)
        supply_share = _stop_below(self.compute_supply_share(pin))
        supply = self.topology.supply_of.get(pin)
        supply_v = abs(self.topology.find_nominal_v(supply)) if supply else _USUAL_SUPPLY_V
        needed_v = np.abs(good_emf_v) + _DROPOUT_SHARE * supply_v
        held_share = np.maximum(supply_share, 0) * supply_v / np.maximum(needed_v, 0.1)
        is_regulated = self.boards.spread_draws(self.draws.draw_event("regulated inside", 0.3))
        # A voltage so near to its supply cannot be regulated down from it.
        is_regulated &= needed_v < supply_v
        following = np.where(is_regulated, np.minimum(held_share, 1.0), supply_share)
        biased = self._find_reference_share(pin)
        return following if biased is None else np.where(biased[0], biased[1], following)

    def _find_reference_share(self, pin: str) -> tuple[Array, Array] | None:
        """Return on which boards a bias comes from the chip's reference, and that one's share."""
        main = next((p for stage in self.stages if stage.kind == "reference"
                     for p in stage.block.outputs if p in self.topology.pin_at), None)  # fmt: skip
        if main is None or main == pin or self.topology.pin_at[pin].role not in _BIASED:
            return None
        return self.boards.spread_draws(
            self.draws.draw_event("biased by the reference", _HANGS_ON_REFERENCE)
        ), self.compute_share(main)

    def _close_loop(self, name: str, link: Link) -> None:
        """Let a signal from outside follow the drive that makes it."""
        if link.via is not None:
            # A module outside gives back the signal that leaves the drawing there.
            signal = self.find_board_signal(link.via)
            if signal is not None and name in self.sent:
                self.sent[name] = signal.amplify(link.share)
            return
        drive = self.sent.get(link.source)
        if drive is None:
            return
        # A switched stage works or does not; far off its frequency it makes little.
        level = np.clip(2.5 * drive.level - 0.5, 0, 1) * link.share
        level = np.where(np.abs(drive.detune) > _FAR_OFF, 0.3 * level, level)
        if name in self.sent:
            self.sent[name] = replace(drive, level=level, colour=level.copy())
        is_signal = carries_signal(self.topology, name) or name in self.paths.sources
        if name in self._number and not is_signal:
            # A voltage rectified from the drive; the mean of a signal is a bias, which stays.
            number = self._number[name]
            good_emf_v = self.boards.spread_draws(self.good.sources[number].emf_v)
            self.boards.emf_v[:, number] = good_emf_v * level

    def _move_sources(self) -> None:
        """Put the sources inside pins where supplies, references and stages want them."""
        for number, source in enumerate(self.boards.good.sources):
            if source.kind != "pin":
                continue
            pin, good_emf_v = source.at, self._good_emf[:, number]
            emf_v = self._wanted_emf.get(pin, good_emf_v) + self.lift.get(pin, 0.0)
            if pin not in self.absolute:
                following = self._compute_following(pin, good_emf_v)
                emf_v = emf_v * np.clip(following, 0.0, _MOST_SUPPLY)
            if self.topology.is_open_collector(pin):
                # It pulls down, to ground and no further.
                emf_v = np.maximum(emf_v, np.minimum(good_emf_v, 0.0))
            if np.isfinite(source.low_v):
                emf_v = np.clip(emf_v, source.low_v, source.high_v)
            self.boards.emf_v[:, number] = emf_v


def _stop_below(supply_share: Array) -> Array:
    """Return the share of voltages inside a chip that a share of its supply leaves.

    Nothing of them is left below a tenth of it, where no junction conducts.
    """
    low, high = _STOPS
    return supply_share * np.clip((supply_share - low) / (high - low), 0.0, 1.0)


def settle(boards: Boards) -> Settled:
    """Return boards at rest."""
    settled = Settled(boards)
    settled.run()
    return settled
