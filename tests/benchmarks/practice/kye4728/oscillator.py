"""The subcarrier oscillator of the KYE4728, at pin 4 and at the crystal's other side.

The crystal's load is its series capacitor with the pin's 100 pF (stated). Chosen here, as common
practice: with less than about 5 pF to the crystal the pin no longer follows it and jumps about
near 1 MHz, while strays still ring the crystal a little, at its own frequency.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from boards.board import Board

from practice.colour_loops import Crystal
from practice.screen import Screen

from .electrics import SUBCARRIER_HZ

_PIN_F, _SERIES_F = 100e-12, 22e-12
_SHORT_F = 1e-6
_STRAY_F = 0.7e-12  # across a cracked capacitor
_LEAST_F = 5e-12  # to the crystal, for the pin to follow it
_LOAD_F = _PIN_F * _SERIES_F / (_PIN_F + _SERIES_F)
_JUMPING_HZ, _JUMPING_V = 1.05e6, 0.5
_RINGING_V = 0.03  # for each picofarad that is left
_RINGING_OFF_HZ = 250.0  # with a probe on the crystal: near, not exact
_HOLDER_F = 5e-12
_SPREAD_HZ = 60.0  # of a good set that is not steered

CRYSTAL = Crystal(SUBCARRIER_HZ, _LOAD_F, holder_f=_HOLDER_F)


@dataclass(frozen=True)
class Oscillator:
    """``off_hz`` before it is steered, None when no subcarrier comes; the signal of each side."""

    off_hz: float | None
    jumps: bool
    series_f: float
    crystal_is_open: bool
    stopped: bool

    def show(self, screen: Screen, board: Board, steered_off_hz: float) -> None:
        """Show pin 4 and the crystal's other side of the series capacitor."""
        hertz = SUBCARRIER_HZ + steered_off_hz
        reached = "pin 4" not in board.fault.lifted
        if self.stopped or (self.jumps and not reached):
            screen.show("pin 4", 0.0)
            screen.show("crystal-node", 0.0)
        elif self.jumps:
            self._show_jumping(screen)
        else:
            # One current through both: the volts are as the capacitances divide them.
            divided = self.series_f / (self.series_f + _PIN_F)
            good = _SERIES_F / (_SERIES_F + _PIN_F)
            if self.series_f > _PIN_F:  # shorted: both sides are the pin
                screen.show("pin 4", 1.0, frequency_hz=hertz)
                screen.show_volts("crystal-node", screen.stated_v("pin 4"), frequency_hz=hertz)
            else:
                screen.show("pin 4", divided / good, frequency_hz=hertz)
                screen.show("crystal-node", 1.0, frequency_hz=hertz)

    def _show_jumping(self, screen: Screen) -> None:
        screen.show_volts("pin 4", _JUMPING_V, "unstable", frequency_hz=_JUMPING_HZ)
        if self.crystal_is_open:  # the jumping passes the good capacitor, onto what is left
            share = self.series_f / (self.series_f + _HOLDER_F)
            volts = share * _JUMPING_V
            screen.show_volts("crystal-node", volts, "unstable", frequency_hz=_JUMPING_HZ)
        else:
            volts = _RINGING_V * self.series_f / 1e-12
            ringing_hz = SUBCARRIER_HZ + _RINGING_OFF_HZ
            screen.show_volts("crystal-node", volts, frequency_hz=ringing_hz)


def find_oscillator(board: Board, seed: int, *, usable: bool) -> Oscillator:
    """Return the state of the oscillator of one board."""
    crystal, series_f = board.fault.failure("X401"), _series_f(board)
    crystal_is_open = crystal is not None and crystal.mode == "open"
    stopped = not usable or board.fault.dead_stage == "subcarrier-oscillator"
    lifted = "pin 4" in board.fault.lifted
    jumps = crystal_is_open or series_f < _LEAST_F or lifted
    cut_off = crystal.figure if crystal and crystal.mode == "off" else 0.0
    load_f = series_f * _PIN_F / (series_f + _PIN_F)
    off_hz = CRYSTAL.pulled_hz(load_f, cut_off) + random.Random(seed).gauss(0, _SPREAD_HZ)
    return Oscillator(
        off_hz=None if stopped or jumps else off_hz,
        jumps=jumps,
        series_f=series_f,
        crystal_is_open=crystal_is_open,
        stopped=stopped,
    )


def _series_f(board: Board) -> float:
    failure = board.fault.failure("C406")
    if failure is None or failure.mode == "leaky":
        return _SERIES_F
    if failure.mode == "open":
        return _STRAY_F
    return _SHORT_F if failure.mode == "shorted" else failure.figure
