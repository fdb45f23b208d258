"""Resonators in the drawn circuit: how far they are pulled, and how well they are still driven.

A crystal's motional arm L1, C1, R1 sees the rest of the circuit, its own holder C0 included, as an
impedance Z between its leads. It swings where the reactances cancel, so

    df / f = -(1/2) omega C1 Im Z,    with Im Z = -1 / (omega (C0 + CL)) for a load CL,

which is the usual C1 / (2 (C0 + CL)). Sources: IEC 60122-1; Vittoz, Degrauwe and Bitz,
High-performance crystal oscillator circuits, IEEE Journal of Solid-State Circuits 23 (1988).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from ....schema import Part
from .elements import CAPACITIVE
from .network import solve

if TYPE_CHECKING:
    from .paths import Paths

Array = NDArray[Any]

_STRAY_F: Final = (4e-12, 12e-12)  # of a pin, its coil and the board
_MOST_COUPLING: Final = 2.0
_DAMPS_OHM: Final = 300.0  # across a tuned circuit: nothing is left of it


@dataclass(frozen=True, eq=False)
class Drive:
    """A resonator on all boards, beside the good one of each draw."""

    pull: Array
    """How far its frequency is off, as a share."""
    strength: Array
    """Loop gain beside the good board's."""
    heard: Array
    """How much of its swing arrives at the pin, beside the good board's."""
    at_ends: Array
    """The same at its two leads, shape (boards, 2)."""


def find_drive(paths: Paths, ref: str, pins: list[str], nominal_hz: float) -> Drive:
    """Return how a resonator fares in the oscillator at some pins."""
    boards, index = paths.boards, paths.topology.index
    elements = boards.good.elements
    number = next(at for at, e in enumerate(elements) if e.ref == ref)
    crystal = elements[number]
    ends = (index[crystal.ends[0]], index[crystal.ends[1]])
    impedance = paths.solve_impedance_without_arm(nominal_hz, ref)
    changes = paths.list_changes_without(nominal_hz, ref)
    draw = boards.draw_of
    plain = impedance.from_node[draw, ends[0]] - impedance.from_node[draw, ends[1]]
    columns = np.array([*ends, *(index[pin] for pin in pins)])
    volts = solve(impedance, draw, plain, changes, columns)
    across = volts[:, 0] - volts[:, 1]
    good = across[: boards.draws][draw]
    omega = 2 * np.pi * nominal_hz
    pull = -0.5 * omega * crystal.farad[draw] * (across.imag - good.imag)
    at_ends = np.abs(volts[:, :2])
    at_ends = at_ends / np.maximum(at_ends[: boards.draws][draw], 1e-12)
    at_pins = np.abs(volts[:, 2:])
    good_pins = np.maximum(at_pins[: boards.draws][draw], 1e-12)
    heard = np.prod(at_pins / good_pins, axis=1)
    strength = np.minimum(heard if len(pins) > 1 else heard**2, _MOST_COUPLING)
    loss = crystal.series_ohm[draw] + np.maximum(across.real, 0)
    good_loss = crystal.series_ohm[draw] + np.maximum(good.real, 0)
    strength = strength * good_loss / np.maximum(loss, 1.0)
    for at, fault in enumerate(boards.faults):
        if number in fault.replaced:
            rows, new = boards.list_rows(at), fault.replaced[number]
            if np.isinf(new.series_ohm).any():
                strength[rows] = 0.0
            else:
                pull[rows] += np.sqrt(crystal.henry / new.henry) - 1
        loose = fault.lifted in pins
        if loose:
            strength[boards.list_rows(at)] = 0.0
    return Drive(pull, strength, heard, np.clip(at_ends, 0, 4))


def solve_tuned_circuit(paths: Paths, pin: str, coil: Part) -> tuple[Array, Array]:
    """Return the share that is left of a tuned circuit at a pin, and its frequency's share.

    The frequency goes with 1 / sqrt(L C) of the parts across the coil; a part that is open,
    shorted or leaky leaves none, or a damped one.
    """
    boards = paths.boards
    across = [
        at
        for at, e in enumerate(boards.good.elements)
        if set(e.ends) == set(coil.joins[:2]) and e.kind in ("coil", *CAPACITIVE)
    ]
    left, ratio = np.ones(boards.count), np.ones(boards.count)
    good_farad = sum(
        boards.good.elements[at].farad
        for at in across
        if boards.good.elements[at].kind in CAPACITIVE
    )
    for number, fault in enumerate(boards.faults):
        rows = boards.list_rows(number)
        if fault.lifted == pin:
            left[rows] = 0.05
        for at in across:
            if at not in fault.replaced:
                continue
            old, new = boards.good.elements[at], fault.replaced[at]
            if old.kind == "coil":
                gone = np.isinf(new.series_ohm) | (new.parallel_ohm < _DAMPS_OHM)
                ratio[rows] = np.sqrt(old.henry / np.maximum(new.henry, 1e-12))
            else:
                gone = new.parallel_ohm < _DAMPS_OHM
                missing = np.isinf(new.series_ohm) & np.isinf(new.parallel_ohm)
                farad = np.where(missing, 0.0, new.farad)
                stray = boards.good.draws.draw_log_uniform(f"strays at {pin}", *_STRAY_F)
                whole = np.maximum(good_farad - old.farad + farad, 0.0)
                ratio[rows] = np.sqrt((good_farad + stray) / (whole + stray))
            left[rows] = np.where(gone, 0.03, left[rows])
    return left, ratio
