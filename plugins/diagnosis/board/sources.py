"""Sources of a board: inside pins, rails, and signals from outside.

A source is a voltage behind a resistance. On each draw it is calibrated so that the good board
shows the catalogue's voltages exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from ....schema import Pin
from .senders import find_resonator
from .severities import Draws, Numbers
from .topology import GROUND, Topology

SourceKind = Literal["pin", "rail", "outside", "drive"]

# Internal resistance of a pin where the chip file gives none, by role. Common practice.
_USUAL_OHM: Final = {
    "output": 250.0,
    "input": 20e3,
    "control": 80e3,
    "oscillator": 5e3,
    "filter": 60e3,
    "decoupling": 5e3,
    "reference": 300.0,
    "bus": 50e3,
    "unused": 10e6,
}
_SPREAD_STATED: Final = 0.15
_SPREAD_GUESSED: Final = 0.6
_OUTSIDE_OHM: Final = {"rail": (0.15, 1.0), "outside": (60.0, 400.0), "drive": (200.0, 4e3)}
_BESIDE_OWN: Final = (0.3, 20.0)  # of a node's own resistance, what else may hold it
_OFF_OHM: Final = 2e6  # an open collector that is off
_ON_V: Final = 0.08  # across a transistor that pulls down
_NEARLY_OFF: Final = 0.9
_BEYOND_V: Final = 0.3  # how far beyond its supplies the source inside a pin may lie
_RUNNING_OHM: Final = 150.0
_LEAST_ROOM_V: Final = 0.02  # between a source's volts and its pin's, to tell a resistance by
LEAST_SOURCE_OHM: Final = 0.05


@dataclass(frozen=True, eq=False)
class Source:
    """A voltage behind a resistance; ``siemens`` and ``emf_v`` have the shape (draws,)."""

    at: str
    kind: SourceKind
    returns_to: str
    siemens: Numbers
    """To direct current."""
    signal_siemens: Numbers
    """To signals: an oscillator holds its mean, not its swing."""
    emf_v: Numbers
    low_v: float
    """The least that the voltage inside can be; for a pin that can pull both ways."""
    high_v: float


def find_pin_ohm(topology: Topology, pin: Pin, draws: Draws) -> Numbers:
    """Return the resistance inside a pin: as stated, else usual for its role."""
    stated = pin.resistance is not None and pin.resistance.nominal > 0
    ohm = pin.resistance.nominal if stated and pin.resistance else _USUAL_OHM.get(pin.role, 1e5)
    spread = _SPREAD_STATED if stated else _SPREAD_GUESSED
    return np.maximum(ohm * draws.spread(f"inside pin {pin.number}", spread), LEAST_SOURCE_OHM)


def find_outside_ohm(
    at: str, kind: SourceKind, draws: Draws, own_ohm: Numbers | None = None
) -> Numbers:
    """Return the resistance of a source outside the drawing.

    A source that holds a node against its drawn parts may be stiff, or no more than a load on
    them (``own_ohm``: their resistance at the node).
    """
    if kind == "drive" and own_ohm is not None:
        return np.maximum(own_ohm * draws.draw_log_uniform(f"behind {at}", *_BESIDE_OWN), 50.0)
    return draws.draw_log_uniform(f"behind {at}", *_OUTSIDE_OHM[kind])


def make_pin_source(
    topology: Topology, name: str, volts: Numbers, amperes: Numbers, draws: Draws, open_v: Numbers
) -> Source:
    """Return the source inside a pin that sends ``amperes`` into the board at ``volts``.

    ``open_v``: the volts of the board without the pin. A source that would lie beyond the pin's
    supplies is moved in, behind less resistance.
    """
    pin, ground = topology.pin_at[name], topology.ground_of[name]
    ohm = find_pin_ohm(topology, pin, draws)
    mean_v = float(volts.mean())
    if topology.is_open_collector(name):
        # It only pulls down. What pulses is taken at its mean: a resistance to ground.
        is_off = float(open_v.mean()) * _NEARLY_OFF < mean_v
        siemens = np.full_like(ohm, 1 / _OFF_OHM)
        if not is_off:
            pulled_v = np.maximum(volts - _ON_V, _LEAST_ROOM_V)
            siemens = np.maximum(-amperes / pulled_v, 1 / _OFF_OHM)
        emf_v = volts + amperes / siemens
        return Source(name, "pin", ground, siemens, siemens, emf_v, -np.inf, np.inf)
    if pin.role == "oscillator" and find_resonator(topology, name) is None:
        # While it runs on resistor and capacitor its mean lies between its thresholds.
        siemens = np.full_like(ohm, 1 / _RUNNING_OHM)
        emf_v = volts + amperes / siemens
        return Source(name, "pin", ground, siemens, 1 / ohm, emf_v, -np.inf, np.inf)
    supply_v = topology.find_nominal_v(topology.supply_of[name])
    low_v = min(0.0, supply_v, mean_v) - _BEYOND_V
    high_v = max(0.0, supply_v, mean_v) + _BEYOND_V
    emf_v = volts + amperes * ohm
    bounded_v = np.clip(emf_v, low_v, high_v)
    room_v = bounded_v - volts
    with np.errstate(divide="ignore", invalid="ignore"):
        stiffer = np.where(np.abs(room_v) > _LEAST_ROOM_V, amperes / room_v, 0.0)
    siemens = np.where(bounded_v == emf_v, 1 / ohm, np.maximum(stiffer, 1 / ohm))
    emf_v = volts + amperes / siemens
    return Source(name, "pin", ground, siemens, siemens, emf_v, low_v, high_v)


def make_outside_source(
    at: str,
    kind: SourceKind,
    volts: Numbers,
    amperes: Numbers,
    draws: Draws,
    own_ohm: Numbers | None = None,
    most_v: float | None = None,
) -> Source:
    """Return the source that feeds a node from outside, sending ``amperes`` at ``volts``.

    ``most_v``: how far from there the voltage inside may lie.
    """
    ohm = find_outside_ohm(at, kind, draws, own_ohm)
    if most_v is not None:
        # The voltage behind it is within the span of the board's own voltages.
        with np.errstate(divide="ignore"):
            most_ohm = np.maximum(most_v / np.abs(amperes), LEAST_SOURCE_OHM)
        ohm = np.minimum(ohm, most_ohm)
    emf_v = volts + amperes * ohm
    return Source(at, kind, GROUND, 1 / ohm, 1 / ohm, emf_v, -np.inf, np.inf)
