"""The HVQ2460's oscillators, timed by the circuit that the board leaves at their pins.

A capacitor charges through the board's resistance from the volts that the board has at the idle
pin, both as ngspice solves them: t = R C ln((V - low) / (V - high)), any handbook. Thresholds
follow the reference. Leaks and the loop's resistor count by themselves.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from boards.board import Board

from .electrics import GROUND

_IDLE_OHM, _PROBE_OHM, _HELD_OHM = 1e9, 20e3, 10.0
_REFERENCE_V = 8.2
_REACHES = 1.01  # of the upper threshold, that the board must have at the idle pin


@dataclass(frozen=True)
class Timed:
    """A charging oscillator: its pin and capacitor, thresholds as parts of the reference."""

    pin: str
    capacitor: str
    nominal_f: float
    low: float
    high: float
    discharge_s: float
    stray_f: float
    most_hz: float

    def find_hertz(
        self, board: Board, farad: float, reference_v: float, held_v: Mapping[str, float]
    ) -> float:
        """Return how fast it runs with some more pins held; 0 when it never gets there."""
        if self.pin in board.fault.lifted or reference_v < _REFERENCE_V / 2:
            return 0.0
        charged_v, ohms = find_source(board, self.pin, held_v)
        low_v, high_v = self.low * reference_v, self.high * reference_v
        if charged_v <= high_v * _REACHES:
            return 0.0
        all_f = farad + self.stray_f
        charge_s = ohms * all_f * math.log((charged_v - low_v) / (charged_v - high_v))
        discharge_s = self.discharge_s * all_f / self.nominal_f
        return min(1 / (charge_s + discharge_s), self.most_hz)


LINE = Timed("pin 14", "C406", 4.7e-9, 2.7 / 8.2, 5.4 / 8.2, 6.5e-6, 15e-12, 400e3)
FIELD = Timed("pin 6", "C412", 100e-9, 2.05 / 8.2, 5.05 / 8.2, 0.7e-3, 60e-12, 5e3)


def find_source(board: Board, pin: str, held_v: Mapping[str, float]) -> tuple[float, float]:
    """Return the volts of the board at an idle pin, and its resistance there."""
    firm = dict.fromkeys(held_v, _HELD_OHM)
    solved = [
        board.with_stages({**held_v, pin: 0.0}, {**firm, pin: ohms}).dc
        for ohms in (_IDLE_OHM, _PROBE_OHM)
    ]
    idle_v, loaded_v = (dc[pin] - dc[GROUND] for dc in solved)
    return idle_v, _PROBE_OHM * (idle_v / max(loaded_v, 1e-9) - 1)
