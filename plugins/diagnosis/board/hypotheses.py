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
from .devices import Diode, Transistor, devices_of
from .elements import CAPACITIVE, RESONATORS, Element, element, opened, shorted
from .good_board import GoodBoard
from .levels import orders_of
from .senders import sources_of
from .severities import Numbers
from .topology import GROUND, pin_name

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


def faults_of(board: GoodBoard) -> tuple[Fault, ...]:
    """Return every fault that is thought of; the first is none at all."""
    none = Hypothesis("none", "", "", "nothing wrong here", NONE_ODDS)
    return (
        Fault(none),
        *(fault for part in board.topology.chip.application.parts for fault in _part(board, part)),
        *_joints(board),
        *_supplies(board),
        *_outside(board),
        *_stages(board),
    )


def _part(board: GoodBoard, part: Part) -> Iterator[Fault]:
    """Yield the ways a part fails, its odds shared among them."""
    ways = list(_ways(board, part))
    weights = [MODE_ODDS.get(mode.split(",")[0], 1.0) for mode, _ in ways]
    whole = PART_ODDS.get(part.kind, 2.0)
    for (mode, changes), weight in zip(ways, weights, strict=True):
        failure = mode.split(",")[0]
        title = f"{part.ref} {mode}"
        prior = whole * weight / sum(weights)
        hypothesis = Hypothesis("part", part.ref, failure, title, prior)
        yield replace(changes, hypothesis=hypothesis)


_UNNAMED: Final = Hypothesis("part", "", "", "", 0.0)


def _ways(board: GoodBoard, part: Part) -> Iterator[tuple[str, Fault]]:
    """Yield the ways in which a drawn part can fail, each with its fault."""
    own = {at: e for at, e in enumerate(board.elements) if e.ref == part.ref}
    devices = [d for d in board.devices if d.ref == part.ref]
    if devices:
        # A transistor that pulses switch is its base alone on the board; it fails as a whole.
        whole = next(devices_of(part, board.index), devices[0])
        yield from _device_ways(board, part, whole)
    elif part.kind in RESONATORS:
        yield "open", Fault(_UNNAMED, replaced={at: opened(e) for at, e in own.items()})
        yield "off frequency", Fault(_UNNAMED, replaced=_detuned(board, own))
    elif part.kind in ("ceramic filter", "delay line"):
        yield "open", Fault(_UNNAMED, replaced={at: opened(e) for at, e in own.items()})
        times = board.draws.log_uniform(f"weak {part.ref}", 3.0, 15.0)
        weak = {at: replace(e, series_ohm=e.series_ohm * times) for at, e in own.items()}
        yield "weak", Fault(_UNNAMED, replaced=weak)
        if part.kind == "ceramic filter" and len(part.joins) == 2:
            # Silver creeps across the plates.
            ohm = board.draws.log_uniform(f"short of {part.ref}", *severities.SHORT_OHM)
            yield (
                "shorted",
                Fault(_UNNAMED, replaced={at: shorted(e, ohm) for at, e in own.items()}),
            )
    elif part.kind == "potentiometer" and len(own) == 2:
        yield from _potentiometer_ways(board, part, own)
    else:
        for at, one in own.items():
            side = f", {one.ends[0]} to {one.ends[1]}" if len(own) > 1 else ""
            for mode, failed in _element_ways(board, one, f"{part.ref}{side}"):
                yield mode + side, Fault(_UNNAMED, replaced={at: failed})


def _element_ways(board: GoodBoard, one: Element, name: str) -> Iterator[tuple[str, Element]]:
    draws = board.draws
    yield "open", opened(one)
    short_ohm = draws.log_uniform(f"short of {name}", *severities.SHORT_OHM)
    if one.kind in ("resistor", "potentiometer"):
        up = draws.log_uniform(f"drift of {name}", *severities.DRIFTED_UP_TO)
        yield "value high", replace(one, series_ohm=one.series_ohm * up)
        down = draws.log_uniform(f"drop of {name}", *severities.DRIFTED_DOWN_TO)
        yield "value low", replace(one, series_ohm=one.series_ohm * down)
    elif one.kind in CAPACITIVE:
        yield "shorted", shorted(one, short_ohm)
        small = one.kind != "electrolytic capacitor"
        span = severities.LEAK_OHM_SMALL_CAPACITOR if small else severities.LEAK_OHM
        span = _leak_span_ohm(board, one.ends, span)
        yield "leaky", shorted(one, draws.log_uniform(f"leak of {name}", *span))
        if small:
            left = draws.log_uniform(f"loss of {name}", *severities.CHANGED_CAPACITANCE_TO)
            yield "value low", replace(one, farad=one.farad * left)
        else:
            left = draws.log_uniform(f"loss of {name}", *severities.LOST_TO)
            ohm = draws.log_uniform(f"dry {name}", *severities.DRIED_ESR_OHM)
            yield "dried out", replace(one, farad=one.farad * left, series_ohm=ohm)
    elif one.kind in ("coil", "transformer"):
        yield "shorted", shorted(one, short_ohm)
        left = draws.log_uniform(f"turns of {name}", *severities.SHORTED_TURNS_LEAVE)
        yield "value low", replace(one, henry=one.henry * left, series_ohm=one.series_ohm * left)


def _leak_span_ohm(
    board: GoodBoard, ends: tuple[str, str], usual: tuple[float, float]
) -> tuple[float, float]:
    """Return the leaks to think of between two points, by the board's own resistance there."""
    if any(end in board.topology.pins_of("oscillator") for end in ends):
        return usual  # a timing pin is held at its mean: its network does not tell
    first, second = (board.index[end] for end in ends)
    return severities.leak_span_ohm(usual, float(np.median(board.impedance.across(first, second))))


def _detuned(board: GoodBoard, own: Mapping[int, Element]) -> dict[int, Element]:
    """Return a resonator whose motional arm is off, up or down."""
    found = {}
    for at, one in own.items():
        by = board.draws.log_uniform(f"{one.ref} off", *severities.OFF_FREQUENCY_BY)
        # Ceramic ones jump by per cents with age, where crystals move by parts in ten thousand.
        scale = 30.0 if one.kind == "ceramic resonator" else 1.0
        up = np.where(board.draws.happens(f"{one.ref} up", 0.5), 1.0, -1.0)
        found[at] = replace(one, henry=one.henry / (1 + up * scale * by) ** 2)
    return found


def _potentiometer_ways(
    board: GoodBoard, part: Part, own: Mapping[int, Element]
) -> Iterator[tuple[str, Fault]]:
    (first_at, first), (second_at, second) = own.items()
    track = first.series_ohm + second.series_ohm
    ends = (first.ends[0], second.ends[1])
    whole = element(part.ref, part.kind, ends, board.draws.count, series_ohm=track)
    both = {first_at: opened(first), second_at: opened(second)}
    yield "slider open", Fault(_UNNAMED, replaced=both, added=(whole,))
    yield f"open, at {ends[0]}", Fault(_UNNAMED, replaced={first_at: opened(first)})
    yield f"open, at {ends[1]}", Fault(_UNNAMED, replaced={second_at: opened(second)})
    up = board.draws.log_uniform(f"drift of {part.ref}", *severities.DRIFTED_UP_TO)
    worn = board.draws.happens(f"side of {part.ref}", 0.5)
    drifted = {
        first_at: replace(first, series_ohm=first.series_ohm * np.where(worn, up, 1)),
        second_at: replace(second, series_ohm=second.series_ohm * np.where(worn, 1, up)),
    }
    yield "value high", Fault(_UNNAMED, replaced=drifted)


def _device_ways(board: GoodBoard, part: Part, device: object) -> Iterator[tuple[str, Fault]]:
    draws, names = board.draws, (*board.topology.points, GROUND)
    short_ohm = draws.log_uniform(f"short of {part.ref}", *severities.SHORT_OHM)

    def path(first: int, second: int, ohm: Numbers) -> Element:
        ends = (names[first], names[second])
        return element(part.ref, "path", ends, draws.count, parallel_ohm=ohm)

    def leak(first: int, second: int) -> Element:
        ends = (names[first], names[second])
        span = _leak_span_ohm(board, ends, severities.DEVICE_LEAK_OHM)
        return path(first, second, draws.log_uniform(f"leak of {part.ref}", *span))

    off = (part.ref,)
    if isinstance(device, Diode):
        ends = (device.anode, device.cathode)
        yield "open", Fault(_UNNAMED, switched_off=off)
        yield "shorted", Fault(_UNNAMED, switched_off=off, added=(path(*ends, short_ohm),))
        yield "leaky", Fault(_UNNAMED, added=(leak(*ends),))
    elif isinstance(device, Transistor):
        yield "open", Fault(_UNNAMED, switched_off=off)
        across_base = path(device.base, device.emitter, short_ohm)
        along = path(device.collector, device.emitter, short_ohm)
        yield "shorted, base to emitter", Fault(_UNNAMED, switched_off=off, added=(across_base,))
        yield "shorted, collector to emitter", Fault(_UNNAMED, added=(along,))
        yield "leaky", Fault(_UNNAMED, added=(leak(device.collector, device.emitter),))


def _joints(board: GoodBoard) -> Iterator[Fault]:
    """Yield the open joint of every pin that something is joined to."""
    topology = board.topology
    joined = {end for part in topology.chip.application.parts for end in part.joins}
    for pin in topology.chip.pins:
        name = pin_name(pin)
        title = f"joint of pin {pin.number}"
        if pin.role == "ground":
            odds = Hypothesis("joint", str(pin.number), "open", title, GROUND_JOINT_ODDS)
            ohm = board.draws.log_uniform(f"joint of {name}", *severities.GROUND_JOINT_OHM)
            yield Fault(odds, ground_ohm={name: ohm})
        elif name in joined:
            hypothesis = Hypothesis("joint", str(pin.number), "open", title, JOINT_ODDS)
            yield Fault(hypothesis, lifted=name, added=_starved_pins(board, name))


def _starved_pins(board: GoodBoard, supply_pin: str) -> tuple[Element, ...]:
    """Return the loads on pins of a chip whose supply pin has come loose: they feed it.

    Each pin's protection leads to the supply inside the chip, which now hangs on it.
    """
    topology = board.topology
    if topology.pin_at[supply_pin].role != "supply":
        return ()
    protected = {device.ref for device in board.devices}
    return tuple(
        element(
            f"inside {name}",
            "path",
            (name, topology.ground_of[name]),
            board.draws.count,
            parallel_ohm=board.draws.log_uniform(f"starved {name}", *severities.STARVED_PIN_OHM),
        )
        for name, supply in topology.supply_of.items()
        if supply == supply_pin and f"head of {name}" in protected
    )


def _supplies(board: GoodBoard) -> Iterator[Fault]:
    """Yield faults of the rails; each is named by the first supply that it feeds."""
    draws, named = board.draws, set()
    for supply in board.topology.chip.supplies:
        for number in supply.pins:
            rail = feeding_rail(board, f"pin {number}")
            if rail is None or rail in named:
                continue
            named.add(rail)
            shares = {
                "missing": draws.uniform(f"{rail} missing", 0.0, 0.05),
                "low": draws.uniform(f"{rail} low", *severities.LOW_RAIL_AT),
                "noisy": draws.uniform(f"{rail} noisy", 0.96, 1.0),
            }
            for failure, odds in SUPPLY_ODDS.items():
                title = f"{supply.name} {failure}, at {rail}"
                hypothesis = Hypothesis("supply", supply.name, failure, title, odds)
                times = draws.log_uniform(f"{rail} hum", 15.0, 120.0)
                hum = {rail: times} if failure == "noisy" else {}
                yield Fault(hypothesis, source_share={rail: shares[failure]}, ripple_times=hum)


def feeding_rail(board: GoodBoard, supply_pin: str) -> str | None:
    """Return the source that feeds a supply pin: itself, or through parts that carry DC."""
    rails = {source.at for source in board.sources if source.kind == "rail"}
    seen, edge = {supply_pin}, [supply_pin]
    while edge:
        for name in edge:
            if name in rails:
                return name
        ahead = []
        for name in edge:
            for part in board.topology.parts_at.get(name, ()):
                if part.kind in ("resistor", "coil", "diode", "transistor", "connector"):
                    ahead += [end for end in part.joins if end != GROUND and end not in seen]
        seen.update(ahead)
        edge = [name for name in ahead if name in rails] or [
            name
            for name in ahead
            if not name.startswith("pin ") or name in board.topology.pins_of("supply")
        ]
    return None


def _outside(board: GoodBoard) -> Iterator[Fault]:
    """Yield the faults of signals and voltages from outside: gone, or low."""
    draws, topology = board.draws, board.topology
    senders, orders = sources_of(topology), orders_of(topology)
    for source in board.sources:
        if source.kind not in ("outside", "drive") or _is_switched(board, source.at):
            continue
        node = source.at
        carries = node in senders
        gone = draws.uniform(f"{node} gone", 0.0, 0.003)
        low = draws.log_uniform(f"{node} low", *severities.LOW_SIGNAL_AT)
        if carries:
            # When what sends a signal is dead, its standing voltage may stay or go too.
            stays = draws.happens(f"{node} stays", 0.6)
            level = np.where(stays, 1.0, draws.uniform(f"level of {node}", 0.0, 1.3))
            yield _outside_fault(node, "missing", {node: level}, {node: gone})
            yield _outside_fault(node, "low", {}, {node: low})
        else:
            far = draws.uniform(f"level of {node}", 0.0, 0.8)
            high = draws.uniform(f"height of {node}", 1.2, 2.0)
            wrong = np.where(draws.happens(f"{node} high", 0.3), high, far)
            if node in orders:
                top_v = max(abs(supply.voltage.nominal) for supply in topology.chip.supplies)
                added = {node: top_v * draws.uniform(f"order at {node}", 0.2, 1.0)}
                fault = _outside_fault(node, "wrong level", {}, {})
                yield replace(fault, source_added_v=added)
                continue
            yield _outside_fault(node, "missing", {node: gone}, {})
            yield _outside_fault(node, "wrong level", {node: wrong}, {})


def _outside_fault(
    node: str, failure: str, volts: dict[str, Numbers], signal: dict[str, Numbers]
) -> Fault:
    hypothesis = Hypothesis("outside", node, failure, f"{node} {failure}", OUTSIDE_ODDS[failure])
    return Fault(hypothesis, source_share=volts, signal_share=signal)


def _is_switched(board: GoodBoard, node: str) -> bool:
    """Return whether a drawn transistor switches the node: its mean is no source from outside."""
    parts = board.topology.parts_at.get(node, ())
    return any(part.kind == "transistor" for part in parts)


def _stages(board: GoodBoard) -> Iterator[Fault]:
    for block in board.topology.chip.blocks:
        for failure, odds in STAGE_ODDS.items():
            left = board.draws.uniform(f"{block.id} {failure}", *severities.WEAK_STAGE_AT)
            health = np.zeros_like(left) if failure == "dead" else left
            hypothesis = Hypothesis("stage", block.id, failure, f"{block.name} {failure}", odds)
            yield Fault(hypothesis, health={block.id: health})
