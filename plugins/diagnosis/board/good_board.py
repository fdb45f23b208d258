"""The good board: its network, the states of its devices, and its sources, on every draw.

Calibration: the stated points are held at the catalogue's voltages, the rest is solved, and the
currents at the held points must come from pins, supplies and outside sources.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .devices import ON, Device, Diode, Transistor, list_devices, make_clamp
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
from .topology import GROUND, Topology, name_point

Array = NDArray[Any]

GROUND_JOINT_OHM: Final = 0.01
_BETWEEN_GROUNDS_OHM: Final = (2.0, 40.0)  # inside the chip, from ground pin to ground pin
_ROUNDS: Final = 120
_EXPLAINED_SHARE: Final = 0.12
_EXPLAINED_V: Final = 0.15
_PLAIN_SHARE: Final = 0.35  # of a supply current, what flows down to the lowest voltages
_JUNCTIONS_V: Final = 1.3
_ABOVE_SUPPLY_V: Final = 0.3
_CREDIBLE_LOAD: Final = (0.05, 4.0)  # of the stated current, what a drawn feed carries


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
    """Calibrate a chip's board on every draw."""
    elements = list_board_elements(topology, draws)
    devices = list_board_devices(topology)
    levels = list_held_levels(topology)
    kinds = find_outside_kinds(topology)
    states = np.zeros(len(devices), dtype=int)
    while True:
        held = {n: v for n, v in levels.items() if n in topology.pin_at or n in kinds}
        volts, states = solve_held(topology, draws.count, elements, devices, states, held)
        missed = _find_worst_unexplained(topology, volts, levels, held)
        if missed is None:
            break
        kinds[missed] = "drive"
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


def list_board_devices(topology: Topology) -> tuple[Device, ...]:
    """Return the drawn diodes and transistors, then the protection diodes of the pins."""
    index = topology.index
    found: list[Device] = []
    for part in topology.chip.application.parts:
        for device in list_devices(part, index):
            if isinstance(device, Transistor) and _is_switched_at(topology, part.joins[0]):
                found.append(device.make_junction())
            else:
                found.append(device)
    for pin in topology.chip.pins:
        if pin.role in ("supply", "ground", "unused"):
            continue
        name, lowest = name_point(pin), 0.0
        stated = topology.stated_dc_v.get(name, 0.0)
        swings_below = _swings_beyond(topology, name)
        if stated >= lowest - 0.05 and not swings_below:
            found.append(
                make_clamp(f"foot of {name}", index[topology.ground_of[name]], index[name])
            )
        supply = topology.supply_of[name]
        beyond = any(e.beyond_supply for e in pin.expectations) or name in topology.fed_outside
        below = stated <= topology.find_nominal_v(supply) + _ABOVE_SUPPLY_V
        if below and not beyond and not topology.is_open_collector(name):
            found.append(make_clamp(f"head of {name}", index[name], index[supply]))
    return tuple(found)


def _swings_beyond(topology: Topology, name: str) -> bool:
    expectation = topology.expectations.get(name)
    return expectation is not None and expectation.beyond_supply is not None


def _stamp_network(
    topology: Topology,
    count: int,
    elements: Iterable[Element],
    devices: Iterable[Device],
    states: Array,
    sources: Iterable[Source],
    joints: Iterable[tuple[tuple[str, str], Numbers]],
) -> Stamp:
    index = topology.index
    stamp = Stamp(count, len(topology.points))
    for element in elements:
        first, second = (index[end] for end in element.ends)
        stamp.add((first, second), element.compute_siemens(0.0).real)
    for device, state in zip(devices, states, strict=True):
        for out, siemens, amperes, sense in device.list_terms(int(state)):
            stamp.add(out, siemens, amperes, sense)
    for source in sources:
        at, back = index[source.at], index[source.returns_to]
        stamp.add((at, back), source.siemens, -source.siemens * source.emf_v)
    for (one, other), siemens in joints:
        stamp.add((index[one], index[other]), siemens)
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
    at_held = np.array([topology.index[name] for name in held], dtype=int)
    free = np.setdiff1d(np.arange(nodes), at_held)
    volts = np.zeros((count, nodes + 1))
    before = set[tuple[int, ...]]()
    for turn in range(_ROUNDS):
        stamp = _stamp_network(topology, count, elements, devices, states, (), ())
        volts[:, at_held] = [held[name] for name in held]
        if free.size:
            matrix = stamp.matrix[:, free][:, :, free]
            right = stamp.amperes[:, free] - np.einsum(
                "sfh,sh->sf", stamp.matrix[:, free][:, :, at_held], volts[:, at_held]
            )
            volts[:, free] = np.linalg.solve(matrix, right[:, :, None])[:, :, 0]
        middle = np.median(volts, axis=0)[None, :]
        wanted = np.array(
            [
                int(d.next_state(np.array([s]), middle)[0])
                for d, s in zip(devices, states, strict=True)
            ],
            dtype=int,
        )
        differs = np.flatnonzero(wanted != states)
        if not differs.size:
            break
        # States that come back would flip for ever: from then on the first alone is moved, and
        # with transistors, where that may not end either, later on any one.
        if tuple(states.tolist()) in before:
            later = turn > _ROUNDS // 2
            moved = differs[turn * 7919 % differs.size if later else 0]
            wanted = np.where(np.arange(states.size) == moved, wanted, states)
        before.add(tuple(states.tolist()))
        states = wanted
    return volts, states


def _is_switched_at(topology: Topology, name: str) -> bool:
    """Return whether pulses switch a transistor there: their mean follows from no network."""
    parts = topology.parts_at.get(name, ())
    bases = [p for p in parts if p.kind == "transistor" and p.joins[0] == name]
    return bool(bases) and topology.is_pulsed(name)


def _find_worst_unexplained(
    topology: Topology, volts: Array, levels: Mapping[str, float], held: Mapping[str, float]
) -> str | None:
    """Return the node whose stated voltage the parts explain least; None when all are near."""
    worst, most = None, 1.0
    for name, level in levels.items():
        if name in held or _is_switched_at(topology, name):
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
    """Give every held point the source, or the load, that its current asks for."""
    stamp = _stamp_network(topology, draws.count, elements, devices, states, (), ())
    amperes = np.einsum("sij,sj->si", stamp.matrix, volts) - stamp.amperes
    own = np.einsum("sii->si", stamp.matrix)
    sources: list[Source] = []
    loads: list[Device] = []
    for name in levels:
        at = topology.index[name]
        pin = topology.pin_at.get(name)
        sent, level = amperes[:, at], volts[:, at]
        if pin is None:
            if name in kinds:
                room_v = float(np.ptp([0.0, *levels.values()])) if kinds[name] == "drive" else None
                parts_ohm = _compute_parts_ohm(topology, name, own[:, at])
                source = make_outside_source(
                    name, kinds[name], level, sent, draws, parts_ohm, room_v
                )
                sources.append(source)
        elif pin.role == "supply":
            _feed(topology, name, level, sent, draws, sources, loads)
        elif pin.role not in ("ground", "unused"):
            # What the board would show without the pin, its own conductance alone.
            open_v = level - sent / np.maximum(own[:, at], 1e-9)
            sources.append(make_pin_source(topology, name, level, sent, draws, open_v))
    sources += _list_unstated_sources(
        topology, draws, {source.at for source in sources}, volts, amperes
    )
    devices = (*devices, *loads)
    states = np.concatenate([states, np.full(len(loads), ON, dtype=int)])
    joints, joint_siemens = _list_ground_joints(topology, draws)
    return GoodBoard(
        topology, draws, elements, devices, states, tuple(sources), joints, joint_siemens
    )


def _list_unstated_sources(
    topology: Topology, draws: Draws, known: Set[str], volts: Array, amperes: Array
) -> Iterator[Source]:
    """Yield the sources outside at points of no stated voltage, beside the ``known`` ones.

    ``volts`` and ``amperes`` have the shape (draws, points).
    """
    for name in find_sources(topology):
        # Where a signal comes in of which no voltage is known.
        if name not in known and name not in topology.pin_at:
            level = volts[:, topology.index[name]]
            yield make_outside_source(name, "outside", level, 0 * level, draws)
    for name in list_switching_nodes(topology):
        if name not in known:
            at = topology.index[name]
            yield make_outside_source(name, "outside", volts[:, at], amperes[:, at], draws)


def _compute_parts_ohm(topology: Topology, name: str, own_siemens: Numbers) -> Numbers | None:
    """Return the resistance of the drawn parts at a node; None where only capacitors are."""
    leads = any(map(topology.carries_dc, topology.parts_at.get(name, ())))
    return 1 / np.maximum(own_siemens, 1e-9) if leads else None


def _feed(
    topology: Topology,
    name: str,
    level: Numbers,
    sent: Numbers,
    draws: Draws,
    sources: list[Source],
    loads: list[Device],
) -> None:
    """Add the load at a supply pin, and a source where no drawn part feeds it."""
    supply = next(s for s in topology.chip.supplies if name in [f"pin {n}" for n in s.pins])
    sign = 1.0 if supply.voltage.nominal >= 0 else -1.0
    stated = supply.current.nominal / len(supply.pins) if supply.current is not None else None
    usual = stated or USUAL_LOAD_A
    load = sign * usual
    if _has_drawn_feed(topology, name):
        # What the drawn feed carries, within what is credible beside the stated current.
        low, high = (share * usual for share in _CREDIBLE_LOAD)
        taken_each = sign * np.clip(-sign * sent, low, high)
        load = float(np.median(taken_each))
    else:
        sources.append(make_outside_source(name, "rail", level, sent + load, draws))
        taken_each = np.full_like(sent, load)
    at, back = topology.index[name], topology.index[topology.find_supply_ground(name)]
    if abs(float(level.mean())) < LEAST_SUPPLY_V:
        return  # switched off in this condition: it takes nothing
    # Resistors inside the chip, some of them behind junctions.
    whole = np.maximum(np.abs(taken_each), 1e-5)
    ends = (at, back) if load > 0 else (back, at)
    for share, drop_v in ((_PLAIN_SHARE, 0.0), (1 - _PLAIN_SHARE, _JUNCTIONS_V)):
        drop_v = min(drop_v, 0.3 * abs(float(level.mean())))
        ohm = (np.abs(level) - drop_v) / (share * whole)
        loads.append(Diode(f"load of {name}", *ends, drop_v=drop_v, ohm=ohm))


def _has_drawn_feed(topology: Topology, name: str) -> bool:
    """Return whether parts bring direct current to a supply pin from a rail."""
    visited, edge = {name}, [name]
    while edge:
        ahead: list[str] = []
        for end in edge:
            if end.startswith("rail"):
                return True
            # The way does not lead through the chip.
            if end != name and end in topology.pin_at and topology.pin_at[end].role != "supply":
                continue
            # Only parts that conduct direct current feed a pin; those to ground load it.
            for part in topology.parts_at.get(end, ()):
                if part.kind in FEEDS and GROUND not in part.joins:
                    ahead += [other for other in part.joins[:2] if other not in visited]
        visited.update(ahead)
        edge = ahead
    return False


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
