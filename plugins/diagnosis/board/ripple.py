"""Ripple on supplies, references and stores whose capacitors no longer hold them."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .elements import CAPACITIVE
from .paths import Paths
from .senders import carries_signal
from .topology import GROUND

Array = NDArray[Any]

# At mains or field rate a supply's electrolytic works, at line rate the smaller ones.
_RATES_HZ: Final = (100.0, 15.7e3)
# Of a supply's current, peak to peak, what changes at these rates. Common practice: output stages
# take theirs in gulps.
_SIGNAL_SHARE: Final = (0.02, 0.1)
_POWER_SHARE: Final = (0.05, 0.05)
_POWER_A: Final = 0.1
_FLOOR_V: Final = 0.012  # what an oscilloscope shows on any board
_MOST_V: Final = 5.0
_MOST_STORE_V: Final = 0.4
_RAIL_RIPPLE_V: Final = 0.012
_UNFILTERED_V: Final = (0.03, 0.8)  # on a rail without its electrolytic, peak to peak
_SHORT_OHM: Final = 10.0
_ARRIVES: Final = 0.7  # of a noisy rail's ripple at the supply pins behind it


def compute_ripple_vpp(paths: Paths) -> Array:
    """Return ripple at each point, peak to peak, shape (boards, points)."""
    boards, topology = paths.boards, paths.topology
    ripple_vpp = np.full((boards.count, boards.nodes), _FLOOR_V)
    for name in topology.points:
        if _is_held(paths, name):
            column = topology.index[name]
            added_vpp = _compute_held_ripple(paths, name)
            ripple_vpp[:, column] = np.hypot(ripple_vpp[:, column], added_vpp)
    _raise_unfiltered(paths, ripple_vpp)
    # A noisy rail is heard at every supply pin behind it.
    for number, fault in enumerate(boards.faults):
        for rail, times in fault.ripple_times.items():
            rows = boards.list_rows(number)
            noise_vpp = _ARRIVES * times * _RAIL_RIPPLE_V
            for name in (rail, *topology.list_pins("supply")):
                column = topology.index[name]
                ripple_vpp[rows, column] = np.maximum(ripple_vpp[rows, column], noise_vpp)
    return ripple_vpp


def _compute_held_ripple(paths: Paths, name: str) -> Array:
    """Return the ripple of a point that a capacitor holds, above any board's floor, (boards,)."""
    boards, column = paths.boards, paths.topology.index[name]
    ripple_vpp = np.zeros(boards.count)
    changing_a = _estimate_changing_amperes(paths, name)
    if changing_a is None:
        # A store: what is there on any board, as often larger as its impedance is.
        for hz in _RATES_HZ:
            added_vpp = _FLOOR_V * (paths.compute_impedance_share(name, hz) - 1)
            ripple_vpp = np.maximum(ripple_vpp, np.minimum(added_vpp, _MOST_STORE_V))
    else:
        for hz, ampere in zip(_RATES_HZ, changing_a, strict=True):
            ripple_vpp = ripple_vpp + ampere * paths.compute_impedance_ohm(name, hz)
        # A chip that takes no current makes no ripple.
        volts = boards.volts[:, column]
        good_v = volts[: boards.draws][boards.draw_of]
        supply_share = np.abs(volts / np.where(good_v, good_v, 1.0))
        ripple_vpp = ripple_vpp * np.clip(supply_share, 0, 1.2)
    # A joint leaves the capacitor on the board: it is the chip that is without it.
    is_lifted = boards.is_lifted[:, column]
    return np.where(is_lifted, 0.0, np.minimum(ripple_vpp, _MOST_V))


def _raise_unfiltered(paths: Paths, ripple_vpp: Array) -> None:
    """Raise the ripple where an electrolytic that filters a rail or supply has failed.

    However stiff a rail is drawn, its filter is there for the ripple that regulator, rectifier
    and wiring leave: common practice.
    """
    boards, topology = paths.boards, paths.topology
    for number, fault in enumerate(boards.faults):
        rows = boards.list_rows(number)
        for element_number, failed in fault.replaced.items():
            good = boards.good.elements[element_number]
            # A leaky one still filters.
            if good.kind != "electrolytic capacitor" or fault.hypothesis.failure == "leaky":
                continue
            ends = [end for end in good.ends if end != GROUND and topology.is_quiet(end)]
            if GROUND not in good.ends and len(ends) < 2:
                continue
            is_open = np.isinf(failed.series_ohm)
            capacitance_left = np.where(is_open, 0.0, failed.farad / good.farad)
            draws = boards.good.draws
            most_vpp = draws.draw_log_uniform(f"unfiltered {good.ref}", *_UNFILTERED_V)
            # A short takes the rail down, and its ripple with it.
            is_not_shorted = failed.parallel_ohm > _SHORT_OHM
            unfiltered_share = np.clip(1 - capacitance_left, 0.1, 1.0) * is_not_shorted
            for end in ends:
                column = topology.index[end]
                raised_vpp = np.maximum(ripple_vpp[rows, column], most_vpp * unfiltered_share)
                ripple_vpp[rows, column] = raised_vpp


def _estimate_changing_amperes(paths: Paths, name: str) -> tuple[float, float] | None:
    """Return the current of a supply that changes at mains and at line rate, peak to peak."""
    for supply in paths.topology.chip.supplies:
        if name in [f"pin {number}" for number in supply.pins]:
            ampere = supply.current.nominal if supply.current is not None else 0.03
            low, high = _POWER_SHARE if ampere >= _POWER_A else _SIGNAL_SHARE
            return low * ampere, high * ampere
    return None


def _is_held(paths: Paths, name: str) -> bool:
    """Return whether a capacitor holds a point quiet: a supply, a reference, a store."""
    topology = paths.topology
    pin = topology.pin_at.get(name)
    if carries_signal(topology, name):
        return False
    if pin is not None and pin.role in ("oscillator", "ground", "bus"):
        return False
    parts = topology.parts_at.get(name, ())
    held = bool(topology.list_shunt_capacitors(name)) or (
        pin is not None and pin.role == "decoupling"
    )
    return any(p.kind in CAPACITIVE for p in parts) and held
