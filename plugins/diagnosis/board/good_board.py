"""The good board: its network, the states of its devices, and its sources, on every draw.

Calibration: the stated points are held at the catalogue's voltages, the rest is solved, and the
currents at the held points must come from pins, supplies and outside sources.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ....schema import Pin
from .devices import ON, Device, Diode, is_switched_at, list_board_devices
from .elements import Element, list_elements
from .levels import (
    FEEDS,
    LEAST_SUPPLY_V,
    USUAL_LOAD_A,
    find_outside_kinds,
    list_held_levels,
    list_switching_nodes,
)
from .network import Impedance, Stamp
from .senders import find_sources
from .severities import Draws, Numbers
from .sources import Source, SourceKind, make_outside_source, make_pin_source
from .topology import GROUND, Topology

Array = NDArray[Any]

GROUND_JOINT_OHM: Final = 0.01
_BETWEEN_GROUNDS_OHM: Final = (2.0, 40.0)  # inside the chip, from ground pin to ground pin
_ROUNDS: Final = 120
_EXPLAINED_SHARE: Final = 0.12
_EXPLAINED_V: Final = 0.15
_DIVIDER_SIEMENS: Final = 1e-6
_DIVIDER_SHARE: Final = 0.12
_CURRENT_OUTPUT_OHM: Final = (50e3, 500e3)
_BLOCKED: Final = 1e-6  # of a source's conductance, what a capacitor leaves of it at DC
_PLAIN_SHARE: Final = 0.35  # of a supply current, what flows down to the lowest voltages
_JUNCTIONS_V: Final = 1.3
_CREDIBLE_LOAD: Final = (0.05, 4.0)  # of the stated current, what a drawn feed carries
_LEAST_LOAD_A: Final = 1e-5
_MOST_DROP_SHARE: Final = 0.3  # of a low supply, that the junctions of its load take
_LEAST_SIEMENS: Final = 1e-9  # a point that no part leads from
_FEEDS_DC: Final = ("resistor", "coil", "diode", "transistor", "connector")
_ANY_STEP: Final = 7919  # a prime, so that turns come to every device


@dataclass(frozen=True, eq=False)
class GoodBoard:
    """A board without a fault, on every draw."""

    topology: Topology
    draws: Draws
    elements: tuple[Element, ...]
    devices: tuple[Device, ...]
    states: Array
    """State of each device, shape (devices,): the same on every draw."""
    sources: tuple[Source, ...]
    joints: tuple[tuple[str, str], ...]
    """Ground pins and the joints between them inside the chip: ends of fixed conductances."""
    joint_siemens: tuple[Numbers, ...]

    @property
    def index(self) -> dict[str, int]:
        """The number of each point."""
        return self.topology.index

    @cached_property
    def impedance(self) -> Impedance:
        """The impedances at DC between all points."""
        return self.stamp_dc().invert()

    def stamp_dc(self) -> Stamp:
        """Return the network at DC with everything in it."""
        return _stamp_network(
            self.topology,
            self.draws.count,
            self.elements,
            self.devices,
            self.states,
            self.sources,
            zip(self.joints, self.joint_siemens, strict=True),
        )


def build_good_board(topology: Topology, draws: Draws) -> GoodBoard:
    """Return a chip's board without a fault, calibrated on every draw.

    Points whose stated voltage the drawn parts do not explain are taken as driven from outside,
    the worst first, until all stated voltages are explained.
    """
    elements = list_board_elements(topology, draws)
    devices = list_board_devices(topology)
    levels = list_held_levels(topology)
    kinds = find_outside_kinds(topology)
    states = np.zeros(len(devices), dtype=int)
    while True:
        held = {n: v for n, v in levels.items() if n in topology.pin_at or n in kinds}
        volts, states = solve_held(topology, draws.count, elements, devices, states, held)
        unexplained = _find_worst_unexplained(topology, volts, levels, held)
        if unexplained is None:
            break
        # What the drawing does not show holds this node: a source from outside.
        kinds[unexplained] = "drive"
    return _calibrate(topology, draws, elements, devices, states, volts, kinds, levels)


def list_board_elements(topology: Topology, draws: Draws) -> tuple[Element, ...]:
    """Return the drawn parts as elements; sliders are set by the stated voltages."""
    positions = {
        part.ref: _find_slider(topology, part.joins, part.ref, draws)
        for part in topology.chip.application.parts
        if part.kind == "potentiometer"
    }
    return tuple(
        element
        for part in topology.chip.application.parts
        for element in list_elements(part, draws, positions)
    )


def _find_slider(topology: Topology, joins: tuple[str, ...], ref: str, draws: Draws) -> Numbers:
    """Return where a slider is, as the share of the track before it."""
    stated = topology.stated_dc_v | {GROUND: 0.0}
    if len(joins) == 3 and all(end in stated for end in joins):
        top, slider, bottom = (stated[end] for end in joins)
        if abs(top - bottom) > 0.2:
            share = (top - slider) / (top - bottom)
            return np.full(draws.count, float(np.clip(share, 0.03, 0.97)))
    return draws.draw_uniform(f"slider of {ref}", 0.35, 0.65)


def _stamp_network(
    topology: Topology,
    count: int,
    elements: Iterable[Element],
    devices: Iterable[Device],
    states: Array,
    sources: Iterable[Source],
    joints: Iterable[tuple[tuple[str, str], Numbers]],
) -> Stamp:
    """Return the conductances and currents of a board at DC, as its nodal equations need them."""
    index = topology.index
    stamp = Stamp(count, len(topology.points))
    for element in elements:
        first, second = (index[end] for end in element.ends)
        stamp.add((first, second), element.compute_siemens(0.0).real)
    for device, state in zip(devices, states, strict=True):
        for nodes, siemens, amperes, sense_nodes in device.list_terms(int(state)):
            stamp.add(nodes, siemens, amperes, sense_nodes)
    for source in sources:
        # A voltage behind a resistance, as its Norton equivalent.
        nodes = (index[source.at], index[source.returns_to])
        stamp.add(nodes, source.siemens, -source.siemens * source.emf_v)
    for (first_end, second_end), siemens in joints:
        stamp.add((index[first_end], index[second_end]), siemens)
    return stamp


def solve_held(
    topology: Topology,
    count: int,
    elements: Iterable[Element],
    devices: tuple[Device, ...],
    states: Array,
    held: Mapping[str, float],
) -> tuple[Array, Array]:
    """Return the voltages with some points held, shape (draws, nodes + 1), and device states.

    Moving one device at a time, the first that differs, ends for any network of resistors and
    diodes: Murty, Note on a Bard-type scheme for solving the complementarity problem, Opsearch 11
    (1974; from memory).
    """
    nodes = len(topology.points)
    held_nodes = np.array([topology.index[name] for name in held], dtype=int)
    free_nodes = np.setdiff1d(np.arange(nodes), held_nodes)
    volts = np.zeros((count, nodes + 1))
    volts[:, held_nodes] = list(held.values())
    visited_states = set[tuple[int, ...]]()
    for turn in range(_ROUNDS):
        if free_nodes.size:
            stamp = _stamp_network(topology, count, elements, devices, states, (), ())
            volts[:, free_nodes] = _solve_free(stamp, volts, free_nodes, held_nodes)
        wanted_states = _find_wanted_states(devices, states, volts)
        differing = np.flatnonzero(wanted_states != states)
        if not differing.size:
            break
        # States that come back would flip for ever: from then on the first alone is moved, and
        # with transistors, where that may not end either, later on any one.
        if tuple(states.tolist()) in visited_states:
            is_late = turn > _ROUNDS // 2
            moved = differing[turn * _ANY_STEP % differing.size if is_late else 0]
            wanted_states = np.where(np.arange(states.size) == moved, wanted_states, states)
        visited_states.add(tuple(states.tolist()))
        states = wanted_states
    return volts, states


def _solve_free(stamp: Stamp, volts: Array, free: Array, held: Array) -> Array:
    """Return the voltages of the free nodes, shape (draws, free nodes), beside the held ones."""
    free_matrix = stamp.matrix[:, free][:, :, free]
    held_matrix = stamp.matrix[:, free][:, :, held]
    brought = np.einsum("sfh,sh->sf", held_matrix, volts[:, held])  # amperes from held nodes
    amperes = stamp.amperes[:, free] - brought
    return np.linalg.solve(free_matrix, amperes[:, :, None])[:, :, 0]


def _find_wanted_states(devices: tuple[Device, ...], states: Array, volts: Array) -> Array:
    """Return the state that each device takes at the median voltages, shape (devices,)."""
    median_v = np.median(volts, axis=0)[None, :]
    pairs = zip(devices, states, strict=True)
    wanted = [int(device.next_state(np.array([state]), median_v)[0]) for device, state in pairs]
    return np.array(wanted, dtype=int)


def _find_worst_unexplained(
    topology: Topology, volts: Array, levels: Mapping[str, float], held: Mapping[str, float]
) -> str | None:
    """Return the node whose stated voltage the parts explain least; None when all are near."""
    worst, most = None, 1.0
    for name, level in levels.items():
        if name in held or is_switched_at(topology, name):
            continue
        off = abs(float(np.median(volts[:, topology.index[name]])) - level)
        share = off / max(_EXPLAINED_SHARE * abs(level), _EXPLAINED_V)
        if share > most:
            worst, most = name, share
    return worst


def _calibrate(
    topology: Topology,
    draws: Draws,
    elements: tuple[Element, ...],
    devices: tuple[Device, ...],
    states: Array,
    volts: Array,
    kinds: Mapping[str, SourceKind],
    levels: Mapping[str, float],
) -> GoodBoard:
    """Return the board with a source, or a load, for the current into every held point."""
    stamp = _stamp_network(topology, draws.count, elements, devices, states, (), ())
    amperes = np.einsum("sij,sj->si", stamp.matrix, volts) - stamp.amperes  # draws x points
    own_siemens = np.einsum("sii->si", stamp.matrix)  # draws x points
    held_columns = [topology.index[n] for n in levels if n in topology.pin_at or n in kinds]
    sources: list[Source] = []
    loads: list[Device] = []
    for name in levels:
        column = topology.index[name]
        pin = topology.pin_at.get(name)
        sent_a, level_v = amperes[:, column], volts[:, column]
        if pin is None:
            if name in kinds:
                parts_ohm = _compute_parts_ohm(topology, name, own_siemens[:, column])
                room_v = float(np.ptp([0.0, *levels.values()])) if kinds[name] == "drive" else None
                sources.append(
                    make_outside_source(
                        name, kinds[name], level_v, sent_a, draws, parts_ohm, room_v
                    )
                )
        elif pin.role == "supply":
            _feed(topology, name, level_v, sent_a, draws, sources, loads)
        elif pin.role not in ("ground", "unused"):
            # The volts that the board alone would put on the pin, by its own conductance.
            board_siemens = own_siemens[:, column]
            if pin.role == "output":
                board_siemens = _compute_board_siemens(stamp, column, held_columns)
            open_v = level_v - sent_a / np.maximum(board_siemens, _LEAST_SIEMENS)
            is_divider = _rests_on_board(pin, level_v, open_v, board_siemens)
            source = make_pin_source(topology, name, level_v, sent_a, draws, open_v)
            sources.append(_make_current_output(source, level_v, draws) if is_divider else source)
    fed_points = {source.at for source in sources}
    sources += _list_unstated_sources(topology, draws, fed_points, volts, amperes)
    devices = (*devices, *loads)
    states = np.concatenate([states, np.full(len(loads), ON, dtype=int)])
    joints, joint_siemens = _list_ground_joints(topology, draws)
    return GoodBoard(
        topology, draws, elements, devices, states, tuple(sources), joints, joint_siemens
    )


def _is_biased(topology: Topology, name: str) -> bool:
    """Return whether a transistor, or a resistor to a point at rest, sets the voltage of a node."""
    return any(
        part.kind == "transistor"
        or (topology.carries_dc(part) and any(map(topology.is_quiet, part.joins)))
        for part in topology.parts_at.get(name, ())
    )


def _rests_on_board(pin: Pin, level_v: Numbers, open_v: Numbers, siemens: Numbers) -> bool:
    """Return whether an output's own resistors give its stated voltage by themselves.

    Nobody draws a divider to supply and ground at an output that holds a voltage: it puts out a
    current. Common practice, of AFC outputs above all.
    """
    if pin.role != "output" or (pin.resistance is not None and pin.resistance.nominal > 0):
        return False
    off_v = abs(float(np.median(open_v - level_v)))
    is_fed = float(np.median(siemens)) > _DIVIDER_SIEMENS
    return is_fed and off_v < _DIVIDER_SHARE * abs(float(np.median(level_v)))


def _make_current_output(source: Source, level_v: Numbers, draws: Draws) -> Source:
    """Return an output that puts out a current at rest zero, instead of a voltage."""
    siemens = 1 / draws.draw_log_uniform(f"current output {source.at}", *_CURRENT_OUTPUT_OHM)
    return replace(source, siemens=siemens, signal_siemens=siemens, emf_v=level_v + 0 * siemens)


def _compute_board_siemens(stamp: Stamp, column: int, held_columns: list[int]) -> Numbers:
    """Return the conductance of the board at a point, other held points staying as they are.

    Nodes that nothing holds follow: through a resistor to one of them no current flows.
    """
    free_columns = np.setdiff1d(np.arange(stamp.matrix.shape[1]), [*held_columns, column])
    own_siemens = stamp.matrix[:, column, column]
    if not free_columns.size:
        return np.asarray(own_siemens)
    free = stamp.matrix[:, free_columns][:, :, free_columns]
    free = free + _LEAST_SIEMENS * np.eye(free_columns.size)  # of nodes behind capacitors alone
    followed = np.linalg.solve(free, stamp.matrix[:, free_columns, column, None])[:, :, 0]
    passed_on = np.einsum("sf,sf->s", stamp.matrix[:, column, free_columns], followed)
    return np.asarray(own_siemens - passed_on)


def _list_unstated_sources(
    topology: Topology, draws: Draws, fed: Set[str], volts: Array, amperes: Array
) -> Iterator[Source]:
    """Yield the sources outside at points without a stated voltage and not yet ``fed``.

    ``volts`` and ``amperes`` have the shape (draws, points).
    """
    for name in find_sources(topology):
        # A signal comes in here, and no voltage is known: one that carries no current.
        if name not in fed and name not in topology.pin_at:
            level_v = volts[:, topology.index[name]]
            source = make_outside_source(name, "outside", level_v, 0 * level_v, draws)
            # Parts that set the voltage there do so without what comes in by a capacitor.
            is_biased = _is_biased(topology, name)
            yield replace(source, siemens=source.siemens * _BLOCKED) if is_biased else source
    for name in list_switching_nodes(topology):
        if name not in fed:
            column = topology.index[name]
            level_v, sent_a = volts[:, column], amperes[:, column]
            yield make_outside_source(name, "outside", level_v, sent_a, draws)


def _compute_parts_ohm(topology: Topology, name: str, own_siemens: Numbers) -> Numbers | None:
    """Return the resistance of the drawn parts at a node; None where only capacitors are."""
    leads = any(map(topology.carries_dc, topology.parts_at.get(name, ())))
    return 1 / np.maximum(own_siemens, _LEAST_SIEMENS) if leads else None


def _feed(
    topology: Topology,
    name: str,
    level_v: Numbers,
    sent_a: Numbers,
    draws: Draws,
    sources: list[Source],
    loads: list[Device],
) -> None:
    """Add the load at a supply pin, and a source where no drawn part feeds it."""
    supply = next(s for s in topology.chip.supplies if name in [f"pin {n}" for n in s.pins])
    sign = 1.0 if supply.voltage.nominal >= 0 else -1.0
    stated_a = supply.current.nominal / len(supply.pins) if supply.current is not None else None
    usual_a = stated_a or USUAL_LOAD_A
    if _has_drawn_feed(topology, name):
        # The current of the drawn feed, within what is credible beside the stated one.
        least_a, most_a = (share * usual_a for share in _CREDIBLE_LOAD)
        load_a = sign * np.clip(-sign * sent_a, least_a, most_a)
    else:
        load_a = np.full_like(sent_a, sign * usual_a)
        sources.append(make_outside_source(name, "rail", level_v, sent_a + load_a, draws))
    mean_v = abs(float(level_v.mean()))
    if mean_v < LEAST_SUPPLY_V:
        return  # switched off in this condition: it takes nothing
    node, ground = topology.index[name], topology.index[topology.find_supply_ground(name)]
    ends = (node, ground) if float(np.median(load_a)) > 0 else (ground, node)
    # Resistors inside the chip, some of them behind junctions.
    drawn_a = np.maximum(np.abs(load_a), _LEAST_LOAD_A)
    for share, junctions_v in ((_PLAIN_SHARE, 0.0), (1 - _PLAIN_SHARE, _JUNCTIONS_V)):
        drop_v = min(junctions_v, _MOST_DROP_SHARE * mean_v)
        ohm = (np.abs(level_v) - drop_v) / (share * drawn_a)
        loads.append(Diode(f"load of {name}", *ends, drop_v=drop_v, ohm=ohm))


def _has_drawn_feed(topology: Topology, name: str) -> bool:
    """Return whether parts bring direct current to a supply pin from a rail."""
    visited, current_points = {name}, [name]
    while current_points:
        next_points: list[str] = []
        for point in current_points:
            if point.startswith("rail"):
                return True
            pin = topology.pin_at.get(point)
            if point != name and pin is not None and pin.role != "supply":
                continue  # the way does not lead through the chip
            # Only parts that conduct direct current feed a pin; those to ground load it.
            for part in topology.parts_at.get(point, ()):
                if part.kind in FEEDS and GROUND not in part.joins:
                    next_points += [end for end in part.joins[:2] if end not in visited]
        visited.update(next_points)
        current_points = next_points
    return False


def find_feeding_rail(board: GoodBoard, supply_pin: str) -> str | None:
    """Return the source that feeds a supply pin: itself, or through parts that carry DC."""
    rails = {source.at for source in board.sources if source.kind == "rail"}
    supply_pins = board.topology.list_pins("supply")
    visited, current_points = {supply_pin}, [supply_pin]
    while current_points:
        for point in current_points:
            if point in rails:
                return point
        next_points = []
        for point in current_points:
            for part in board.topology.parts_at.get(point, ()):
                if part.kind in _FEEDS_DC:
                    ends = [end for end in part.joins if end != GROUND]
                    next_points += [end for end in ends if end not in visited]
        visited.update(next_points)
        # A rail ends the search; other pins than those of a supply lead into the chip.
        rails_reached = [point for point in next_points if point in rails]
        current_points = rails_reached or [
            point for point in next_points if not point.startswith("pin ") or point in supply_pins
        ]
    return None


def _list_ground_joints(
    topology: Topology, draws: Draws
) -> tuple[tuple[tuple[str, str], ...], tuple[Numbers, ...]]:
    grounds = topology.list_pins("ground")
    joints = [(name, GROUND) for name in grounds]
    siemens = [np.full(draws.count, 1 / GROUND_JOINT_OHM) for _ in grounds]
    for other in grounds[1:]:
        joints.append((grounds[0], other))
        siemens.append(
            1 / draws.draw_log_uniform(f"{grounds[0]} to {other}", *_BETWEEN_GROUNDS_OHM)
        )
    return tuple(joints), tuple(siemens)
