"""Everything that may be wrong with a board, and the change that each fault makes.

Odds are relative, common practice of the repair trade for sets ten to thirty years old; only their
ratios count.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from ....schema import Part
from . import severities
from .cloud import Hypothesis
from .devices import Diode, Transistor, list_devices
from .elements import CAPACITIVE, RESONATORS, Element, make_element, open_element, short_element
from .good_board import GoodBoard
from .levels import list_switching_nodes
from .senders import find_sources
from .severities import Numbers
from .topology import GROUND, name_point

# A part of this kind has failed, in any way.
PART_ODDS: Final = {
    "electrolytic capacitor": 9.0,
    "capacitor": 3.0,
    "trimmer capacitor": 3.0,
    "resistor": 3.0,
    "potentiometer": 4.0,
    "coil": 1.5,
    "crystal": 3.0,
    "ceramic resonator": 3.0,
    "ceramic filter": 2.0,
    "delay line": 2.0,
    "diode": 3.0,
    "zener diode": 3.0,
    "transistor": 5.0,
    "transformer": 2.0,
    "connector": 3.0,
}
# Having failed, it did so in this way.
MODE_ODDS: Final = {
    "open": 3.0,
    "shorted": 1.5,
    "leaky": 3.0,
    "dried out": 4.0,
    "value high": 2.0,
    "value low": 1.0,
    "slider open": 2.0,
    "off frequency": 2.0,
    "weak": 1.0,
}
JOINT_ODDS: Final = 0.8
GROUND_JOINT_ODDS: Final = 1.2
STAGE_ODDS: Final = {"dead": 1.2, "weak": 0.35}
SUPPLY_ODDS: Final = {"missing": 3.0, "low": 3.0, "noisy": 1.5}
OUTSIDE_ODDS: Final = {"missing": 2.0, "low": 0.8, "wrong level": 0.8}
NONE_ODDS: Final = 6.0


@dataclass(frozen=True, eq=False)
class Fault:
    """A hypothesis, and its changes to the good board; arrays have the shape (draws,)."""

    hypothesis: Hypothesis
    replaced: Mapping[int, Element] = field(default_factory=dict)
    """Elements that are other ones, by their number."""
    added: tuple[Element, ...] = ()
    switched_off: tuple[str, ...] = ()
    """Diodes and transistors that conduct no more, by reference."""
    lifted: str | None = None
    """Pin whose joint is open."""
    ground_ohm: Mapping[str, Numbers] = field(default_factory=dict)
    """Resistance in the joints of ground pins."""
    source_share: Mapping[str, Numbers] = field(default_factory=dict)
    """The share that is left of the voltage of sources outside, by node or pin."""
    source_added_v: Mapping[str, Numbers] = field(default_factory=dict)
    """Volts added to sources outside, by node."""
    signal_share: Mapping[str, Numbers] = field(default_factory=dict)
    """The share that is left of the signal of sources outside."""
    ripple_times: Mapping[str, Numbers] = field(default_factory=dict)
    health: Mapping[str, Numbers] = field(default_factory=dict)
    """The share that is left of stages, by id."""


def list_faults(board: GoodBoard) -> tuple[Fault, ...]:
    """Return every fault that is thought of; the first is none at all."""
    none = Hypothesis("none", "", "", "nothing wrong here", NONE_ODDS)
    return (
        Fault(none),
        *(
            fault
            for part in board.topology.chip.application.parts
            for fault in _list_part_faults(board, part)
        ),
        *_list_joint_faults(board),
        *_list_supply_faults(board),
        *_list_outside_faults(board),
        *_list_stage_faults(board),
    )


def _list_part_faults(board: GoodBoard, part: Part) -> Iterator[Fault]:
    """Yield the ways a part fails, its odds shared among them."""
    ways = list(_list_ways(board, part))
    weights = [MODE_ODDS.get(mode.split(",")[0], 1.0) for mode, _ in ways]
    whole = PART_ODDS.get(part.kind, 2.0)
    for (mode, changes), weight in zip(ways, weights, strict=True):
        failure = mode.split(",")[0]
        title = f"{part.ref} {mode}"
        prior = whole * weight / sum(weights)
        hypothesis = Hypothesis("part", part.ref, failure, title, prior)
        yield replace(changes, hypothesis=hypothesis)


_UNNAMED: Final = Hypothesis("part", "", "", "", 0.0)


def _list_ways(board: GoodBoard, part: Part) -> Iterator[tuple[str, Fault]]:
    """Yield the ways in which a drawn part can fail, each with its fault."""
    own = {at: e for at, e in enumerate(board.elements) if e.ref == part.ref}
    devices = [d for d in board.devices if d.ref == part.ref]
    if devices:
        # A transistor that pulses switch is its base alone on the board; it fails as a whole.
        whole = next(list_devices(part, board.index), devices[0])
        yield from _list_device_ways(board, part, whole)
    elif part.kind in RESONATORS:
        yield "open", Fault(_UNNAMED, replaced={at: open_element(e) for at, e in own.items()})
        yield "off frequency", Fault(_UNNAMED, replaced=_detune(board, own))
    elif part.kind in ("ceramic filter", "delay line"):
        yield "open", Fault(_UNNAMED, replaced={at: open_element(e) for at, e in own.items()})
        times = board.draws.draw_log_uniform(f"weak {part.ref}", 3.0, 15.0)
        weak = {at: replace(e, series_ohm=e.series_ohm * times) for at, e in own.items()}
        yield "weak", Fault(_UNNAMED, replaced=weak)
        if part.kind == "ceramic filter" and len(part.joins) == 2:
            # Silver creeps across the plates.
            ohm = board.draws.draw_log_uniform(f"short of {part.ref}", *severities.SHORT_OHM)
            yield (
                "shorted",
                Fault(_UNNAMED, replaced={at: short_element(e, ohm) for at, e in own.items()}),
            )
    elif part.kind == "potentiometer" and len(own) == 2:
        yield from _list_potentiometer_ways(board, part, own)
    else:
        for at, one in own.items():
            side = f", {one.ends[0]} to {one.ends[1]}" if len(own) > 1 else ""
            for mode, failed in _list_element_ways(board, one, f"{part.ref}{side}"):
                yield mode + side, Fault(_UNNAMED, replaced={at: failed})


def _list_element_ways(board: GoodBoard, one: Element, name: str) -> Iterator[tuple[str, Element]]:
    draws = board.draws
    yield "open", open_element(one)
    short_ohm = draws.draw_log_uniform(f"short of {name}", *severities.SHORT_OHM)
    if one.kind in ("resistor", "potentiometer"):
        up = draws.draw_drift(f"drift of {name}", *severities.DRIFTED_UP_BY)
        yield "value high", replace(one, series_ohm=one.series_ohm * up)
        down = draws.draw_deviation(f"drop of {name}", *severities.DRIFTED_DOWN_BY)
        yield "value low", replace(one, series_ohm=one.series_ohm * down)
    elif one.kind in CAPACITIVE:
        yield "shorted", short_element(one, short_ohm)
        small = one.kind != "electrolytic capacitor"
        span = severities.LEAK_OHM_SMALL_CAPACITOR if small else severities.LEAK_OHM
        span = _find_leak_span_ohm(board, one.ends, span)
        yield "leaky", short_element(one, draws.draw_log_uniform(f"leak of {name}", *span))
        if small:
            left = draws.draw_deviation(f"loss of {name}", *severities.LOST_CAPACITANCE)
            yield "value low", replace(one, farad=one.farad * left)
        else:
            left = draws.draw_log_uniform(f"loss of {name}", *severities.LOST_TO)
            ohm = draws.draw_log_uniform(f"dry {name}", *severities.DRIED_ESR_OHM)
            yield "dried out", replace(one, farad=one.farad * left, series_ohm=ohm)
    elif one.kind in ("coil", "transformer"):
        yield "shorted", short_element(one, short_ohm)
        left = draws.draw_deviation(f"turns of {name}", *severities.SHORTED_TURNS_LOSE)
        yield "value low", replace(one, henry=one.henry * left, series_ohm=one.series_ohm * left)
        if one.kind == "coil":
            up = draws.draw_deviation(f"core of {name}", *severities.CORE_MOVED_BY)
            yield "value high", replace(one, henry=one.henry * up)


def _find_leak_span_ohm(
    board: GoodBoard, ends: tuple[str, str], usual: tuple[float, float]
) -> tuple[float, float]:
    """Return the leaks to think of between two points, by the board's own resistance there."""
    if any(end in board.topology.list_pins("oscillator") for end in ends):
        return usual  # a timing pin is held at its mean: its network does not tell
    first, second = (board.index[end] for end in ends)
    return severities.find_leak_span_ohm(
        usual, float(np.median(board.impedance.read_across(first, second)))
    )


def _detune(board: GoodBoard, own: Mapping[int, Element]) -> dict[int, Element]:
    """Return a resonator whose motional arm is off, up or down."""
    found = {}
    for at, one in own.items():
        by = board.draws.draw_log_uniform(f"{one.ref} off", *severities.OFF_FREQUENCY_BY)
        # Ceramic ones jump by per cents with age, where crystals move by parts in ten thousand.
        scale = 30.0 if one.kind == "ceramic resonator" else 1.0
        up = np.where(board.draws.draw_event(f"{one.ref} up", 0.5), 1.0, -1.0)
        found[at] = replace(one, henry=one.henry / (1 + up * scale * by) ** 2)
    return found


def _list_potentiometer_ways(
    board: GoodBoard, part: Part, own: Mapping[int, Element]
) -> Iterator[tuple[str, Fault]]:
    (first_at, first), (second_at, second) = own.items()
    track = first.series_ohm + second.series_ohm
    ends = (first.ends[0], second.ends[1])
    whole = make_element(part.ref, part.kind, ends, board.draws.count, series_ohm=track)
    both = {first_at: open_element(first), second_at: open_element(second)}
    yield "slider open", Fault(_UNNAMED, replaced=both, added=(whole,))
    yield f"open, at {ends[0]}", Fault(_UNNAMED, replaced={first_at: open_element(first)})
    yield f"open, at {ends[1]}", Fault(_UNNAMED, replaced={second_at: open_element(second)})
    up = board.draws.draw_drift(f"drift of {part.ref}", *severities.DRIFTED_UP_BY)
    worn = board.draws.draw_event(f"side of {part.ref}", 0.5)
    drifted = {
        first_at: replace(first, series_ohm=first.series_ohm * np.where(worn, up, 1)),
        second_at: replace(second, series_ohm=second.series_ohm * np.where(worn, 1, up)),
    }
    yield "value high", Fault(_UNNAMED, replaced=drifted)


def _list_device_ways(board: GoodBoard, part: Part, device: object) -> Iterator[tuple[str, Fault]]:
    draws, names = board.draws, (*board.topology.points, GROUND)
    short_ohm = draws.draw_log_uniform(f"short of {part.ref}", *severities.SHORT_OHM)

    def make_path(first: int, second: int, ohm: Numbers) -> Element:
        ends = (names[first], names[second])
        return make_element(part.ref, "path", ends, draws.count, parallel_ohm=ohm)

    def make_leak(first: int, second: int) -> Element:
        ends = (names[first], names[second])
        span = _find_leak_span_ohm(board, ends, severities.DEVICE_LEAK_OHM)
        return make_path(first, second, draws.draw_log_uniform(f"leak of {part.ref}", *span))

    off = (part.ref,)
    if isinstance(device, Diode):
        ends = (device.anode, device.cathode)
        yield "open", Fault(_UNNAMED, switched_off=off)
        yield "shorted", Fault(_UNNAMED, switched_off=off, added=(make_path(*ends, short_ohm),))
        yield "leaky", Fault(_UNNAMED, added=(make_leak(*ends),))
    elif isinstance(device, Transistor):
        yield "open", Fault(_UNNAMED, switched_off=off)
        across_base = make_path(device.base, device.emitter, short_ohm)
        along = make_path(device.collector, device.emitter, short_ohm)
        yield "shorted, base to emitter", Fault(_UNNAMED, switched_off=off, added=(across_base,))
        yield "shorted, collector to emitter", Fault(_UNNAMED, added=(along,))
        yield "leaky", Fault(_UNNAMED, added=(make_leak(device.collector, device.emitter),))


def _list_joint_faults(board: GoodBoard) -> Iterator[Fault]:
    """Yield the open joint of every pin that something is joined to."""
    topology = board.topology
    joined = {end for part in topology.chip.application.parts for end in part.joins}
    for pin in topology.chip.pins:
        name = name_point(pin)
        title = f"joint of pin {pin.number}"
        if pin.role == "ground":
            odds = Hypothesis("joint", str(pin.number), "open", title, GROUND_JOINT_ODDS)
            ohm = board.draws.draw_log_uniform(f"joint of {name}", *severities.GROUND_JOINT_OHM)
            yield Fault(odds, ground_ohm={name: ohm})
        elif name in joined:
            hypothesis = Hypothesis("joint", str(pin.number), "open", title, JOINT_ODDS)
            yield Fault(hypothesis, lifted=name, added=_list_starved_loads(board, name))


def _list_starved_loads(board: GoodBoard, supply_pin: str) -> tuple[Element, ...]:
    """Return the loads on pins of a chip whose supply pin has come loose: they feed it.

    Each pin's protection leads to the supply inside the chip, which now hangs on it.
    """
    topology = board.topology
    if topology.pin_at[supply_pin].role != "supply":
        return ()
    protected = {device.ref for device in board.devices}
    return tuple(
        make_element(
            f"inside {name}",
            "path",
            (name, topology.ground_of[name]),
            board.draws.count,
            parallel_ohm=board.draws.draw_log_uniform(
                f"starved {name}", *severities.STARVED_PIN_OHM
            ),
        )
        for name, supply in topology.supply_of.items()
        if supply == supply_pin and f"head of {name}" in protected
    )


def _list_supply_faults(board: GoodBoard) -> Iterator[Fault]:
    """Yield faults of the rails; each is named by the first supply that it feeds."""
    draws, named = board.draws, set()
    for supply in board.topology.chip.supplies:
        for number in supply.pins:
            rail = find_feeding_rail(board, f"pin {number}")
            if rail is None or rail in named:
                continue
            named.add(rail)
            shares = {
                "missing": draws.draw_uniform(f"{rail} missing", 0.0, 0.05),
                "low": draws.draw_uniform(f"{rail} low", *severities.LOW_RAIL_AT),
                "noisy": draws.draw_uniform(f"{rail} noisy", 0.96, 1.0),
            }
            for failure, odds in SUPPLY_ODDS.items():
                title = f"{supply.name} {failure}, at {rail}"
                hypothesis = Hypothesis("supply", supply.name, failure, title, odds)
                times = draws.draw_log_uniform(f"{rail} hum", 15.0, 120.0)
                hum = {rail: times} if failure == "noisy" else {}
                yield Fault(hypothesis, source_share={rail: shares[failure]}, ripple_times=hum)


def find_feeding_rail(board: GoodBoard, supply_pin: str) -> str | None:
    """Return the source that feeds a supply pin: itself, or through parts that carry DC."""
    rails = {source.at for source in board.sources if source.kind == "rail"}
    visited, edge = {supply_pin}, [supply_pin]
    while edge:
        for name in edge:
            if name in rails:
                return name
        ahead = []
        for name in edge:
            for part in board.topology.parts_at.get(name, ()):
                if part.kind in ("resistor", "coil", "diode", "transistor", "connector"):
                    ahead += [end for end in part.joins if end != GROUND and end not in visited]
        visited.update(ahead)
        edge = [name for name in ahead if name in rails] or [
            name
            for name in ahead
            if not name.startswith("pin ") or name in board.topology.list_pins("supply")
        ]
    return None


def _list_outside_faults(board: GoodBoard) -> Iterator[Fault]:
    """Yield the faults of signals and voltages from outside: gone, or low."""
    draws, topology = board.draws, board.topology
    senders, orders = find_sources(topology), list_switching_nodes(topology)
    for source in board.sources:
        if source.kind not in ("outside", "drive") or _is_switched(board, source.at):
            continue
        node = source.at
        carries = node in senders
        gone = draws.draw_uniform(f"{node} gone", 0.0, 0.003)
        low = draws.draw_log_uniform(f"{node} low", *severities.LOW_SIGNAL_AT)
        if carries:
            # When what sends a signal is dead, its standing voltage may stay or go too.
            stays = draws.draw_event(f"{node} stays", 0.6)
            level = np.where(stays, 1.0, draws.draw_uniform(f"level of {node}", 0.0, 1.3))
            yield _make_outside_fault(node, "missing", {node: level}, {node: gone})
            yield _make_outside_fault(node, "low", {}, {node: low})
        else:
            far = draws.draw_uniform(f"level of {node}", 0.0, 0.8)
            high = draws.draw_uniform(f"height of {node}", 1.2, 2.0)
            wrong = np.where(draws.draw_event(f"{node} high", 0.3), high, far)
            if node in orders:
                top_v = max(abs(supply.voltage.nominal) for supply in topology.chip.supplies)
                added = {node: top_v * draws.draw_uniform(f"order at {node}", 0.2, 1.0)}
                fault = _make_outside_fault(node, "wrong level", {}, {})
                yield replace(fault, source_added_v=added)
                continue
            yield _make_outside_fault(node, "missing", {node: gone}, {})
            yield _make_outside_fault(node, "wrong level", {node: wrong}, {})


def _make_outside_fault(
    node: str, failure: str, volts: dict[str, Numbers], signal: dict[str, Numbers]
) -> Fault:
    hypothesis = Hypothesis("outside", node, failure, f"{node} {failure}", OUTSIDE_ODDS[failure])
    return Fault(hypothesis, source_share=volts, signal_share=signal)


def _is_switched(board: GoodBoard, node: str) -> bool:
    """Return whether a drawn transistor switches the node: its mean is no source from outside."""
    parts = board.topology.parts_at.get(node, ())
    return any(part.kind == "transistor" for part in parts)


def _list_stage_faults(board: GoodBoard) -> Iterator[Fault]:
    for block in board.topology.chip.blocks:
        for failure, odds in STAGE_ODDS.items():
            left = board.draws.draw_uniform(f"{block.id} {failure}", *severities.WEAK_STAGE_AT)
            health = np.zeros_like(left) if failure == "dead" else left
            hypothesis = Hypothesis("stage", block.id, failure, f"{block.name} {failure}", odds)
            yield Fault(hypothesis, health={block.id: health})
