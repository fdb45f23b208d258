"""The parts around a chip as a linear network, calibrated so that the healthy one reads right.

Nodes are the pins, the application's nodes and ground. Modified nodal analysis: with admittances
only, the node voltages solve Y v = i. Each pin is a source behind its resistance; its strength is
found by holding the pins at their catalogue values and asking what current that takes. Source:
Ho, Ruehli and Brennan, The modified nodal approach to network analysis, IEEE Transactions on
Circuits and Systems 22 (1975).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ...schema import Chip, Expectation, Pin
from .elements import Element, elements_of, turned_on

Complex = NDArray[np.complex128]

GROUND: Final = "ground"
_FLOAT_SIEMENS: Final = 1e-9  # of the board itself; a node that joins but a capacitor reads 0 V
_RAIL_OHM: Final = 0.1
_OUTSIDE_OHM: Final = 1e3  # behind a node that something outside the drawing drives
_NEARLY: Final = 0.05
_NOTHING_V: Final = 1e-3
_RECEIVING: Final = ("input", "control")
_REACHED: Final = 0.3  # of the wanted signal: what a way through the parts must bring
_PASSING: Final = ("capacitor", "electrolytic capacitor", "resistor", "coil", "ceramic filter")
# Internal resistance of a pin where the chip file gives none, by role. Common practice.
_USUAL_OHM: Final = {
    "supply": 0.05,
    "ground": 1e-3,
    "output": 300.0,
    "input": 20e3,
    "control": 50e3,
    "oscillator": 5e3,
    "filter": 20e3,
    "decoupling": 5e3,
    "reference": 1e3,
    "bus": 50e3,
    "unused": 1e6,
}


@dataclass(frozen=True, eq=False)
class Network:
    """A network at one frequency with its sources; ``volts`` solves it."""

    names: tuple[str, ...]
    """Nodes other than ground."""
    elements: tuple[Element, ...]
    internal: Mapping[str, float]
    """Siemens of the source at each node that has one."""
    injected: Complex
    """Amperes that the sources put into each node, shape (nodes,)."""
    frequency_hz: float
    scale: Mapping[str, float]
    """What the solved volts of a point that only receives its signal must be multiplied by."""

    def volts(
        self, elements: Iterable[Element] | None = None, lifted: str | None = None
    ) -> Mapping[str, complex]:
        """Volts at every node; with other elements, as many and in the same order, if given.

        The source at ``lifted`` is cut off: the joint of that pin is open.
        """
        matrix, drops = self._matrix_with(elements, lifted)
        injected = self.injected
        if lifted is not None:
            injected = np.where([name == lifted for name in self.names], 0.0, injected)
        found = np.linalg.solve(matrix, injected + drops)
        return dict(zip(self.names, found.tolist(), strict=True))

    def ohms(self, elements: Iterable[Element] | None = None, lifted: str | None = None) -> Complex:
        """Volts at each node for an ampere into each, the sources at rest; shape (nodes, nodes).

        On its diagonal is the impedance from each node to ground.
        """
        return np.asarray(np.linalg.inv(self._matrix_with(elements, lifted)[0]))

    def _matrix_with(
        self, elements: Iterable[Element] | None, lifted: str | None
    ) -> tuple[Complex, Complex]:
        matrix, drops = self._healthy
        index = {name: at for at, name in enumerate(self.names)}
        if elements is not None:
            matrix, drops = matrix.copy(), drops.copy()
            for healthy, used in zip(self.elements, elements, strict=True):
                if used is not healthy:
                    _stamp(matrix, drops, healthy, index, self.frequency_hz, times=-1)
                    _stamp(matrix, drops, used, index, self.frequency_hz)
        if lifted is not None:
            matrix, at = matrix.copy(), index[lifted]
            matrix[at, at] -= self.internal[lifted]
        return matrix, drops

    @cached_property
    def _healthy(self) -> tuple[Complex, Complex]:
        return _matrix(self.names, self.elements, self.internal, self.frequency_hz)


def dc_network(chip: Chip, condition: str) -> Network:
    """The network at DC, calibrated to the condition's catalogue voltages."""
    return _calibrated(chip, _elements(chip, condition), _wanted_dc(chip, condition), 0.0)


def ac_network(chip: Chip, condition: str, frequency_hz: float, share: float = 0.2) -> Network:
    """The network for the signals near a frequency, calibrated to their peak-to-peak volts.

    Outputs, oscillators and outside nodes send; inputs receive, through the parts where these
    lead to a sender, else from the outside node beside them. Points whose signal lies farther
    away than ``share`` of the frequency carry none here.
    """
    wanted = {
        name: complex(expectation.waveform.vpp_v)
        for name, expectation in expectations_in(chip, condition)
        if expectation.waveform is not None
        and abs(expectation.waveform.amplitude_hz - frequency_hz) <= share * frequency_hz
    }
    elements = _elements(chip, condition)
    receiving = {f"pin {pin.number}" for pin in chip.pins if pin.role in _RECEIVING} & set(wanted)
    sent = {name: volts for name, volts in wanted.items() if name not in receiving}
    reached = _calibrated(chip, elements, sent, frequency_hz).volts()
    for name in sorted(receiving):
        if abs(reached[name]) < _REACHED * abs(wanted[name]):
            outside = _outside(chip, name)
            sent[name if outside is None or outside in sent else outside] = wanted[name]
    network = _calibrated(chip, elements, sent, frequency_hz)
    solved = network.volts()
    scale = {name: abs(v) / abs(solved[name]) for name, v in wanted.items() if abs(solved[name])}
    return replace(network, scale=scale)


def _outside(chip: Chip, name: str) -> str | None:
    """The node that the signal of an input comes from: one passing part away, known to no pin."""
    nodes = {node.id for node in chip.application.nodes}
    for part in chip.application.parts:
        if name in part.joins and part.kind in _PASSING:
            for end in part.joins:
                if end in nodes and not end.startswith("rail"):
                    return end
    return None


def signal_frequencies(chip: Chip, condition: str) -> tuple[float, ...]:
    """The frequencies that signals of the condition lie at, each once, lowest first."""
    found = {
        round(expectation.waveform.amplitude_hz, 3)
        for _, expectation in expectations_in(chip, condition)
        if expectation.waveform is not None and expectation.waveform.amplitude_hz > 0
    }
    return tuple(sorted(found))


def _wanted_dc(chip: Chip, condition: str) -> dict[str, complex]:
    return {
        name: complex(expectation.dc.nominal)
        for name, expectation in expectations_in(chip, condition)
        if expectation.dc is not None
    }


def _elements(chip: Chip, condition: str) -> tuple[Element, ...]:
    """The parts as elements, the diodes on or off as the condition has them."""
    parts = chip.application.parts
    elements = tuple(element for part in parts for element in elements_of(part))
    return _with_diodes(elements, _wanted_dc(chip, condition))


def expectations_in(chip: Chip, condition: str) -> Iterable[tuple[str, Expectation]]:
    """What pins and nodes show in the condition, by name of the point."""
    for pin in chip.pins:
        if (found := pin.expectation(condition)) is not None:
            yield f"pin {pin.number}", found
    for node in chip.application.nodes:
        for expectation in node.expectations:
            if expectation.condition == condition:
                yield node.id, expectation


def _calibrated(
    chip: Chip, elements: tuple[Element, ...], wanted: Mapping[str, complex], frequency_hz: float
) -> Network:
    """Sources such that every wanted point shows what it should."""
    points = _Points(chip)
    internal = points.internal(wanted)
    loads = {name: siemens for name, siemens in internal.items() if name not in wanted}
    matrix, drops = _matrix(points.names, elements, loads, frequency_hz)
    wanted = points.without_what_the_parts_drive(wanted, matrix, drops)
    internal = points.internal(wanted)
    volts = _held(matrix, drops, points.names, wanted)
    taken = matrix @ volts - drops  # amperes that must come from outside the parts
    injected = np.zeros(len(points.names), dtype=np.complex128)
    for name in wanted:
        at = points.index[name]
        # through the source's own resistance flows besides what the node's volts make flow back
        injected[at] = taken[at] + internal[name] * volts[at]
    return Network(points.names, elements, internal, injected, frequency_hz, {})


class _Points:
    """The nodes of the network other than ground, and the sources at them."""

    def __init__(self, chip: Chip) -> None:
        self._chip = chip
        pins = tuple(f"pin {pin.number}" for pin in chip.pins if pin.role != "ground")
        self.grounds = {f"pin {pin.number}" for pin in chip.pins if pin.role == "ground"}
        self.names = (*pins, *sorted(self.grounds), *(n.id for n in chip.application.nodes))

    @cached_property
    def index(self) -> dict[str, int]:
        return {name: at for at, name in enumerate(self.names)}

    def internal(self, wanted: Mapping[str, complex]) -> dict[str, float]:
        """Siemens to the source inside each pin, and behind each node whose volts are known."""
        found = {f"pin {pin.number}": 1 / _ohm(pin) for pin in self._chip.pins}
        for node in self._chip.application.nodes:
            if node.id in wanted:
                stiff = node.id.startswith("rail")
                found[node.id] = 1 / (_RAIL_OHM if stiff else _OUTSIDE_OHM)
        return found

    def without_what_the_parts_drive(
        self, wanted: Mapping[str, complex], matrix: Complex, drops: Complex
    ) -> dict[str, complex]:
        """Leave out the nodes that pins which send bring to what they should show, or nearly so.

        Those are points on the way; the others are the ends of something outside.
        """
        kept = dict(wanted)
        receiving = {f"pin {pin.number}" for pin in self._chip.pins if pin.role in _RECEIVING}
        for node in self._chip.application.nodes:
            if node.id not in kept or node.id.startswith("rail"):
                continue
            others = {name: v for name, v in kept.items() if name not in {node.id, *receiving}}
            found = _held(matrix, drops, self.names, others)[self.index[node.id]]
            if abs(found - kept[node.id]) < _NEARLY * abs(kept[node.id]) + _NOTHING_V:
                del kept[node.id]
        return kept


def _ohm(pin: Pin) -> float:
    if pin.role in ("supply", "ground"):
        return _USUAL_OHM[pin.role]
    if pin.resistance is not None and pin.resistance.nominal > 0:
        return pin.resistance.nominal
    return _USUAL_OHM[pin.role]


def _matrix(
    names: tuple[str, ...],
    elements: Iterable[Element],
    internal: Mapping[str, float],
    frequency_hz: float,
) -> tuple[Complex, Complex]:
    """Admittance matrix, and the currents of fixed drops, for nodes other than ground."""
    index = {name: at for at, name in enumerate(names)}
    matrix = np.zeros((len(names), len(names)), dtype=np.complex128)
    drops = np.zeros(len(names), dtype=np.complex128)
    np.fill_diagonal(matrix, _FLOAT_SIEMENS)
    for name, siemens in internal.items():
        matrix[index[name], index[name]] += siemens
    for element in elements:
        _stamp(matrix, drops, element, index, frequency_hz)
    return matrix, drops


def _stamp(
    matrix: Complex,
    drops: Complex,
    element: Element,
    index: Mapping[str, int],
    frequency_hz: float,
    times: int = 1,
) -> None:
    """Add an element, or with ``times`` -1 take it out again."""
    siemens = times * element.siemens(frequency_hz)
    first, second = (index.get(end) for end in element.ends)
    for this, other, sign in ((first, second, 1), (second, first, -1)):
        if this is None:
            continue
        matrix[this, this] += siemens
        if other is not None:
            matrix[this, other] -= siemens
        if element.drop_v and frequency_hz == 0:
            drops[this] += sign * siemens * element.drop_v


def _held(
    matrix: Complex, drops: Complex, names: tuple[str, ...], wanted: Mapping[str, complex]
) -> Complex:
    """Volts of all nodes with the wanted ones held at their values."""
    held = np.array([name in wanted for name in names])
    volts = np.array([wanted.get(name, 0.0) for name in names], dtype=np.complex128)
    free = ~held
    if free.any():
        right = drops[free] - matrix[np.ix_(free, held)] @ volts[held]
        volts[free] = np.linalg.solve(matrix[np.ix_(free, free)], right)
    return volts


def _with_diodes(
    elements: tuple[Element, ...], wanted: Mapping[str, complex]
) -> tuple[Element, ...]:
    """Diodes on or off, as the catalogue voltages at their ends say; anode first."""
    known = {GROUND: 0.0, **{name: value.real for name, value in wanted.items()}}
    return tuple(
        turned_on(element)
        if element.kind == "diode"
        and all(end in known for end in element.ends)
        and known[element.ends[0]] - known[element.ends[1]] > 0.45
        else element
        for element in elements
    )
