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
    from .operating_point import Boards
    from .paths import Paths

Array = NDArray[Any]

_STRAY_F: Final = (4e-12, 12e-12)  # of a pin, its coil and the board
_MOST_COUPLING: Final = 2.0
_DAMPS_OHM: Final = 300.0  # across a tuned circuit: nothing is left of it
_LEFT_WHEN_GONE: Final = 0.03  # of a tuned circuit that is damped or open
_LEFT_WHEN_LIFTED: Final = 0.05  # at a pin whose joint is open
_LEAST_OHM: Final = 1e-12


@dataclass(frozen=True, eq=False)
class Drive:
    """A resonator on all boards, relative to the good one of each draw."""

    pull: Array
    """How far its frequency is off, as a share."""
    strength: Array
    """Loop gain relative to the good board's."""
    heard: Array
    """How much of its swing arrives at the pin, relative to the good board's."""
    at_ends: Array
    """The same at its two leads, shape (boards, 2)."""


def find_drive(paths: Paths, ref: str, pins: list[str], nominal_hz: float) -> Drive:
    """Return how far a resonator at some pins is pulled, and how well it is still driven."""
    boards, index = paths.boards, paths.topology.index
    elements = boards.good.elements
    number = next(n for n, element in enumerate(elements) if element.ref == ref)
    resonator = elements[number]
    ends = (index[resonator.ends[0]], index[resonator.ends[1]])
    impedance = paths.solve_impedance_without_arm(nominal_hz, ref)
    changes = paths.list_changes_without(nominal_hz, ref)
    draw = boards.draw_of
    # Volts for an ampere of the motional arm: the impedance that it sees.
    plain = impedance.from_node[draw, ends[0]] - impedance.from_node[draw, ends[1]]
    columns = np.array([*ends, *(index[pin] for pin in pins)])
    volts = solve(impedance, draw, plain, changes, columns)  # boards x (two ends, then pins)
    across_ohm = volts[:, 0] - volts[:, 1]
    good_across_ohm = across_ohm[: boards.draws][draw]
    reactance_change = across_ohm.imag - good_across_ohm.imag
    omega = 2 * np.pi * nominal_hz
    pull = -0.5 * omega * resonator.farad[draw] * reactance_change
    end_shares = _compare_with_good(np.abs(volts[:, :2]), boards)
    heard = np.prod(_compare_with_good(np.abs(volts[:, 2:]), boards), axis=1)
    # At one pin the stage both drives and listens: a loss counts twice round the loop.
    coupling = np.minimum(heard if len(pins) > 1 else heard**2, _MOST_COUPLING)
    loss_ohm = resonator.series_ohm[draw] + np.maximum(across_ohm.real, 0)
    good_loss_ohm = resonator.series_ohm[draw] + np.maximum(good_across_ohm.real, 0)
    strength = coupling * good_loss_ohm / np.maximum(loss_ohm, 1.0)
    for fault_number, fault in enumerate(boards.faults):
        rows = boards.list_rows(fault_number)
        if number in fault.replaced:
            failed = fault.replaced[number]
            if np.isinf(failed.series_ohm).any():
                strength[rows] = 0.0
            else:
                pull[rows] += np.sqrt(resonator.henry / failed.henry) - 1
        if fault.lifted in pins:
            strength[rows] = 0.0
    return Drive(pull, strength, heard, np.clip(end_shares, 0, 4))


def _compare_with_good(volts: Array, boards: Boards) -> Array:
    """Return volts (boards, points) relative to the good board of the same draw."""
    good_volts = np.maximum(volts[: boards.draws][boards.draw_of], _LEAST_OHM)
    return np.asarray(volts / good_volts)


def solve_tuned_circuit(paths: Paths, pin: str, coil: Part) -> tuple[Array, Array]:
    """Return the share that is left of a tuned circuit at a pin, and its frequency's share.

    The frequency goes with 1 / sqrt(L C) of the parts across the coil; a part that is open,
    shorted or leaky leaves none, or a damped one.
    """
    boards = paths.boards
    across_coil = {
        number: element
        for number, element in enumerate(boards.good.elements)
        if set(element.ends) == set(coil.joins[:2]) and element.kind in ("coil", *CAPACITIVE)
    }
    good_farad = sum(e.farad for e in across_coil.values() if e.kind in CAPACITIVE)
    share_left, frequency_share = np.ones(boards.count), np.ones(boards.count)
    for fault_number, fault in enumerate(boards.faults):
        rows = boards.list_rows(fault_number)
        if fault.lifted == pin:
            share_left[rows] = _LEFT_WHEN_LIFTED
        for number, old in across_coil.items():
            if number not in fault.replaced:
                continue
            new = fault.replaced[number]
            is_gone = new.parallel_ohm < _DAMPS_OHM
            if old.kind == "coil":
                is_gone |= np.isinf(new.series_ohm)
                frequency_share[rows] = np.sqrt(old.henry / np.maximum(new.henry, 1e-12))
            else:
                # Without its capacitor the coil swings on strays, far above its frequency.
                is_open = np.isinf(new.series_ohm) & np.isinf(new.parallel_ohm)
                new_farad = np.where(is_open, 0.0, new.farad)
                stray_farad = boards.good.draws.draw_log_uniform(f"strays at {pin}", *_STRAY_F)
                farad = np.maximum(good_farad - old.farad + new_farad, 0.0)
                capacitance_ratio = (good_farad + stray_farad) / (farad + stray_farad)
                frequency_share[rows] = np.sqrt(capacitance_ratio)
            share_left[rows] = np.where(is_gone, _LEFT_WHEN_GONE, share_left[rows])
    return share_left, frequency_share
