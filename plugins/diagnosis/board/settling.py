"""Boards at rest with themselves: voltages, signals and stages, each after the other."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from .cloud import FEATURES
from .operating_point import Boards
from .paths import Paths
from .signals import Signal, good_signal

Array = NDArray[Any]


class Settled:
    """Boards with their signals."""

    def __init__(self, boards: Boards) -> None:
        self.boards = boards
        self.paths = Paths(boards)
        self.sent: dict[str, Signal] = {}
        """What each source sends."""
        self.ripple = np.ones((boards.count, boards.nodes))
        """Ripple at each point beside a good board's."""
        self.features = {name: np.ones(boards.count) for name in FEATURES}

    def shown_at(self, name: str) -> Signal | None:
        """Return the signal at a point of the board; None where none is known to come."""
        path = self.paths.at.get(name)
        if path is None:
            return None
        sent = self.sent.get(path.source) or good_signal(self.boards.count)
        return sent.times(path.share)


def settle(boards: Boards) -> Settled:
    """Solve voltages, then follow the signals."""
    settled = Settled(boards)
    boards.solve_dc()
    settled.paths.solve()
    for at, fault in enumerate(boards.faults):
        for name, share in fault.signal_share.items():
            sent = settled.sent.setdefault(name, good_signal(boards.count))
            sent.level[boards.rows(at)] *= share
            sent.colour[boards.rows(at)] *= share
    return settled
