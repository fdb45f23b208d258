"""The KYE2620's oscillators, timed by the currents and capacitors that the board leaves them.

Line: f = I / (C U), 0.32 mA from pin 1 into C501 less its leak, 400 Hz a volt at pin 3 (stated).
Field: likewise from the supply into C510; a field pulse triggers it within the last fifth of its
ramp (common practice for a triggered oscillator).
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from boards.board import Board

from .electrics import FIELD_HZ, LINE_HZ, supply_v

_LINE_MEAN_V, _FIELD_MEAN_V, _RAMP_MEAN_V = 6.0, 4.2, 4.0
_LINE_F, _FIELD_F, _RAMP_F = 4.7e-9, 220e-9, 100e-9
_LINE_OHM, _FIELD_OHM, _RAMP_OHM = 8.2e3 + 1.4e3, 220e3 + 50e3, 470e3 + 110e3
_PIN_F = 12e-12  # of the line oscillator's pin and the board
FIELD_FREE_HZ = 47.0
_PRESET_LINE, _PRESET_FIELD = 0.004, 0.01  # how near the hold presets were set
_TRIGGERED_FROM = 0.8
_SUPPLY_V, _OPEN_OHM = 12.0, 1e12
_LEAST = 0.1  # of the charging current, for an oscillator to run


@dataclass(frozen=True)
class Charging:
    """Current into a timing capacitor and the capacitor, of those of a good board."""

    current: float
    capacitance: float

    @property
    def rate(self) -> float:
        """How fast it charges; 0 when it never gets there."""
        return self.current / self.capacitance if self.current > _LEAST else 0.0


def charge_line(board: Board, good: Board) -> Charging:
    """Return the charging of C501: the current out of pin 1 is mirrored into it.

    Volts and thresholds follow the supply, so that a low supply alone changes nothing; the hold
    preset was set on the ``good`` board of the same parts.
    """
    resistors = ("R501", 8.2e3), ("P501", 1.4e3)
    feed_a = board.dc["pin 1"] / max(_series_ohm(board, *resistors), 1.0)
    good_a = good.dc["pin 1"] / _LINE_OHM
    if "pin 1" in board.fault.lifted:
        feed_a = 0.0
    leak_a = _leak_a(board, "C501", _LINE_MEAN_V * _supply_share(board))
    lifted = "pin 2" in board.fault.lifted
    capacitance = _PIN_F / _LINE_F if lifted else _capacitance(board, "C501", _LINE_F, _PIN_F)
    return Charging((feed_a - leak_a) / good_a / max(_supply_share(board), 0.1), capacitance)


def charge_field(board: Board) -> Charging:
    """Return the charging of C510 from the supply through R505 and P502."""
    resistors = ("R505", 220e3), ("P502", 50e3)
    current = _from_supply(board, _FIELD_MEAN_V, "C510", _FIELD_OHM, *resistors)
    lifted = 0.0 if "pin 11" in board.fault.lifted else 1.0
    return Charging(current * lifted, _capacitance(board, "C510", _FIELD_F, 1e-9))


def charge_ramp(board: Board) -> Charging:
    """Return the charging of C511 from the supply through R506 and P503."""
    resistors = ("R506", 470e3), ("P503", 110e3)
    current = _from_supply(board, _RAMP_MEAN_V, "C511", _RAMP_OHM, *resistors)
    lifted = 0.0 if "pin 12" in board.fault.lifted else 1.0
    return Charging(current * lifted, _capacitance(board, "C511", _RAMP_F, 1e-9))


def free_line_hz(board: Board, charging: Charging, seed: int) -> float:
    """Return where the line oscillator runs with 6.0 V at pin 3."""
    return LINE_HZ * charging.rate * (1 + random.Random(seed).gauss(0, _PRESET_LINE))


def run_field(board: Board, charging: Charging, seed: int, *, pulses: bool) -> tuple[float, bool]:
    """Return the field frequency and whether the field pulses hold it."""
    free_hz = FIELD_FREE_HZ * charging.rate
    free_hz *= 1 + random.Random(seed + 1).gauss(0, _PRESET_FIELD)
    held = pulses and _TRIGGERED_FROM * FIELD_HZ <= free_hz <= FIELD_HZ
    return (FIELD_HZ, True) if held else (free_hz, False)


def _from_supply(
    board: Board, mean_v: float, capacitor: str, good_ohm: float, *resistors: tuple[str, float]
) -> float:
    """Return the current into a capacitor, of a good board's, where all follows the supply."""
    share = _supply_share(board)
    good_a = (_SUPPLY_V - mean_v) / good_ohm
    feed_a = (_SUPPLY_V - mean_v) * share / _series_ohm(board, *resistors)
    return (feed_a - _leak_a(board, capacitor, mean_v * share)) / good_a / max(share, 0.1)


def _series_ohm(board: Board, *resistors: tuple[str, float]) -> float:
    """Return some resistors in series, as they are now; presets are set to half."""
    ohms = 0.0
    for ref, good_ohm in resistors:
        failure = board.fault.failure(ref)
        if failure and failure.mode == "open":
            return _OPEN_OHM
        ohms += failure.figure if failure else good_ohm
    return ohms


def _supply_share(board: Board) -> float:
    return supply_v(board) / _SUPPLY_V


def _leak_a(board: Board, ref: str, volts: float) -> float:
    failure = board.fault.failure(ref)
    if failure and failure.mode == "leaky":
        return volts / failure.figure
    return 1.0 if failure and failure.mode == "shorted" else 0.0


def _capacitance(board: Board, ref: str, good_f: float, left_f: float) -> float:
    failure = board.fault.failure(ref)
    if failure and failure.mode == "open":
        return left_f / good_f
    return failure.figure / good_f if failure and failure.mode == "value" else 1.0
