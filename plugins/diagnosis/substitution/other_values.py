"""A board with other values in the place of one part: readings, pulled resonators, corners."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ....schema import Chip, Part
from ..board.cloud import Cloud, Hypothesis
from ..board.elements import Element
from ..board.good_board import build_good_board
from ..board.hypotheses import Fault
from ..board.operating_point import Boards
from ..board.resonators import find_drive
from ..board.settling import Settled, settle
from ..board.severities import Draws
from ..board.simulate import SEED, read_settled
from ..board.topology import GROUND, Topology

Numbers = NDArray[np.float64]

_DRAWS: Final = 4
_AT_REST_HZ: Final = 1e-6  # where no capacitor carries anything: only resistances are left
_RESONATORS: Final = ("crystal", "ceramic resonator")


@dataclass(frozen=True, eq=False)
class OtherValues:
    """Readings of a board with each of some values; row 0 is the good board."""

    cloud: Cloud
    pulls: dict[str, Numbers]
    """How far each resonator is pulled, as a share, shape (values,), by reference."""
    across_ohm: float
    """The resistance that the part sees between its leads, the set on."""


def simulate_values(chip: Chip, condition: str, part: Part, values: Sequence[float]) -> OtherValues:
    """Return the readings of a board with each of these values in the place of a part.

    Row 0 is the board as drawn; the values follow in their order.
    """
    board = build_good_board(Topology(chip, condition), Draws(_DRAWS, SEED))
    assert part.quantity is not None  # only such parts are asked for
    marked_value = part.quantity.nominal
    elements_of_part = {
        index: element for index, element in enumerate(board.elements) if element.ref == part.ref
    }
    faults = [Fault(Hypothesis("none", "", "", "as drawn", 1.0))]
    for value in values:
        ratio = value / marked_value
        changed = {
            index: _scale_element(element, ratio) for index, element in elements_of_part.items()
        }
        faults.append(Fault(Hypothesis("part", part.ref, f"{value:g}", "", 1.0), replaced=changed))
    settled = settle(Boards(board, faults))
    return OtherValues(
        read_settled(settled), _compute_pulls(settled, chip), _compute_across_ohm(settled, part)
    )


def _scale_element(element: Element, ratio: float) -> Element:
    """Return an element of another value of the same kind."""
    if element.kind in ("resistor", "potentiometer"):
        return replace(element, series_ohm=element.series_ohm * ratio)
    if element.kind == "coil":
        return replace(element, henry=element.henry * ratio)
    return replace(element, farad=element.farad * ratio)


def _compute_pulls(settled: Settled, chip: Chip) -> dict[str, Numbers]:
    """Return how far each value pulls each resonator, the pins' capacitances counted.

    By reference, as shares of its frequency, shape (values,).
    """
    boards = settled.boards
    oscillator_pins = [f"pin {pin.number}" for pin in chip.pins if pin.role == "oscillator"]
    pulls = {}
    for part in chip.application.parts:
        if part.kind not in _RESONATORS or part.quantity is None:
            continue
        joined = follow_capacitors(chip, part)
        driving_pins = [name for name in oscillator_pins if name in joined]
        # A chip file may give the resonator's pins another role.
        pins = driving_pins or [end for end in joined if end.startswith("pin ")]
        if pins:
            drive = find_drive(settled.paths, part.ref, pins, part.quantity.nominal)
            pulls[part.ref] = np.median(drive.pull.reshape(-1, boards.draws), axis=1)
    return pulls


def follow_capacitors(chip: Chip, resonator: Part) -> set[str]:
    """Return the points at a resonator, and behind one capacitor in series with it."""
    ends = set(resonator.joins) - {GROUND}
    nodes = {end for end in ends if not end.startswith("pin ")}
    for part in chip.application.parts:
        if "capacitor" in part.kind and nodes & set(part.joins) and GROUND not in part.joins:
            ends |= set(part.joins)
    return ends


def _compute_across_ohm(settled: Settled, part: Part) -> float:
    """Return the resistance between a part's leads, as the board and the pins make it.

    Infinite where nothing joins them.
    """
    index = settled.topology.index
    impedance: Any = settled.paths.solve_impedance(_AT_REST_HZ)
    nodes = [index[end] for end in part.joins[:2] if end != GROUND]
    # Volts at each node for an ampere into another, nodes x nodes.
    ohms = np.median(impedance.from_node.real, axis=0)
    if len(nodes) == 1:
        return float(ohms[nodes[0], nodes[0]])
    first, second = nodes
    # An ampere in at one lead and out at the other, by superposition.
    across_ohm = ohms[first, first] + ohms[second, second] - 2 * ohms[first, second]
    return float(across_ohm) if math.isfinite(across_ohm) else math.inf
