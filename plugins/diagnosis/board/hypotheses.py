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
from .good_board import GoodBoard, find_feeding_rail
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

_CERAMIC_MOVES: Final = 30.0  # times as far as a crystal


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
    """Return every fault of a board that is simulated; the first is none at all."""
    none = Hypothesis("none", "", "", "nothing wrong here", NONE_ODDS)
    parts = board.topology.chip.application.parts
    return (
        Fault(none),
        *(fault for part in parts for fault in _list_part_faults(board, part)),
        *_list_joint_faults(board),
        *_list_supply_faults(board),
        *_list_outside_faults(board),
        *_list_stage_faults(board),
    )


def _list_part_faults(board: GoodBoard, part: Part) -> Iterator[Fault]:
    """Yield the ways a part fails, its odds shared among them."""
    ways = list(_list_ways(board, part))
    weights = [MODE_ODDS.get(mode.split(",")[0], 1.0) for mode, _ in ways]
    part_odds = PART_ODDS.get(part.kind, 2.0)
    for (mode, changes), weight in zip(ways, weights, strict=True):
        failure = mode.split(",")[0]
        title = f"{part.ref} {mode}"
        prior = part_odds * weight / sum(weights)
        hypothesis = Hypothesis("part", part.ref, failure, title, prior)
        yield replace(changes, hypothesis=hypothesis)


_UNNAMED: Final = Hypothesis("part", "", "", "", 0.0)


def _list_ways(board: GoodBoard, part: Part) -> Iterator[tuple[str, Fault]]:
    """Yield the ways in which a drawn part can fail, each with its fault."""
    elements = {number: e for number, e in enumerate(board.elements) if e.ref == part.ref}
    opened = {number: open_element(element) for number, element in elements.items()}
    devices = [device for device in board.devices if device.ref == part.ref]
    if devices:
        # A transistor that pulses switch is its base alone on the board; it fails as a whole.
        device = next(list_devices(part, board.index), devices[0])
        yield from _list_device_ways(board, part, device)
    elif part.kind in RESONATORS:
        yield "open", Fault(_UNNAMED, replaced=opened)
        yield "off frequency", Fault(_UNNAMED, replaced=_detune(board, elements))
    elif part.kind in ("ceramic filter", "delay line"):
        yield "open", Fault(_UNNAMED, replaced=opened)
        times = board.draws.draw_log_uniform(f"weak {part.ref}", *severities.LOSS_TIMES)
        weak = {n: replace(e, series_ohm=e.series_ohm * times) for n, e in elements.items()}
        yield "weak", Fault(_UNNAMED, replaced=weak)
        if part.kind == "ceramic filter" and len(part.joins) == 2:
            # Silver creeps across the plates.
            ohm = board.draws.draw_log_uniform(f"short of {part.ref}", *severities.SHORT_OHM)
            shorted = {number: short_element(e, ohm) for number, e in elements.items()}
            yield "shorted", Fault(_UNNAMED, replaced=shorted)
    elif part.kind == "potentiometer" and len(elements) == 2:
        yield from _list_potentiometer_ways(board, part, elements)
    else:
        for number, element in elements.items():
            # Of several windings or halves each fails by itself.
            ends = f", {element.ends[0]} to {element.ends[1]}" if len(elements) > 1 else ""
            for mode, failed in _list_element_ways(board, element, f"{part.ref}{ends}"):
                yield mode + ends, Fault(_UNNAMED, replaced={number: failed})


def _list_element_ways(board: GoodBoard, one: Element, name: str) -> Iterator[tuple[str, Element]]:
    """Yield the ways in which a resistor, capacitor or coil fails, each with the failed element."""
    draws = board.draws
    yield "open", open_element(one)
    short_ohm = draws.draw_log_uniform(f"short of {name}", *severities.SHORT_OHM)
    if one.kind in ("resistor", "potentiometer"):
        # A resistor burns open or drifts; it does not short. Common practice.
        up_share = draws.draw_drift(f"drift of {name}", *severities.DRIFTED_UP_BY)
        yield "value high", replace(one, series_ohm=one.series_ohm * up_share)
        down_share = draws.draw_deviation(f"drop of {name}", *severities.DRIFTED_DOWN_BY)
        yield "value low", replace(one, series_ohm=one.series_ohm * down_share)
    elif one.kind in CAPACITIVE:
        yield "shorted", short_element(one, short_ohm)
        is_dry = one.kind != "electrolytic capacitor"
        usual_span = severities.LEAK_OHM_SMALL_CAPACITOR if is_dry else severities.LEAK_OHM
        span = _find_leak_span_ohm(board, one.ends, usual_span)
        yield "leaky", short_element(one, draws.draw_log_uniform(f"leak of {name}", *span))
        if is_dry:
            left = draws.draw_deviation(f"loss of {name}", *severities.LOST_CAPACITANCE)
            yield "value low", replace(one, farad=one.farad * left)
        else:
            # Its electrolyte gone, it loses capacitance and gains series resistance.
            left = draws.draw_log_uniform(f"loss of {name}", *severities.LOST_TO)
            esr_ohm = draws.draw_log_uniform(f"dry {name}", *severities.DRIED_ESR_OHM)
            yield "dried out", replace(one, farad=one.farad * left, series_ohm=esr_ohm)
    elif one.kind in ("coil", "transformer"):
        yield "shorted", short_element(one, short_ohm)
        left = draws.draw_deviation(f"turns of {name}", *severities.SHORTED_TURNS_LOSE)
        yield "value low", replace(one, henry=one.henry * left, series_ohm=one.series_ohm * left)
        if one.kind == "coil":
            up_share = draws.draw_deviation(f"core of {name}", *severities.CORE_MOVED_BY)
            yield "value high", replace(one, henry=one.henry * up_share)


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


def _detune(board: GoodBoard, elements: Mapping[int, Element]) -> dict[int, Element]:
    """Return a resonator's elements with its motional arm off frequency, up or down."""
    detuned = {}
    for number, element in elements.items():
        by = board.draws.draw_log_uniform(f"{element.ref} off", *severities.OFF_FREQUENCY_BY)
        # Ceramic ones jump by per cents with age, where crystals move by parts in ten thousand.
        scale = _CERAMIC_MOVES if element.kind == "ceramic resonator" else 1.0
        direction = np.where(board.draws.draw_event(f"{element.ref} up", 0.5), 1.0, -1.0)
        frequency_share = 1 + direction * scale * by
        detuned[number] = replace(element, henry=element.henry / frequency_share**2)
    return detuned


def _list_potentiometer_ways(
    board: GoodBoard, part: Part, halves: Mapping[int, Element]
) -> Iterator[tuple[str, Fault]]:
    """Yield the ways in which a potentiometer fails; its ``halves`` meet at the slider."""
    (first_number, first), (second_number, second) = halves.items()
    ends = (first.ends[0], second.ends[1])
    track_ohm = first.series_ohm + second.series_ohm
    track = make_element(part.ref, part.kind, ends, board.draws.count, series_ohm=track_ohm)
    # Without its slider the track is left, from end to end.
    both_opened = {first_number: open_element(first), second_number: open_element(second)}
    yield "slider open", Fault(_UNNAMED, replaced=both_opened, added=(track,))
    yield f"open, at {ends[0]}", Fault(_UNNAMED, replaced={first_number: open_element(first)})
    yield f"open, at {ends[1]}", Fault(_UNNAMED, replaced={second_number: open_element(second)})
    up_share = board.draws.draw_drift(f"drift of {part.ref}", *severities.DRIFTED_UP_BY)
    first_is_worn = board.draws.draw_event(f"side of {part.ref}", 0.5)
    first_ohm = first.series_ohm * np.where(first_is_worn, up_share, 1)
    second_ohm = second.series_ohm * np.where(first_is_worn, 1, up_share)
    drifted = {
        first_number: replace(first, series_ohm=first_ohm),
        second_number: replace(second, series_ohm=second_ohm),
    }
    yield "value high", Fault(_UNNAMED, replaced=drifted)


def _list_device_ways(board: GoodBoard, part: Part, device: object) -> Iterator[tuple[str, Fault]]:
    """Yield the ways in which a diode or a transistor fails, each with its fault."""
    draws, names = board.draws, (*board.topology.points, GROUND)
    short_ohm = draws.draw_log_uniform(f"short of {part.ref}", *severities.SHORT_OHM)

    def make_path(first: int, second: int, ohm: Numbers) -> Element:
        ends = (names[first], names[second])
        return make_element(part.ref, "path", ends, draws.count, parallel_ohm=ohm)

    def make_leak(first: int, second: int) -> Element:
        ends = (names[first], names[second])
        span = _find_leak_span_ohm(board, ends, severities.DEVICE_LEAK_OHM)
        return make_path(first, second, draws.draw_log_uniform(f"leak of {part.ref}", *span))

    itself = (part.ref,)
    if isinstance(device, Diode):
        ends = (device.anode, device.cathode)
        yield "open", Fault(_UNNAMED, switched_off=itself)
        short = make_path(*ends, short_ohm)
        yield "shorted", Fault(_UNNAMED, switched_off=itself, added=(short,))
        # A leaky diode still conducts forwards as it should.
        yield "leaky", Fault(_UNNAMED, added=(make_leak(*ends),))
    elif isinstance(device, Transistor):
        yield "open", Fault(_UNNAMED, switched_off=itself)
        base_short = make_path(device.base, device.emitter, short_ohm)
        collector_short = make_path(device.collector, device.emitter, short_ohm)
        yield "shorted, base to emitter", Fault(_UNNAMED, switched_off=itself, added=(base_short,))
        yield "shorted, collector to emitter", Fault(_UNNAMED, added=(collector_short,))
        yield "leaky", Fault(_UNNAMED, added=(make_leak(device.collector, device.emitter),))


def _list_joint_faults(board: GoodBoard) -> Iterator[Fault]:
    """Yield the open joint of every pin that something is joined to."""
    topology = board.topology
    joined = {end for part in topology.chip.application.parts for end in part.joins}
    for pin in topology.chip.pins:
        name = name_point(pin)
        title = f"joint of pin {pin.number}"
        if pin.role == "ground":
            # The chip's other ground paths leave a bad ground joint with a resistance.
            hypothesis = Hypothesis("joint", str(pin.number), "open", title, GROUND_JOINT_ODDS)
            ohm = board.draws.draw_log_uniform(f"joint of {name}", *severities.GROUND_JOINT_OHM)
            yield Fault(hypothesis, ground_ohm={name: ohm})
        elif name in joined:
            hypothesis = Hypothesis("joint", str(pin.number), "open", title, JOINT_ODDS)
            yield Fault(hypothesis, lifted=name, added=_list_starved_loads(board, name))


def _list_starved_loads(board: GoodBoard, supply_pin: str) -> tuple[Element, ...]:
    """Return the loads on a chip's pins when its supply pin has come loose.

    Each pin's protection diode leads to the supply inside the chip, which the pins now feed.
    """
    topology = board.topology
    if topology.pin_at[supply_pin].role != "supply":
        return ()
    device_refs = {device.ref for device in board.devices}
    loads = []
    for name, supply in topology.supply_of.items():
        if supply != supply_pin or f"head of {name}" not in device_refs:
            continue
        ends = (name, topology.ground_of[name])
        ohm = board.draws.draw_log_uniform(f"starved {name}", *severities.STARVED_PIN_OHM)
        loads.append(
            make_element(f"inside {name}", "path", ends, board.draws.count, parallel_ohm=ohm)
        )
    return tuple(loads)


def _list_supply_faults(board: GoodBoard) -> Iterator[Fault]:
    """Yield faults of the rails; each is named by the first supply that it feeds."""
    draws, listed_rails = board.draws, set[str]()
    for supply in board.topology.chip.supplies:
        for number in supply.pins:
            rail = find_feeding_rail(board, f"pin {number}")
            if rail is None or rail in listed_rails:
                continue
            listed_rails.add(rail)
            shares_left = {
                "missing": draws.draw_uniform(f"{rail} missing", *severities.MISSING_RAIL_AT),
                "low": draws.draw_uniform(f"{rail} low", *severities.LOW_RAIL_AT),
                "noisy": draws.draw_uniform(f"{rail} noisy", *severities.NOISY_RAIL_AT),
            }
            hum_times = draws.draw_log_uniform(f"{rail} hum", *severities.RAIL_HUM_TIMES)
            for failure, odds in SUPPLY_ODDS.items():
                title = f"{supply.name} {failure}, at {rail}"
                hypothesis = Hypothesis("supply", supply.name, failure, title, odds)
                ripple_times = {rail: hum_times} if failure == "noisy" else {}
                share_left = {rail: shares_left[failure]}
                yield Fault(hypothesis, source_share=share_left, ripple_times=ripple_times)


def _list_outside_faults(board: GoodBoard) -> Iterator[Fault]:
    """Yield the faults of signals and voltages from outside: gone, low, or at a wrong level."""
    draws, topology = board.draws, board.topology
    senders, switching_nodes = find_sources(topology), list_switching_nodes(topology)
    for source in board.sources:
        node = source.at
        if source.kind not in ("outside", "drive") or _is_switched(board, node):
            continue
        gone = draws.draw_uniform(f"{node} gone", *severities.GONE_AT)
        if node in senders:
            # When a sender of a signal is dead, its standing voltage may stay or go too.
            stays = draws.draw_event(f"{node} stays", 0.6)
            dc_share = draws.draw_uniform(f"level of {node}", *severities.DEAD_SENDER_AT)
            dc_share = np.where(stays, 1.0, dc_share)
            low = draws.draw_log_uniform(f"{node} low", *severities.LOW_SIGNAL_AT)
            yield _make_outside_fault(node, "missing", {node: dc_share}, {node: gone})
            yield _make_outside_fault(node, "low", {}, {node: low})
        elif node in switching_nodes:
            # It lies at ground in the good set: a share of its voltage would change nothing.
            top_v = max(abs(supply.voltage.nominal) for supply in topology.chip.supplies)
            order_share = draws.draw_uniform(f"order at {node}", *severities.WRONG_ORDER_AT)
            fault = _make_outside_fault(node, "wrong level", {}, {})
            yield replace(fault, source_added_v={node: top_v * order_share})
        else:
            low = draws.draw_uniform(f"level of {node}", *severities.LOW_LEVEL_AT)
            high = draws.draw_uniform(f"height of {node}", *severities.HIGH_LEVEL_AT)
            wrong = np.where(draws.draw_event(f"{node} high", 0.3), high, low)
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
