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
    volts = np.full((boards.count, boards.nodes), _FLOOR_V)
    for name in topology.points:
        if not _is_held(paths, name):
            continue
        at = topology.index[name]
        changing = _estimate_changing_amperes(paths, name)
        whole = np.zeros(boards.count)
        for hz, ampere in zip(_RATES_HZ, changing or (0.0, 0.0), strict=True):
            if changing is None:
                # A store: what is there on any board, as often larger as its impedance is.
                share = paths.compute_impedance_share(name, hz)
                whole = np.maximum(whole, np.minimum(_FLOOR_V * (share - 1), _MOST_STORE_V))
            else:
                whole = whole + ampere * paths.compute_impedance_ohm(name, hz)
        if changing is not None:
            # What takes no current ripples nothing.
            good = boards.volts[: boards.draws, at][boards.draw_of]
            whole = whole * np.clip(np.abs(boards.volts[:, at] / np.where(good, good, 1.0)), 0, 1.2)
        # A joint leaves the capacitor on the board: it is the chip that is without it.
        whole = np.where(boards.is_lifted[:, at], 0.0, np.minimum(whole, _MOST_V))
        volts[:, at] = np.hypot(volts[:, at], whole)
    _raise_unfiltered(paths, volts)
    for number, fault in enumerate(boards.faults):
        for rail, times in fault.ripple_times.items():
            rows = boards.list_rows(number)
            for name in (rail, *topology.list_pins("supply")):
                column = topology.index[name]
                noisy = _ARRIVES * times * _RAIL_RIPPLE_V
                volts[rows, column] = np.maximum(volts[rows, column], noisy)
    return volts


def _raise_unfiltered(paths: Paths, volts: Array) -> None:
    """Raise the ripple where an electrolytic that filters a rail or supply has failed.

    However stiff a rail is drawn, its filter is there for the ripple that regulator, rectifier
    and wiring leave: common practice.
    """
    boards, topology = paths.boards, paths.topology
    for number, fault in enumerate(boards.faults):
        for place, failed in fault.replaced.items():
            good = boards.good.elements[place]
            if good.kind != "electrolytic capacitor" or fault.hypothesis.failure == "leaky":
                continue
            ends = [end for end in good.ends if end != GROUND and topology.is_quiet(end)]
            if GROUND not in good.ends and len(ends) < 2:
                continue
            left = np.where(np.isinf(failed.series_ohm), 0.0, failed.farad / good.farad)
            draws = boards.good.draws
            most = draws.draw_log_uniform(f"unfiltered {good.ref}", *_UNFILTERED_V)
            still_filtered = np.clip(1 - left, 0.1, 1.0) * (failed.parallel_ohm > _SHORT_OHM)
            for end in ends:
                column, rows = topology.index[end], boards.list_rows(number)
                volts[rows, column] = np.maximum(volts[rows, column], most * still_filtered)


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
