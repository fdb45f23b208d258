"""Ripple: what rides on supplies, references and stores when their capacitors no longer hold it."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .elements import CAPACITIVE
from .paths import Paths

Array = NDArray[Any]

# At mains rate a supply's electrolytic works, at line rate the smaller ones. Both are looked at.
_RATES_HZ: Final = (100.0, 15.7e3)
_MOST_TIMES: Final = 60.0
_ARRIVES: Final = 0.7  # of a noisy rail's ripple at the supply pins behind it


def ripple_shares(paths: Paths) -> Array:
    """Return ripple at each point beside a good board's, shape (boards, points)."""
    boards, topology = paths.boards, paths.topology
    share = np.ones((boards.count, boards.nodes))
    for name in topology.points:
        if not _is_held(paths, name):
            continue
        at = topology.index[name]
        worst = np.ones(boards.count)
        for hz in _RATES_HZ:
            worst = np.maximum(worst, paths.impedance_share(name, hz))
        # A joint leaves the capacitor on the board: the chip is without it.
        share[:, at] = np.where(boards.is_lifted[:, at], 1.0, np.clip(worst, 1, _MOST_TIMES))
    for number, fault in enumerate(boards.faults):
        for rail, times in fault.ripple_times.items():
            rows = boards.rows(number)
            for name in (rail, *topology.pins_of("supply")):
                column = topology.index[name]
                share[rows, column] = np.maximum(share[rows, column], _ARRIVES * times)
    return share


def _is_held(paths: Paths, name: str) -> bool:
    """Return whether a capacitor holds a point quiet: a supply, a reference, a store."""
    topology = paths.topology
    pin = topology.pin_at.get(name)
    if pin is not None and pin.role in ("output", "oscillator", "ground", "bus"):
        return False
    parts = topology.parts_at.get(name, ())
    return any(p.kind in CAPACITIVE for p in parts) and bool(topology.shunt_capacitors(name))
