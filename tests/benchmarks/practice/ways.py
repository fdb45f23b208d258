"""How much of each signal still arrives at a point, against a good board of the same chip."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import replace

from boards.board import Board, Run
from boards.circuit import Drive

_LEAST_V = 1e-9  # a good way carries more; below it a ratio would be noise


_CHIP_SPREAD = 0.015  # of a good chip's own volts from those of the catalogue: common practice


def spread_drive(drive: Drive, seed: int) -> Drive:
    """Return the drive of one chip of many: each pin's own volts a little off the catalogue's."""
    chance = random.Random(seed + 7)
    volts = {
        pin: own_v * (1 + chance.gauss(0, _CHIP_SPREAD))
        for pin, own_v in drive.open_circuit_v.items()
    }
    return replace(drive, open_circuit_v=volts)


class Ways:
    """The networks of a board driven at one frequency each, beside those of the board when good.

    Coils and trimmers were tuned on that very board, so that its spread is no fault.
    """

    def __init__(self, board: Board, good: Board, runs: Mapping[str, Run]) -> None:
        self._volts, self._good = board.transfers(runs), good.transfers(runs)

    def share(self, run: str, point: str) -> float:
        """Return the signal at a point as a share of that on the good board: 1 when all is well."""
        good_v = abs(self._good[run][point])
        return abs(self._volts[run][point]) / good_v if good_v > _LEAST_V else 0.0
