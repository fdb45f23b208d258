"""The sound half of the OGX1524: limiter, quadrature detector, muting, output.

Stated in the chip file: limiting from a hundredth of the usual signal, the coil's Q of 14, the mute
input's 2 V. The detector's curve is that of one tuned circuit, x / (1 + x²) with x = 2 Q df / f.
"""

from __future__ import annotations

import math

from boards.board import Board

from practice.screen import Screen
from practice.ways import Ways

from .electrics import CHIP, SOUND_GND, SOUND_HZ, SOUND_V, SUPPLY_ENOUGH_V, TONE_HZ, supply_v
from .vision import Vision

_LIMITS_FROM = 0.01
_Q = 14.0
_COIL_H, _TANK_F, _TANK_PARTS_F = 10e-6, 83.2e-12, {"C212": 68e-12, "C211": 8.2e-12}
_PEAK_SHIFT_V = 2.4
_MUTED_V = 2.0
_BIAS_ENOUGH = 0.6
_OFF_TUNE = 0.5  # in units of half the bandwidth: the tone is bent


class Sound:
    """State of the sound half of one board; shares are of a good set's signal."""

    def __init__(self, board: Board, ways: Ways, vision: Vision) -> None:
        self._board, self._ways, self._vision = board, ways, vision
        self.alive = supply_v(board, SOUND_V, SOUND_GND) > SUPPLY_ENOUGH_V
        self.held_v: dict[str, float] = {}
        bias_v = board.dc["pin 17"] - board.dc[SOUND_GND]
        biased = bias_v > _BIAS_ENOUGH * CHIP.nominal_v["pin 17"]
        self.at_input = ways.share("intercarrier", "pin 16") * vision.video
        self.at_input *= self._through("pin 15")
        reaching = self.at_input * self._through("pin 16")
        limiting = self.alive and biased and not self._dead("limiter")
        self.limited = min(reaching / _LIMITS_FROM, 1.0) if limiting else 0.0
        if self.alive and (not biased or self._dead("limiter")):
            self.held_v["pin 20"] = 7.6  # its pair has tipped over
        self._detect()
        muted = board.dc["pin 24"] - board.dc[SOUND_GND] > _MUTED_V or not vision.identified
        passing = self.alive and not muted and not self._dead("sound-switch")
        self.output = self.audio * self._through("pin 21") if passing else 0.0

    def _dead(self, *stages: str) -> bool:
        return self._board.fault.dead_stage in stages

    def _through(self, pin: str) -> float:
        return 0.0 if pin in self._board.fault.lifted else 1.0

    def _detect(self) -> None:
        coil, damping = self._board.fault.failure("L202"), self._board.fault.failure("R207")
        quadrature = self.limited * self._through("pin 20") * self._through("pin 19")
        quadrature *= min(self._ways.share("limited", "pin 19"), 2.0)
        tank_f = _TANK_F + sum(self._missing_f(ref, f) for ref, f in _TANK_PARTS_F.items())
        has_coil = coil is None or coil.mode == "value"
        inductance = coil.figure / _COIL_H if coil and coil.mode == "value" else 1.0
        off = math.sqrt(_TANK_F / tank_f / inductance) - 1
        quality = 2 * _Q if damping and damping.mode == "open" else _Q
        x = 2 * quality * off
        detecting = has_coil and quadrature > 0.1 and not self._dead("fm-detector")
        slope = quality / _Q / (1 + x * x) if detecting and self.alive else 0.0
        self.quadrature = quadrature
        self.is_bent = slope > 0 and (abs(x) > _OFF_TUNE or quality > _Q)
        shunt = min(self._ways.share("de-emphasis", "pin 21"), 1.0)
        self.audio = min(slope, 1.8) * min(quadrature, 1.0) * shunt
        if abs(x) > 0.1 and detecting:
            self.held_v["pin 21"] = CHIP.nominal_v["pin 21"] + _PEAK_SHIFT_V * x / (1 + x * x)

    def _missing_f(self, ref: str, good_f: float) -> float:
        failure = self._board.fault.failure(ref)
        if failure is None:
            return 0.0
        return failure.figure - good_f if failure.mode == "value" else -good_f

    @property
    def loudness(self) -> float:
        """Audio at the volume control."""
        return self.output * self._through("pin 22") * self._ways.share("audio", "audio-line")

    def show(self, screen: Screen) -> None:
        """Show the signals of the sound half."""
        ways = self._ways
        filter_v = 0.12 * self._vision.video * self._through("pin 15")
        filter_v *= ways.share("intercarrier", "sound-filter-in")
        screen.show_volts("sound-filter-in", filter_v, frequency_hz=SOUND_HZ)
        screen.show("pin 16", self.at_input)
        screen.show("pin 20", self.limited * self._through("pin 20"))
        screen.show(
            "pin 19", self.limited * self._through("pin 20") * ways.share("limited", "pin 19")
        )
        words = ("distorted",) if self.is_bent else ()
        screen.show("pin 21", self.audio * self._through("pin 21"), *words)
        words = words if self.output else ()
        screen.show("pin 22", self.output * self._through("pin 22"), *words)
        screen.show("audio-line", self.loudness, *words, frequency_hz=TONE_HZ)
