"""Resistances with the set off: between any two points, on every board.

The sources are at rest; only parts and pins conduct. Where the catalogue states a resistance to
ground, the pin's conductance is chosen to fit it; else it is drawn, by the role of the pin.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ....schema import Chip, Expectation
from .good_board import GROUND_JOINT_OHM, GoodBoard, build_good_board
from .hypotheses import Fault, list_faults
from .network import Changes, Impedance, Stamp, solve
from .severities import Draws, Numbers
from .topology import GROUND, Topology

Array = NDArray[Any]

# Between a pin and the chip's ground with an ohmmeter, where nothing is stated. Common practice.
_PIN_OHM: Final = {
    "supply": (400.0, 4e3),
    "output": (2e3, 60e3),
    "input": (6e3, 100e3),
    "control": (8e3, 200e3),
    "oscillator": (6e3, 100e3),
    "filter": (8e3, 200e3),
    "decoupling": (3e3, 60e3),
    "reference": (2e3, 40e3),
    "bus": (8e3, 200e3),
    "unused": (50e3, 5e6),
}
_RAIL_OHM: Final = (3e3, 30e3)
_OUTSIDE_OHM: Final = (3e3, 50e3)
_ROUNDS: Final = 40
_STEP: Final = 0.5  # pins that a small resistance joins share what both are to show
_LEAST_SIEMENS: Final = 1e-9
MOST_OHM: Final = 20e6  # beyond this an ordinary meter shows nothing


def solve_off_resistances(
    chip: Chip, condition: str, pairs: Sequence[tuple[str, str]], samples: int, seed: int
) -> Array:
    """Return ohms between pairs of points, shape (hypotheses, draws, pairs).

    Hypotheses and draws are those of ``simulate_cloud`` with the same arguments; of a pair the
    second may be ``ground``.
    """
    board = build_good_board(Topology(chip, condition), Draws(samples, seed))
    faults = list_faults(board)
    impedance, pin_siemens = solve_off_impedance(board)
    draw_of = np.tile(np.arange(samples), len(faults))
    changes = _list_fault_changes(board, faults, pin_siemens)
    ohms = np.empty((len(draw_of), len(pairs)))
    for column, (first, second) in enumerate(pairs):
        # The volts that an ampere from one point to the other makes between them.
        ends = [board.index[first], board.index[second]]
        plain = impedance.from_node[draw_of, ends[0]] - impedance.from_node[draw_of, ends[1]]
        volts = solve(impedance, draw_of, plain, changes, np.array(ends))
        ohms[:, column] = np.clip(volts[:, 0] - volts[:, 1], 0.0, MOST_OHM)
    return ohms.reshape(len(faults), samples, len(pairs))


def solve_off_impedance(board: GoodBoard) -> tuple[Impedance, dict[str, Numbers]]:
    """Return the impedances of the good board at rest, fitted to the stated resistances to ground.

    With them the conductances to ground besides the drawn parts, in siemens.
    """
    topology = board.topology
    pins = _fit_siemens_to_ground(board)
    stated = list_stated_ohm(topology)
    for _ in range(_ROUNDS if stated else 1):
        impedance = _stamp_network(board, pins).invert()
        for name, ohm in stated.items():
            short_by = 1 / ohm - 1 / np.maximum(impedance.read_own(board.index[name]), 1e-3)
            pins[name] = np.maximum(pins[name] + _STEP * short_by, _LEAST_SIEMENS)
    return _stamp_network(board, pins).invert(), pins


def list_stated_ohm(topology: Topology) -> dict[str, float]:
    """Return the resistances to ground that the catalogue states, by point."""
    nodes = {node.id: node.expectations for node in topology.chip.application.nodes}
    places = {n: pin.expectations for n, pin in topology.pin_at.items() if pin.role != "ground"}
    found = {}
    for name, expectations in (places | nodes).items():
        ohms = [ohm for e in expectations if (ohm := _read_ohm(e)) is not None]
        if ohms:
            found[name] = ohms[0]
    return found


def _read_ohm(expectation: Expectation) -> float | None:
    stated = expectation.resistance
    if stated is None:
        return None
    leads = stated.red_on_pin or stated.black_on_pin
    return leads.nominal if leads is not None and leads.nominal > 0 else None


def _fit_siemens_to_ground(board: GoodBoard) -> dict[str, Numbers]:
    """Return the conductances to ground besides the drawn parts, by point, shape (draws,) each."""
    draws, topology = board.draws, board.topology
    siemens = {}
    for name, pin in topology.pin_at.items():
        if pin.role != "ground":
            least_ohm, most_ohm = _PIN_OHM.get(pin.role, _PIN_OHM["input"])
            siemens[name] = 1 / draws.draw_log_uniform(f"{name} off", least_ohm, most_ohm)
    for source in board.sources:
        # Behind a rail is the whole set's load, behind an outside signal its source.
        if source.kind != "pin" and source.at not in topology.pin_at:
            span_ohm = _RAIL_OHM if source.kind == "rail" else _OUTSIDE_OHM
            siemens[source.at] = 1 / draws.draw_log_uniform(f"{source.at} off", *span_ohm)
    for name in list_stated_ohm(topology):
        siemens.setdefault(name, np.full(draws.count, _LEAST_SIEMENS))
    return siemens


def _stamp_network(board: GoodBoard, siemens: dict[str, Numbers]) -> Stamp:
    topology, index = board.topology, board.index
    stamp = Stamp(board.draws.count, len(topology.points))
    for element in board.elements:
        first, second = (index[end] for end in element.ends)
        stamp.add((first, second), element.compute_siemens(0.0).real)
    for name, value in siemens.items():
        stamp.add((index[name], index[topology.ground_of.get(name, GROUND)]), value)
    for (one, other), value in zip(board.joints, board.joint_siemens, strict=True):
        stamp.add((index[one], index[other]), value)
    return stamp


def _list_fault_changes(
    board: GoodBoard, faults: Sequence[Fault], pin_siemens: dict[str, Numbers]
) -> Changes:
    """Return the changes of conductance that each fault makes with the set off."""
    index, draws, nodes = board.index, board.draws.count, len(board.topology.points)
    changes = Changes(len(faults) * draws, nodes)
    for fault_number, fault in enumerate(faults):
        rows = np.arange(fault_number * draws, (fault_number + 1) * draws)
        for number, new in fault.replaced.items():
            old = board.elements[number]
            ends = (index[old.ends[0]], index[old.ends[1]])
            siemens = new.compute_siemens(0.0) - old.compute_siemens(0.0)
            changes.add(rows, ends, siemens.real)
        for new in fault.added:
            ends = (index[new.ends[0]], index[new.ends[1]])
            changes.add(rows, ends, new.compute_siemens(0.0).real)
        for name, ohm in fault.ground_ohm.items():
            changes.add(rows, (index[name], nodes), 1 / ohm - 1 / GROUND_JOINT_OHM)
        if fault.lifted in pin_siemens:
            # The ohmmeter on the board no longer sees through the pin into the chip.
            ends = (index[fault.lifted], index[board.topology.ground_of[fault.lifted]])
            changes.add(rows, ends, -pin_siemens[fault.lifted])
    return changes
