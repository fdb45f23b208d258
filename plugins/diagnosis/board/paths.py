"""How signals get through the parts: from each source to each point, relative to the good board.

A source is a pin that sends, or a node that a signal comes in at. At each frequency the linear
network with the devices in their states gives the share of the source that arrives at a point.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ....schema.waveforms import Waveform
from .good_board import GROUND_JOINT_OHM
from .kinds import find_kind
from .network import Changes, Impedance, Stamp, solve
from .operating_point import Boards
from .senders import carries_signal, find_sources

Array = NDArray[Any]

_SAME_BAND: Final = 0.25  # of a frequency: signals nearer than this go through alike
_ARRIVES: Final = 0.02  # of the source's signal: less is none
_ARRIVES_WHERE_STATED: Final = 0.003  # a signal known to be there, if a device clips it
_HELD_BY: Final = 0.02  # of a point's swing: what swings along with it bears on its impedance
_NEARBY: Final = 1e-4
_MOST_TIMES: Final = 4.0
_LUMINANCE_HZ: Final = 100e3  # where luminance is judged: above line rate, below the colour
_FIELD_PULSES_HZ: Final = 3e3  # broad pulses of some 160 µs, against line pulses
_FIELD_HZ: Final = 50.0
_PASSED: Final = 0.6  # of field rate beside line rate: made to pass it
_WIDE: Final = ("composite video", "SECAM video", "multiburst", "crosshatch", "staircase")
_WORK_OUT_SWING: Final = ("ramp generator", "integrator")
_USUAL_SIEMENS: Final = 1e-2  # inside a source that nothing is known of
_LEAST_OHM: Final = 1e-12


@dataclass(frozen=True, eq=False)
class Path:
    """How the signal of a source arrives at a point."""

    source: str
    share: Array
    """The share that arrives, relative to the good board's, shape (boards,)."""
    volts_per_volt: float
    """Volts that arrive on the good board, per volt at the source."""


class Paths:
    """All paths of signals through the parts of boards."""

    def __init__(self, boards: Boards) -> None:
        self.boards = boards
        self.topology = boards.good.topology
        self.sources = find_sources(self.topology)
        self._impedances: dict[float, Impedance] = {}
        self._fixed: dict[float, Changes] = {}
        self._with_devices: dict[float, tuple[int, Changes | None]] = {}
        self.at: dict[str, Path] = {}
        """The path to each point that a source reaches; the strongest of several."""
        self.field_share: dict[str, Array] = {}
        """Of pictures at inputs that pass field rate: the share of it that is left."""

    def solve(self) -> None:
        """Follow the signals through all boards, in the states their devices are in."""
        self.at = {}
        for hz in self._list_frequencies():
            senders = [source for source in self.sources if self._sends(source, hz)]
            good_gains = {source: self._solve_good(source, hz) for source in senders}
            for source in senders:
                points = list(self._list_reached(source, hz, good_gains))
                if not points:
                    continue
                shares = self._solve_shares(source, hz, good_gains[source], points)
                for column, (name, volts_per_volt) in enumerate(points):
                    self.at[name] = Path(source, shares[:, column], volts_per_volt)
        self._solve_field_rate()

    def _solve_field_rate(self) -> None:
        """Follow pictures at field rate to the inputs that a good board brings it to.

        A coupling capacitor that has dried passes the lines and loses field rate first.
        """
        self.field_share = {}
        for source in self.sources:
            if self._find_waveform(source).kind not in _WIDE:
                continue
            good_gains = self._solve_good(source, _FIELD_HZ)  # draws x points
            inputs: list[tuple[str, float]] = []
            for name, path in self.at.items():
                if path.source != source or name == source or name not in self.topology.pin_at:
                    continue
                gain = float(np.median(good_gains[:, self.topology.index[name]]))
                if gain > _PASSED * path.volts_per_volt:
                    inputs.append((name, gain))
            if not inputs:
                continue
            shares = self._solve_shares(source, _FIELD_HZ, good_gains, inputs)
            for column, (name, _) in enumerate(inputs):
                self.field_share[name] = shares[:, column]

    def _list_frequencies(self) -> list[float]:
        """Return the frequencies to look at, merged where they are near, highest first.

        A point whose signal is stated is solved at its own frequency; others at any.
        """
        found: list[float] = []
        for name in (*self.topology.expectations, *self.sources):
            if name in self.sources or carries_signal(self.topology, name):
                hz = _read_hz(self._find_waveform(name))
                if hz > 0 and not any(_are_near(hz, other) for other in found):
                    found.append(hz)
        return sorted(found, reverse=True)

    def _find_waveform(self, name: str) -> Waveform:
        stated_at = self.sources.get(name, name)
        waveform = self.topology.expectations[stated_at].waveform
        assert waveform is not None
        return waveform

    def _sends(self, source: str, hz: float) -> bool:
        """Return whether a source has something at a frequency: its own, or part of wide video."""
        waveform = self._find_waveform(source)
        if waveform.kind == "composite sync" and hz == _FIELD_PULSES_HZ:
            return True
        return _are_near(_read_hz(waveform), hz) or (waveform.kind in _WIDE and hz > _LUMINANCE_HZ)

    def _list_reached(
        self, source: str, hz: float, good_gains: dict[str, Array]
    ) -> Iterator[tuple[str, float]]:
        """Yield the points that this source, of all at the frequency, brings most to.

        Each with the volts there per volt at the source. ``good_gains``: the same of all senders,
        shape (draws, points).
        """
        topology = self.topology
        source_is_near = _are_near(_read_hz(self._find_waveform(source)), hz)
        source_vpp = {s: self._find_waveform(s).figures.vpp_v for s in good_gains}
        median_gains = {s: np.median(gains, axis=0) for s, gains in good_gains.items()}
        for name in topology.points:
            if name == source:
                if source_is_near:
                    yield name, 1.0
                continue
            column = topology.index[name]
            gain_of = {s: float(gains[column]) for s, gains in median_gains.items()}
            is_stated = carries_signal(topology, name)
            least_gain = _ARRIVES_WHERE_STATED if is_stated else _ARRIVES
            if name in self.sources or topology.is_quiet(name) or gain_of[source] < least_gain:
                continue
            if is_stated:
                # A stated signal is followed at its own frequency alone.
                if not _are_near(_read_hz(self._find_waveform(name)), hz):
                    continue
            elif name in self.at and not source_is_near:
                continue
            arriving_vpp = {s: gain_of[s] * source_vpp[s] for s in good_gains}
            others_vpp = [vpp for s, vpp in arriving_vpp.items() if s != source]
            if arriving_vpp[source] > max(others_vpp, default=0.0):
                yield name, gain_of[source]

    def _stamp_frequency(self, hz: float, without_arm: str = "") -> Stamp:
        """Return the admittances at a frequency, of one resonator without its motional arm."""
        boards, index = self.boards, self.topology.index
        stamp = Stamp(boards.draws, boards.nodes, dtype=np.complex128)
        for element in boards.good.elements:
            ends = (index[element.ends[0]], index[element.ends[1]])
            if element.ref == without_arm:
                # Its holder is left: a capacitor.
                stamp.add(ends, 2j * np.pi * hz * element.parallel_farad)
            else:
                stamp.add(ends, element.compute_siemens(hz))
        for device, state in zip(boards.good.devices, boards.good.states, strict=True):
            for out, siemens, _, sense in device.list_terms(int(state)):
                stamp.add(out, siemens, 0.0, sense)
        for source in boards.good.sources:
            ends = (index[source.at], index[source.returns_to])
            stamp.add(ends, source.signal_siemens + self._compute_pin_siemens(source.at, hz))
        joints = zip(boards.good.joints, boards.good.joint_siemens, strict=True)
        for (first_end, second_end), siemens in joints:
            stamp.add((index[first_end], index[second_end]), siemens)
        return stamp

    def _compute_pin_siemens(self, name: str, hz: float) -> complex:
        pin = self.topology.pin_at.get(name)
        if pin is None or pin.capacitance is None:
            return 0j
        return 2j * np.pi * hz * pin.capacitance.nominal

    def solve_impedance(self, hz: float) -> Impedance:
        """Return the good board's impedance matrices at a frequency."""
        if hz not in self._impedances:
            self._impedances[hz] = self._stamp_frequency(hz).invert()
        return self._impedances[hz]

    def solve_impedance_without_arm(self, hz: float, ref: str) -> Impedance:
        """Return the impedance matrices with a resonator's holder alone."""
        return self._stamp_frequency(hz, without_arm=ref).invert()

    def list_changes_without(self, hz: float, ref: str) -> Changes:
        """Return the changes at a frequency, without those of one part."""
        return self.boards.add_device_changes(
            self._list_fault_changes(hz, without=ref), with_drops=False
        )

    def _solve_good(self, source: str, hz: float) -> Array:
        """Return the volts everywhere on good boards, per volt at the source."""
        column = self.solve_impedance(hz).from_node[:, self.topology.index[source]]
        own = column[:, [self.topology.index[source]]]
        return np.abs(column / np.where(own == 0, 1, own))

    def find_passed_gain(self, source: str, name: str, hz: float) -> float:
        """Return the volts at a point of the good board for a volt at the source."""
        return float(np.median(self._solve_good(source, hz)[:, self.topology.index[name]]))

    def find_gain_of_like(self, source: str, name: str, alike: str) -> float:
        """Return the volts at a point of the good board for a volt at a source.

        0 for a source whose signal is not of the rate of another's (``alike``).
        """
        hz = _read_hz(self._find_waveform(source))
        if alike not in self.sources or not _are_near(hz, _read_hz(self._find_waveform(alike))):
            return 0.0
        return self.find_passed_gain(source, name, hz)

    def solve_share(self, source: str, name: str) -> Array:
        """Return the share of a source's signal that arrives at a point, shape (boards,).

        Relative to the good board, and whichever other signals arrive there.
        """
        hz = _read_hz(self._find_waveform(source))
        shares = self._solve_shares(source, hz, self._solve_good(source, hz), [(name, 1.0)])
        return np.asarray(shares[:, 0])

    def list_changes(self, hz: float) -> Changes:
        """Return the changes by faults and devices at a frequency."""
        if hz not in self._fixed:
            self._fixed[hz] = self._list_fault_changes(hz)
        version, found = self._with_devices.get(hz, (0, None))
        if found is None or version != self.boards.version:
            found = self.boards.add_device_changes(self._fixed[hz], with_drops=False)
            self._with_devices[hz] = (self.boards.version, found)
        return found

    def _list_fault_changes(self, hz: float, without: str = "") -> Changes:
        """Return the changes of admittance that each fault makes at a frequency."""
        boards, index = self.boards, self.topology.index
        changes = Changes(boards.count, boards.nodes, dtype=np.complex128)
        for number, fault in enumerate(boards.faults):
            rows = boards.list_rows(number)
            if fault.hypothesis.what == without:
                continue
            for ends, siemens in boards.list_fault_siemens(fault, hz):
                changes.add(rows, ends, siemens)
            for name, ohm in fault.ground_ohm.items():
                changes.add(rows, (index[name], boards.nodes), 1 / ohm - 1 / GROUND_JOINT_OHM)
            if fault.lifted in boards.source_number:
                # An open joint takes the pin's source and its capacitance off the board.
                source = boards.good.sources[boards.source_number[fault.lifted]]
                ends = (index[source.at], index[source.returns_to])
                pin_siemens = source.signal_siemens + self._compute_pin_siemens(source.at, hz)
                changes.add(rows, ends, -pin_siemens)
        return changes

    def _solve_shares(
        self, source: str, hz: float, good_gains: Array, points: list[tuple[str, float]]
    ) -> Array:
        """Return the shares that arrive, relative to the good board's, shape (boards, points)."""
        boards, source_node = self.boards, self.topology.index[source]
        columns = np.array([self.topology.index[name] for name, _ in points])
        shares = np.ones((boards.count, len(points)))
        changes = self.list_changes(hz)
        # Boards whose fault touches no point that the signal gets to are like the good one.
        is_near = np.append(np.median(good_gains, axis=0) > _NEARBY, False)[: boards.nodes + 1]
        is_near[-1] = False
        touched = changes.find_touching(is_near)
        if not touched.size:
            return shares
        number = boards.source_number.get(source)
        if number is not None:
            inner_siemens = boards.good.sources[number].signal_siemens
        else:
            inner_siemens = np.full(boards.draws, _USUAL_SIEMENS)
        volts = self._send(touched, changes, hz, source_node, inner_siemens, columns)
        transfer_ohm = self.solve_impedance(hz).matrix[:, columns, source_node]
        good_volts = transfer_ohm * inner_siemens[:, None]
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.abs(volts) / np.abs(good_volts)[boards.draw_of[touched]]
        shares[touched] = np.nan_to_num(ratio, nan=0.0)
        shares = self._compare_with_good(shares)
        own_columns = [column for column, (name, _) in enumerate(points) if name == source]
        if own_columns and self._sets_own_swing(source):
            shares = shares / np.maximum(shares[:, own_columns], 0.02)
        return np.clip(shares, 0.0, _MOST_TIMES)

    def _sets_own_swing(self, source: str) -> bool:
        """Return whether a source swings as its stage says, whatever is on it.

        An oscillator turns round at its thresholds; a ramp's height is worked out by its stage.
        """
        pin = self.topology.pin_at.get(source)
        if pin is None:
            return False
        pulsed = self.topology.is_open_collector(source) and self.topology.is_pulsed(source)
        blocks = self.topology.blocks_at.get(source, ())
        worked_out = any(find_kind(block) in _WORK_OUT_SWING for block in blocks)
        return pulsed or pin.role == "oscillator" or worked_out

    def _compare_with_good(self, shares: Array) -> Array:
        """Return shares of the good boards' own, whose devices may have moved as well."""
        good = shares[: self.boards.draws][self.boards.draw_of]
        return shares / np.where(good > 1e-6, good, 1.0)

    def _send(
        self,
        touched: Array,
        changes: Changes,
        hz: float,
        node: int,
        inner_siemens: Array,
        columns: Array,
    ) -> Array:
        """Return the volts at some points (columns) of some boards for a volt inside a source."""
        impedance, draw = self.solve_impedance(hz), self.boards.draw_of[touched]
        plain = impedance.from_node[draw, node] * inner_siemens[draw][:, None]
        return solve(impedance, draw, plain, changes.pick_boards(touched), columns)

    def compute_impedance_ohm(self, name: str, hz: float) -> Array:
        """Return the impedance to ground at a point, in ohm, shape (boards,)."""
        at = self.topology.index[name]
        good = np.abs(self.solve_impedance(hz).read_own(at))[self.boards.draw_of]
        return np.asarray(good * self.compute_impedance_share(name, hz))

    def compute_impedance_share(self, name: str, hz: float) -> Array:
        """Return the impedance to ground at a point relative to the good board's, (boards,)."""
        boards, node = self.boards, self.topology.index[name]
        impedance, changes = self.solve_impedance(hz), self.list_changes(hz)
        from_here = np.abs(impedance.from_node[:, node])
        swing_share = from_here / np.maximum(from_here[:, [node]], _LEAST_OHM)
        touched = changes.find_touching(np.median(swing_share, axis=0) > _HELD_BY)
        share = np.ones(boards.count)
        if touched.size:
            an_ampere = np.ones(boards.draws)
            ohm = self._send(touched, changes, hz, node, an_ampere, np.array([node]))[:, 0]
            good_ohm = impedance.read_own(node)[boards.draw_of[touched]]
            share[touched] = np.abs(ohm) / np.maximum(np.abs(good_ohm), _LEAST_OHM)
        return self._compare_with_good(share)


def _read_hz(waveform: Waveform) -> float:
    if waveform.kind in (*_WIDE, "luminance", "RGB bars", "colour difference"):
        return _LUMINANCE_HZ
    if waveform.kind == "field pulse":
        return _FIELD_PULSES_HZ
    return float(waveform.amplitude_hz)


def _are_near(one_hz: float, other_hz: float) -> bool:
    return abs(one_hz - other_hz) <= _SAME_BAND * max(one_hz, other_hz)
