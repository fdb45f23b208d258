"""DC of many boards at once: every fault on every draw, devices in the states they take."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .good_board import GROUND_JOINT_OHM, GoodBoard
from .hypotheses import Fault
from .network import Changes, solve, solve_unchanged

Array = NDArray[Any]

_ROUNDS: Final = 20
_TOGETHER: Final = 7  # rounds in which all devices move at once


class Boards:
    """Boards numbered fault by fault, and draw by draw within each."""

    def __init__(self, good: GoodBoard, faults: Sequence[Fault]) -> None:
        self.good = good
        self.faults = tuple(faults)
        self.draws = good.draws.count
        self.count = len(faults) * self.draws
        self.draw_of = np.tile(np.arange(self.draws), len(faults))
        self.nodes = len(good.topology.points)
        self.index = good.index
        self.impedance = good.impedance
        self.source_number = {source.at: number for number, source in enumerate(good.sources)}
        self.emf_v = self.spread_draws(np.array([s.emf_v for s in good.sources]).T)
        """Voltage inside each source, shape (boards, sources): faults of it are in."""
        self.siemens = self.spread_draws(np.array([s.siemens for s in good.sources]).T)
        self.version = 0
        """How often the boards were solved: results of an earlier one are stale."""
        self.released = np.zeros((self.count, len(good.sources)), dtype=bool)
        """Sources that no longer drive, because their stage is dead."""
        self.states = np.tile(good.states, (self.count, 1))
        self.volts = np.zeros((self.count, self.nodes + 1))
        self.is_lifted = np.zeros((self.count, self.nodes + 1), dtype=bool)
        self._forced_off = self._find_switched_off()
        self._fixed = self._list_fault_changes()
        self.emf_share = np.ones_like(self.emf_v)
        self._apply_source_faults()

    def _apply_source_faults(self) -> None:
        """Mark the lifted pins, and weaken or move the sources outside, as the faults do."""
        for number, fault in enumerate(self.faults):
            rows = self.list_rows(number)
            if fault.lifted is not None:
                self.is_lifted[rows, self.index[fault.lifted]] = True
            for name, share in fault.source_share.items():
                if name in self.source_number:
                    self.emf_share[rows, self.source_number[name]] = share
            for name, added_v in fault.source_added_v.items():
                self.emf_v[rows, self.source_number[name]] += added_v

    def list_rows(self, fault: int) -> Array:
        """Return the numbers of the boards of a fault, one for each draw."""
        return np.arange(fault * self.draws, (fault + 1) * self.draws)

    def has_switched_off(self, board: int, device: int) -> bool:
        """Return whether the fault of a board keeps a device, by number, from conducting."""
        return bool(self._forced_off[board, device])

    def spread_draws(self, of_draws: Array) -> Array:
        """Return figures of draws (first axis) for all boards."""
        return np.asarray(of_draws)[self.draw_of]

    def _find_switched_off(self) -> Array:
        refs = [device.ref for device in self.good.devices]
        off = np.zeros((self.count, len(refs)), dtype=bool)
        for at, fault in enumerate(self.faults):
            for column, ref in enumerate(refs):
                lifted = fault.lifted is not None and (
                    ref.endswith(f" of {fault.lifted}") or self._leads_to(ref, fault.lifted)
                )
                if ref in fault.switched_off or lifted:
                    off[self.list_rows(at), column] = True
        return off

    def _leads_to(self, ref: str, supply_pin: str) -> bool:
        """Return whether a device protects a pin against this supply: its head."""
        name = ref.removeprefix("head of ")
        return name != ref and self.good.topology.supply_of.get(name) == supply_pin

    def _list_fault_changes(self) -> Changes:
        """Return the changes that faults make to the network at DC."""
        changes = Changes(self.count, self.nodes)
        for fault_number, fault in enumerate(self.faults):
            rows = self.list_rows(fault_number)
            for ends, siemens in self.list_fault_siemens(fault, 0.0):
                changes.add(rows, ends, siemens.real)
            for name, ohm in fault.ground_ohm.items():
                ends = (self.index[name], self.nodes)
                changes.add(rows, ends, 1 / ohm - 1 / GROUND_JOINT_OHM)
            if fault.lifted in self.source_number:
                # Behind an open joint the pin's own source no longer reaches the board.
                source_number = self.source_number[fault.lifted]
                source = self.good.sources[source_number]
                ends = (self.index[source.at], self.index[source.returns_to])
                changes.add(rows, ends, -source.siemens)
                self.siemens[rows, source_number] = 0.0
        return changes

    def list_fault_siemens(
        self, fault: Fault, frequency_hz: float
    ) -> list[tuple[tuple[int, int], Array]]:
        """Return the admittances that a fault adds between points, shape (draws,) each."""
        additions = []
        for number, new in fault.replaced.items():
            old = self.good.elements[number]
            ends = (self.index[old.ends[0]], self.index[old.ends[1]])
            siemens = new.compute_siemens(frequency_hz) - old.compute_siemens(frequency_hz)
            additions.append((ends, siemens))
        for new in fault.added:
            ends = (self.index[new.ends[0]], self.index[new.ends[1]])
            additions.append((ends, new.compute_siemens(frequency_hz)))
        return additions

    def add_device_changes(
        self, fixed: Changes, boards: Array | None = None, with_drops: bool = True
    ) -> Changes:
        """Return the changes of boards with those of devices out of their good board's state.

        ``fixed``: of all boards; returned are those of ``boards``, in this order. ``with_drops``:
        at DC, where devices drop a voltage and sources of dead stages no longer drive; signals
        are solved without either.
        """
        if boards is None:
            boards = np.arange(self.count)
        changes = fixed.pick_boards(boards)
        if with_drops:
            self._release_sources(changes, boards)
        states = self.states[boards]  # boards x devices
        moved_columns = np.flatnonzero((states != self.good.states).any(axis=0))
        for column in moved_columns:
            device, good_state = self.good.devices[column], int(self.good.states[column])
            state = states[:, column]
            moved = np.flatnonzero(state != good_state)
            # The terms of the good state are taken away, those of the new one added.
            terms = [(moved, -1, term) for term in device.list_terms(good_state)]
            for new_state in np.unique(state[moved]):
                rows = moved[state[moved] == new_state]
                terms += [(rows, 1, term) for term in device.list_terms(int(new_state))]
            for rows, sign, (out, siemens, amperes, sense) in terms:
                draw = self.draw_of[boards[rows]]
                drop_a = _pick_draws(amperes, draw) if with_drops else 0.0
                changes.add(rows, out, sign * _pick_draws(siemens, draw), sign * drop_a, sense)
        return changes

    def _release_sources(self, changes: Changes, boards: Array) -> None:
        """Take the sources of dead stages off the boards whose pins hang free."""
        for number, source in enumerate(self.good.sources):
            is_released = self.released[boards, number] & (self.siemens[boards, number] > 0)
            rows = np.flatnonzero(is_released)
            ends = (self.index[source.at], self.index[source.returns_to])
            changes.add(rows, ends, -source.siemens[self.draw_of[boards[rows]]])

    def sum_amperes(self) -> Array:
        """Return the currents of sources and devices into the nodes, shape (boards, nodes + 1)."""
        device_a = np.zeros((self.draws, self.nodes + 1))
        for device, state in zip(self.good.devices, self.good.states, strict=True):
            for out, _, amperes, _ in device.list_terms(int(state)):
                device_a[:, out[0]] -= amperes
                device_a[:, out[1]] += amperes
        total_a = device_a[self.draw_of]
        source_a = self.emf_v * self.emf_share * np.where(self.released, 0.0, self.siemens)
        for number, source in enumerate(self.good.sources):
            total_a[:, self.index[source.at]] += source_a[:, number]
            total_a[:, self.index[source.returns_to]] -= source_a[:, number]
        total_a[:, -1] = 0
        return total_a

    def solve_dc(self) -> None:
        """Solve all boards, and let the devices take the states they should be in."""
        self.version += 1
        plain = solve_unchanged(self.impedance, self.sum_amperes())
        unsettled = np.arange(self.count)
        for turn in range(_ROUNDS):
            changes = self.add_device_changes(self._fixed, unsettled)
            draw = self.draw_of[unsettled]
            self.volts[unsettled] = solve(self.impedance, draw, plain[unsettled], changes)
            wanted_states = self._find_wanted_states(unsettled)
            differs = wanted_states != self.states[unsettled]  # boards x devices
            has_moved = differs.any(axis=1)
            if not has_moved.any() or turn == _ROUNDS - 1:
                break  # one that still flips is left with states that fit its voltages
            if turn > _TOGETHER:
                # One that flips endlessly is moved one device at a time.
                is_first = differs & (np.cumsum(differs, axis=1) == 1)
                wanted_states = np.where(is_first, wanted_states, self.states[unsettled])
            self.states[unsettled] = wanted_states
            unsettled = unsettled[has_moved]

    def solve_without_source(self, name: str) -> Array:
        """Return the volts of a point while its own source is off, shape (boards,)."""
        kept = self.released, self.states.copy(), self.volts.copy()
        self.released = self.released.copy()
        self.released[:, self.source_number[name]] = True
        self.solve_dc()
        found = self.volts[:, self.index[name]].copy()
        self.released, self.states, self.volts = kept
        self.version += 1
        return found

    def _find_wanted_states(self, boards: Array) -> Array:
        """Return the states that the voltages of boards ask for, shape (boards, devices)."""
        wanted = np.zeros((boards.size, len(self.good.devices)), dtype=int)
        volts = self.volts[boards]
        for column, device in enumerate(self.good.devices):
            wanted[:, column] = device.next_state(self.states[boards, column], volts)
        wanted[self._forced_off[boards]] = 0
        return wanted


def _pick_draws(figure: Any, draw: Array) -> Any:
    """Return a figure that is one number, or one of each draw, for boards of these draws."""
    return figure[draw] if np.ndim(figure) else figure
