"""The netlist of a board: parts as drawn, pins as sources behind resistances, rails with limits.

A failed part is written as its remains. A pin is a source of its own behind a resistance,
limited by its supply, with the usual protection diodes to its ground and supply.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from .drawn_chip import DrawnChip, DrawnPart
from .faults import Failure, Fault

MODELS = (
    ".model junction d(is=1e-14 n=1 rs=0.5)",
    ".model protection d(is=1e-15 n=1.05 rs=20)",
    ".model npn npn(is=1e-14 bf=150 vaf=80 rb=30 cje=8p cjc=4p tf=0.4n)",
    ".model pnp pnp(is=1e-14 bf=120 vaf=60 rb=30 cje=8p cjc=4p tf=0.6n)",
)
OPEN_OHM, SHORT_OHM = 1e9, 0.2
_LIFTED_OHM = 1e8  # an open joint, flux and board
_GOOD_JOINT_OHM = 0.005
_ELECTROLYTIC_LEAK_S_PER_F = 1 / 30.0  # common practice: RC of about half a minute at the least
_CRYSTAL_ARM_F, _CRYSTAL_HOLDER_F, _CRYSTAL_ARM_OHM = 14e-15, 5.5e-12, 30.0
_RAIL_LIMIT_A = 1.5  # what a rail gives before its fuse or regulator lets go
_SUPPLY_OFF_OHM, _PIN_OFF_OHM, _RAIL_OFF_OHM = 1100.0, 12e3, 3e3  # with the set off
_OUTSIDE_OFF_OHM = 400.0
_FULL_DRIVE_SHARE = 0.85  # of its nominal supply a stage needs to give its nominal volts
_HEADROOM_V = 0.3  # between a stage's volts and the least supply that still gives them
_FLOAT_OHM = 5e9


@dataclass(frozen=True)
class Inside:
    """The electrical inside of a pin: a source behind ``ohms``.

    With ``source_a`` and ``sink_a`` it gives and takes no more than these currents. ``supply``
    limits its volts, and a protection diode goes there unless it is an open collector; it is
    proportional to the pin that it ``follows``; ``ground`` is the pin its stage returns to.
    """

    ohms: float
    supply: str | None = None
    follows: str | None = None
    ground: str = "ground"
    source_a: float | None = None
    sink_a: float | None = None
    open_collector: bool = False


@dataclass(frozen=True)
class Outside:
    """A source that drives a node from outside the drawn board: volts behind ohms."""

    volts: float
    ohms: float


@dataclass(frozen=True)
class Electrics:
    """Additions of the truth to a drawn chip. All of it is defined by the bench, for one chip."""

    chip: DrawnChip
    insides: Mapping[str, Inside]
    outsides: Mapping[str, Outside]
    supply_grounds: Mapping[str, str] = field(default_factory=dict)
    """The ground pin through which a supply pin's current returns."""
    transistors: Mapping[str, str] = field(default_factory=dict)
    """npn or pnp, for each part of kind transistor."""
    crystal_load_f: float = 20e-12
    coil_ohms: Mapping[str, float] = field(default_factory=dict)
    special_parts: Mapping[str, Callable[[DrawnPart, Failure | None], list[str]]] = field(
        default_factory=dict
    )
    """Lines for parts of kinds this module does not know: filters, delay lines, transformers."""
    off_ohms: Mapping[str, float] = field(default_factory=dict)
    """What a pin's inside, or what is behind an outside node, is with the set off, where known."""
    more_lines: Callable[[bool], list[str]] = lambda set_on: []
    """Further elements of the set, such as the tube; called with whether the set is on."""


def node_name(point: str) -> str:
    """Return the netlist's name of a point."""
    return "0" if point == "ground" else "n_" + re.sub(r"\W", "_", point).lower()


def inner_name(pin: str, fault: Fault) -> str:
    """Return the netlist's name of the chip's side of a pin's joint."""
    return node_name(pin) + ("_inner" if pin in fault.lifted else "")


def part_lines(electrics: Electrics, fault: Fault, spread: Mapping[str, float]) -> Iterator[str]:
    """Yield the elements of all parts, each off its value by its ``spread``, the failed ones so."""
    for ref, part in electrics.chip.parts.items():
        failure = fault.failure(ref)
        if ref in electrics.special_parts:
            yield from electrics.special_parts[ref](part, failure)
            continue
        value = (part.value or 0.0) * (1 + spread.get(ref, 0.0))
        if failure and failure.mode == "value":
            value = failure.figure
        mode = failure.mode if failure else "good"
        ends = [node_name(end) for end in part.joins]
        yield from _lines_of(electrics, part, ends, value, mode, failure)


def _lines_of(
    electrics: Electrics,
    part: DrawnPart,
    ends: list[str],
    value: float,
    mode: str,
    failure: Failure | None,
) -> list[str]:
    ref, figure = part.ref, failure.figure if failure else 0.0
    if part.kind == "resistor":
        ohms = OPEN_OHM if mode == "open" else SHORT_OHM if mode == "shorted" else value
        return [f"R{ref} {ends[0]} {ends[1]} {ohms:g}"]
    if part.kind == "potentiometer":
        return _potentiometer(ref, ends, value, mode)
    if "capacitor" in part.kind:
        leak_ohm = 1e12
        if part.kind.startswith("electrolytic"):
            leak_ohm = 1 / (_ELECTROLYTIC_LEAK_S_PER_F * value)
        if mode in ("shorted", "leaky"):
            leak_ohm = SHORT_OHM if mode == "shorted" else figure
        farad = 1e-16 if mode == "open" else value
        return [
            f"C{ref} {ends[0]} {ends[1]} {farad:g}",
            f"RL{ref} {ends[0]} {ends[1]} {leak_ohm:g}",
        ]
    if part.kind == "coil":
        if mode == "shorted":
            return [f"R{ref} {ends[0]} {ends[1]} {SHORT_OHM:g}"]
        ohms = electrics.coil_ohms.get(ref, 2.0)
        ohms = OPEN_OHM if mode == "open" else ohms
        return [
            f"L{ref} {ends[0]} {ends[0]}_{ref} {value:g}",
            f"RL{ref} {ends[0]}_{ref} {ends[1]} {ohms:g}",
        ]
    if part.kind == "crystal":
        return _crystal(ref, ends, value * (1 + figure if mode == "off" else 1), mode, electrics)
    if part.kind in ("diode", "zener diode"):
        return _diode(ref, ends, value, mode, zener=part.kind == "zener diode")
    if part.kind == "transistor":
        return _transistor(ref, ends, mode, figure, electrics.transistors[ref])
    raise KeyError(f"{ref}: no netlist for a {part.kind}; give it under special_parts")


def _potentiometer(ref: str, ends: list[str], ohms: float, mode: str) -> list[str]:
    """Two leads: a preset wired as a resistor, set to half; three: slider in the middle."""
    if len(ends) == 2:
        return [f"R{ref} {ends[0]} {ends[1]} {OPEN_OHM if mode == 'open' else ohms / 2:g}"]
    slider = f"{ends[1]}_slider" if mode == "slider open" else ends[1]
    upper_ohm = OPEN_OHM if mode == "open" else ohms / 2
    lower_ohm = OPEN_OHM if mode == "bottom open" else ohms / 2
    lines = [
        f"R{ref}A {ends[0]} {slider} {upper_ohm:g}",
        f"R{ref}B {slider} {ends[2]} {lower_ohm:g}",
    ]
    return lines if slider == ends[1] else [*lines, f"R{ref}S {slider} {ends[1]} {OPEN_OHM:g}"]


def _crystal(ref: str, ends: list[str], hertz: float, mode: str, electrics: Electrics) -> list[str]:
    """Butterworth-Van Dyke; the marked frequency is that with the load capacitance."""
    holder = f"C{ref}H {ends[0]} {ends[1]} {_CRYSTAL_HOLDER_F:g}"
    if mode == "open":
        return [holder]
    series_hz = hertz / math.sqrt(
        1 + _CRYSTAL_ARM_F / (_CRYSTAL_HOLDER_F + electrics.crystal_load_f)
    )
    henry = 1 / ((2 * math.pi * series_hz) ** 2 * _CRYSTAL_ARM_F)
    return [
        holder,
        f"L{ref} {ends[0]} {ends[0]}_{ref} {henry:.9g}",
        f"C{ref} {ends[0]}_{ref} {ends[0]}_{ref}_arm {_CRYSTAL_ARM_F:.9g}",
        f"R{ref} {ends[0]}_{ref}_arm {ends[1]} {_CRYSTAL_ARM_OHM:g}",
    ]


def _diode(ref: str, ends: list[str], volts: float, mode: str, *, zener: bool) -> list[str]:
    """Joins anode, cathode. A zener breaks down at its volts with some ohms."""
    if mode == "open":
        return []
    if mode == "shorted":
        return [f"R{ref} {ends[0]} {ends[1]} {SHORT_OHM}"]
    if not zener:
        return [f"D{ref} {ends[0]} {ends[1]} junction"]
    return [
        f"D{ref} {ends[0]} {ends[1]} z_{ref}",
        f".model z_{ref} d(is=1e-14 n=1 rs=0.5 bv={volts:g} ibv=5m)",
    ]


def _transistor(ref: str, ends: list[str], mode: str, figure: float, sort: str) -> list[str]:
    """Joins base, collector, emitter."""
    base, collector, emitter = ends

    def junction(far_end: str) -> str:
        """The junction from the base, that is left when the rest of the transistor is gone."""
        anode, cathode = (base, far_end) if sort == "npn" else (far_end, base)
        return f"D{ref} {anode} {cathode} junction"

    good = f"Q{ref} {collector} {base} {emitter} {sort}"
    if mode == "open":
        return []
    if mode == "base-emitter open":
        return [junction(collector)]
    if mode == "base-emitter shorted":
        return [f"R{ref} {base} {emitter} 0.3", junction(collector)]
    if mode in ("collector-emitter shorted", "shorted"):
        return [f"R{ref} {collector} {emitter} 0.5", junction(emitter)]
    return [good, f"R{ref} {collector} {emitter} {figure:g}"] if mode == "leaky" else [good]


@dataclass(frozen=True)
class Drive:
    """Effects of the stages at the pins: open-circuit volts, volts set by a rule, resistances."""

    open_circuit_v: Mapping[str, float]
    supply_a: Mapping[str, float]
    held_v: Mapping[str, float] = field(default_factory=dict)
    inner_ohm: Mapping[str, float] = field(default_factory=dict)


def pin_lines(electrics: Electrics, fault: Fault, drive: Drive) -> Iterator[str]:
    """Yield the elements of all pins with the set on."""
    for pin, role in electrics.chip.roles.items():
        outer, inner, label = node_name(pin), inner_name(pin, fault), pin[4:]
        if role == "ground":
            joint_ohm = fault.ground_ohms.get(pin, _GOOD_JOINT_OHM)
            yield f"RG{label} {outer} 0 {1e6 if pin in fault.lifted else joint_ohm:g}"
            continue
        if inner != outer:
            yield f"RLIFT{label} {outer} {inner} {_LIFTED_OHM:g}"
        if role == "supply":
            ground = node_name(electrics.supply_grounds.get(pin, "ground"))
            nominal_v = electrics.chip.nominal_v[pin]
            share = f"max(v({inner})-{_volts(ground)},0)/{nominal_v:g}"
            yield f"BI{label} {inner} {ground} I={drive.supply_a[pin]:g}*{share}"
        elif pin in electrics.insides:
            yield from _driven_pin(electrics, fault, drive, pin, inner)


def _driven_pin(
    electrics: Electrics, fault: Fault, drive: Drive, pin: str, inner: str
) -> Iterator[str]:
    inside, label = electrics.insides[pin], pin[4:]
    ground = node_name(inside.ground)
    volts = _driven_volts(electrics, fault, drive, pin, _volts(ground))
    yield f"BS{label} s{label} 0 V={volts}+{_volts(ground)}"
    yield f"VAC{label} t{label} s{label} dc 0 ac 0"
    ohms = drive.inner_ohm.get(pin, inside.ohms)
    if inside.source_a and inside.sink_a and pin not in drive.inner_ohm:
        drop = f"v(t{label})-v({inner})"
        up, down = (f"{a:g}*tanh(({drop})/{ohms * a:g})" for a in (inside.source_a, inside.sink_a))
        yield f"BO{label} 0 {inner} I=({drop})>0 ? {up} : {down}"
    else:
        yield f"RI{label} t{label} {inner} {ohms:g}"
    yield f"DG{label} {ground} {inner} protection"
    if inside.supply and not inside.open_collector:
        yield f"DS{label} {inner} {inner_name(inside.supply, fault)} protection"


def _driven_volts(electrics: Electrics, fault: Fault, drive: Drive, pin: str, ground_v: str) -> str:
    """Return the expression of a pin's own volts, against its ground."""
    inside, nominal_v = electrics.insides[pin], electrics.chip.nominal_v
    held_v = drive.held_v.get(pin)
    volts = f"{drive.open_circuit_v.get(pin, 0.0) if held_v is None else held_v:.7g}"
    if inside.supply:
        supply_v = f"max(v({inner_name(inside.supply, fault)})-{ground_v},0)"
        # A rule's volts are true volts: the supply matters only once it is hardly above them.
        enough_v = (
            _FULL_DRIVE_SHARE * nominal_v[inside.supply] if held_v is None else held_v + _HEADROOM_V
        )
        volts += f"*min(1,{supply_v}/{max(enough_v, 0.1):g})"
    if inside.follows and held_v is None:
        share = f"max(v({inner_name(inside.follows, fault)})-{ground_v},0)"
        volts += f"*min(1.1,{share}/{nominal_v[inside.follows]:g})"
    return volts


def held_lines(electrics: Electrics) -> Iterator[str]:
    """Yield sources that hold every stated pin at its volts, to find the drive of its inside."""
    for pin, role in electrics.chip.roles.items():
        if role == "ground":
            yield f"RG{pin[4:]} {node_name(pin)} 0 {_GOOD_JOINT_OHM:g}"
        elif pin in electrics.chip.nominal_v:
            yield f"VH{pin[4:]} {node_name(pin)} 0 {electrics.chip.nominal_v[pin]:g}"


def outside_lines(electrics: Electrics, fault: Fault) -> Iterator[str]:
    """Yield rails and outside signals with the set on; a rail limits its current."""
    for node, outside in electrics.outsides.items():
        name = node_name(node)
        volts = fault.outside_v.get(node, outside.volts)
        yield f"VO_{name} o_{name} 0 dc {volts:g} ac 0"
        if node.startswith("rail"):
            drop = f"(v(o_{name})-v({name}))/{_RAIL_LIMIT_A * outside.ohms:g}"
            yield f"BO_{name} 0 {name} I={_RAIL_LIMIT_A}*tanh({drop})"
        else:
            yield f"RO_{name} o_{name} {name} {outside.ohms:g}"


def lines_with_the_set_off(electrics: Electrics, fault: Fault) -> Iterator[str]:
    """Yield resistances in place of pins, rails and outside signals."""
    for pin, role in electrics.chip.roles.items():
        inner, label = inner_name(pin, fault), pin[4:]
        if inner != node_name(pin):
            yield f"RLIFT{label} {node_name(pin)} {inner} {_LIFTED_OHM:g}"
        if role == "ground":
            joint_ohm = fault.ground_ohms.get(pin, _GOOD_JOINT_OHM)
            yield f"RG{label} {inner} 0 {joint_ohm:g}"
        elif role == "supply" or pin in electrics.insides:
            ohms = electrics.off_ohms.get(pin) or _ordinary_off_ohm(electrics, pin)
            yield f"RI{label} {inner} 0 {ohms:g}"
    for node, outside in electrics.outsides.items():
        rail = node.startswith("rail")
        ordinary_ohm = _RAIL_OFF_OHM if rail else max(outside.ohms, _OUTSIDE_OFF_OHM)
        ohms = electrics.off_ohms.get(node, ordinary_ohm)
        yield f"RO_{node_name(node)} {node_name(node)} 0 {ohms:g}"


def _ordinary_off_ohm(electrics: Electrics, pin: str) -> float:
    if electrics.chip.roles[pin] == "supply":
        return _SUPPLY_OFF_OHM
    return max(electrics.insides[pin].ohms, _PIN_OFF_OHM)


def floating_lines(electrics: Electrics) -> Iterator[str]:
    """Yield the board's own leakage at every point, so that none is without a way to ground."""
    for point in electrics.chip.points:
        yield f"RF_{node_name(point)} {node_name(point)} 0 {_FLOAT_OHM:g}"


def _volts(node: str) -> str:
    return "0" if node == "0" else f"v({node})"
