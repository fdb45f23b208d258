"""Parts that are not linear, in pieces that are: diodes, zeners, transistors, clamps of pins.

A device is in one of few states on each board; in a state it adds linear terms to the network,
and the solved voltages say which state it should be in (active-set method).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final, Protocol

import numpy as np
from numpy.typing import NDArray

from ....schema import Part, Pin
from .topology import Topology, name_point

Array = NDArray[Any]
Figure = float | Array
Term = tuple[tuple[int, int], Figure, Figure, tuple[int, int] | None]
"""Between which nodes a current flows, siemens, amperes besides, and which nodes steer it."""

OFF: Final = 0
ON: Final = 1
SATURATED: Final = 2
BREAKDOWN: Final = 2

DIODE_DROP_V: Final = 0.6
_DIODE_OHM: Final = 8.0
_BELOW_GROUND_V: Final = 0.05  # that a stated voltage may read below ground with its diode
_ABOVE_SUPPLY_V: Final = 0.3
_ZENER_OHM: Final = 15.0
_CLAMP_DROP_V: Final = 0.65
_CLAMP_OHM: Final = 40.0
BASE_DROP_V: Final = 0.62
GAIN: Final = 120.0
_EMITTER_OHM: Final = 10.0  # kT/q over some milliamperes
_SATURATED_BASE_OHM: Final = 60.0
_SATURATED_OHM: Final = 6.0
_SATURATED_V: Final = 0.1
_NAMES: Final = ("base", "collector", "emitter")
_LEADS: Final = re.compile(
    r"(base|collector|emitter)[ ,:]+(base|collector|emitter)[ ,:]+(?:and )?(base|collector|emitter)"
)
_HYSTERESIS_V: Final = 1e-4


class Device(Protocol):
    """Something that changes its state with the voltages around it."""

    @property
    def ref(self) -> str:
        """Reference of the part, or the name of a device inside the chip."""

    def list_terms(self, state: int) -> Iterator[Term]:
        """Yield the terms that the device adds to the network in a state."""

    def next_state(self, state: Array, volts: Array) -> Array:
        """Return the state that the voltages (boards, nodes + 1) ask for."""


@dataclass(frozen=True)
class Diode:
    """A diode, anode first; ``zener_v`` where it breaks down, infinite for one that does not."""

    ref: str
    anode: int
    cathode: int
    drop_v: float = DIODE_DROP_V
    ohm: Figure = _DIODE_OHM
    zener_v: float = np.inf

    def list_terms(self, state: int) -> Iterator[Term]:
        """Yield its terms: none when off, else a drop behind its resistance."""
        if state == ON:
            yield (self.anode, self.cathode), 1 / self.ohm, -self.drop_v / self.ohm, None
        elif state == BREAKDOWN:
            yield (self.anode, self.cathode), 1 / _ZENER_OHM, self.zener_v / _ZENER_OHM, None

    def next_state(self, state: Array, volts: Array) -> Array:
        """Return on where the anode is a drop above the cathode."""
        across = volts[:, self.anode] - volts[:, self.cathode]
        broken = across < -self.zener_v - _HYSTERESIS_V
        return np.where(across > self.drop_v + _HYSTERESIS_V, ON, np.where(broken, BREAKDOWN, OFF))


@dataclass(frozen=True)
class Transistor:
    """A bipolar transistor; ``sign`` is 1 for NPN and -1 for PNP."""

    ref: str
    base: int
    collector: int
    emitter: int
    sign: int = 1

    def make_junction(self) -> Diode:
        """Return its base alone: all that a transistor is to the mean of pulses that switch it."""
        ends = (self.base, self.emitter) if self.sign > 0 else (self.emitter, self.base)
        return Diode(self.ref, *ends, drop_v=BASE_DROP_V)

    def list_terms(self, state: int) -> Iterator[Term]:
        """Yield base current and, steered by it, collector current."""
        across, along = (self.base, self.emitter), (self.collector, self.emitter)
        drop = self.sign * BASE_DROP_V
        if state == ON:
            siemens = 1 / (GAIN * _EMITTER_OHM)
            yield across, siemens, -drop * siemens, None
            yield along, GAIN * siemens, -drop * GAIN * siemens, across
        elif state == SATURATED:
            yield across, 1 / _SATURATED_BASE_OHM, -drop / _SATURATED_BASE_OHM, None
            yield along, 1 / _SATURATED_OHM, -self.sign * _SATURATED_V / _SATURATED_OHM, None

    def next_state(self, state: Array, volts: Array) -> Array:
        """Return off, active or saturated."""
        base = self.sign * (volts[:, self.base] - volts[:, self.emitter])
        collector = self.sign * (volts[:, self.collector] - volts[:, self.emitter])
        base_current = (base - BASE_DROP_V) / _SATURATED_BASE_OHM
        collector_current = (collector - _SATURATED_V) / _SATURATED_OHM
        conducts = base > BASE_DROP_V + _HYSTERESIS_V
        # A saturated one comes out of it when its base current no longer suffices.
        stays = (state == SATURATED) & (collector_current < GAIN * base_current)
        enters = (state != SATURATED) & (collector < _SATURATED_V)
        return np.where(~conducts, OFF, np.where(stays | enters, SATURATED, ON))


def make_clamp(ref: str, low: int, high: int) -> Diode:
    """Return the protection diode inside a pin, conducting from ``low`` to ``high``."""
    return Diode(ref, low, high, drop_v=_CLAMP_DROP_V, ohm=_CLAMP_OHM)


def list_devices(part: Part, index: dict[str, int]) -> Iterator[Diode | Transistor]:
    """Yield a part as devices: none unless it is a diode or a transistor with three leads."""
    joins = [index[end] for end in part.joins]
    if part.kind == "diode":
        yield Diode(part.ref, joins[0], joins[1])
    elif part.kind == "zener diode":
        zener_v = part.quantity.nominal if part.quantity is not None else np.inf
        yield Diode(part.ref, joins[0], joins[1], zener_v=zener_v)
    elif part.kind == "transistor" and len(joins) == 3:
        base, collector, emitter = (joins[at] for at in order_leads(part))
        sign = -1 if "pnp" in (part.purpose or "").casefold() else 1
        yield Transistor(part.ref, base, collector, emitter, sign)


def order_leads(part: Part) -> tuple[int, int, int]:
    """Return where base, collector and emitter are among the leads; in this order unless told."""
    match = _LEADS.search((part.purpose or "").casefold())
    if match is None or len(set(match.groups())) < len(_NAMES):
        return (0, 1, 2)
    base, collector, emitter = (match.groups().index(name) for name in _NAMES)
    return (base, collector, emitter)


def list_board_devices(topology: Topology) -> tuple[Device, ...]:
    """Return the drawn diodes and transistors, then the protection diodes of the pins."""
    devices: list[Device] = []
    for part in topology.chip.application.parts:
        for device in list_devices(part, topology.index):
            if isinstance(device, Transistor) and is_switched_at(topology, part.joins[0]):
                # Of a transistor that pulses switch, only the base junction loads the board at DC.
                devices.append(device.make_junction())
            else:
                devices.append(device)
    for pin in topology.chip.pins:
        if pin.role not in ("supply", "ground", "unused"):
            devices += _list_clamps(topology, pin)
    return tuple(devices)


def _list_clamps(topology: Topology, pin: Pin) -> list[Device]:
    """Return a pin's protection diodes, to ground and to supply, that its stated volts allow.

    A pin stated beyond a rail, or that swings there, has no diode to that rail.
    """
    index, name = topology.index, name_point(pin)
    stated_v = topology.stated_dc_v.get(name, 0.0)
    clamps: list[Device] = []
    if stated_v >= -_BELOW_GROUND_V and not _swings_beyond(topology, name):
        ground = topology.ground_of[name]
        clamps.append(make_clamp(f"foot of {name}", index[ground], index[name]))
    # An open collector is made to be pulled above the supply: it has no diode there.
    supply = topology.supply_of[name]
    goes_beyond = any(e.beyond_supply for e in pin.expectations) or name in topology.fed_outside
    is_below = stated_v <= topology.find_nominal_v(supply) + _ABOVE_SUPPLY_V
    if is_below and not goes_beyond and not topology.is_open_collector(name):
        clamps.append(make_clamp(f"head of {name}", index[name], index[supply]))
    return clamps


def _swings_beyond(topology: Topology, name: str) -> bool:
    expectation = topology.expectations.get(name)
    return expectation is not None and expectation.beyond_supply is not None


def is_switched_at(topology: Topology, name: str) -> bool:
    """Return whether pulses switch a transistor there: their mean follows from no network."""
    parts = topology.parts_at.get(name, ())
    bases = [p for p in parts if p.kind == "transistor" and p.joins[0] == name]
    return bool(bases) and topology.is_pulsed(name)
