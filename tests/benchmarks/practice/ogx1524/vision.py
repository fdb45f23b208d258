"""The vision half of the OGX1524: tuner and IF gain, carrier loop, video.

Stated in the chip file: the AGC's volts and the takeover's, and noise without a signal. Chosen
here, as common practice: 15 dB of IF gain a volt, a carrier loop that catches within 1.5 MHz and
is steered 1 MHz a volt, a tuner that loses half its gain for each volt.
"""

from __future__ import annotations

import math

from boards.board import Board

from practice.screen import Screen
from practice.ways import Ways

from .electrics import (
    CARRIER_HZ,
    CHIP,
    DRIVE,
    SUPPLY_ENOUGH_V,
    VISION_GND,
    VISION_V,
    supply_v,
)

_FULL_GAIN_V, _USUAL_V, _LEAST_V, _OCTAVE_V = 6.4, 4.1, 2.4, 0.4
_TAKEOVER_V, _TUNER_V, _TUNER_FULL_V, _TUNER_LEAST_V = 2.3, 6.6, 8.8, 0.4
_CATCH_HZ, _LOOP_HZ_PER_V, _LOOP_V, _LOOP_SWING_V = 1.5e6, 1e6, 3.6, 1.5
_TANK_PARTS_F = {"C205": 68e-12, "C206": 8.2e-12}
_TANK_PINS_F = 7e-12
_NOISE_V, _BEAT_V = 2.0, 2.2  # at pin 15: full gain and no carrier; a carrier out of lock
_LEAST_CARRIER, _OVERLOAD = 0.002, 1.3
_PICTURE_ENOUGH = 0.3


class Vision:
    """State of the vision half of one board; shares are of a good set's signal."""

    def __init__(self, board: Board, ways: Ways) -> None:
        self._board, self._ways = board, ways
        self.alive = supply_v(board, VISION_V, VISION_GND) > SUPPLY_ENOUGH_V
        reference = (board.dc["pin 8"] - board.dc[VISION_GND]) / CHIP.nominal_v["pin 8"]
        self.reference = 0.0 if self._dead("reference") else min(reference, 1.0)
        self.held_v: dict[str, float] = {}
        self.inner_ohm: dict[str, float] = {}
        self._run_tuner()
        self._run_carrier_loop()
        self._settle_gain()
        self._settle_outputs()

    def _dead(self, *stages: str) -> bool:
        return self._board.fault.dead_stage in stages

    def _through(self, pin: str) -> float:
        return 0.0 if pin in self._board.fault.lifted else 1.0

    def _run_tuner(self) -> None:
        """The takeover stage draws current at pin 7, and the tuner follows the remaining volts."""
        moved_v = 2.0 * (self._board.dc["pin 6"] - self._board.dc[VISION_GND] - _TAKEOVER_V)
        wanted_v = max(_TUNER_LEAST_V, min(_TUNER_V + moved_v, _TUNER_FULL_V))
        if self._dead("takeover-stage", "reference"):
            wanted_v = _TUNER_FULL_V
        # A sink behind 20 kΩ on a pull-up of 10 kΩ: its own volts move three times as far.
        own_v = DRIVE.open_circuit_v["pin 7"] + 3.0 * (wanted_v - _TUNER_V)
        if abs(wanted_v - _TUNER_V) > 0.3:
            self.held_v["pin 7"] = own_v
        if self._board.fault.failure("R201"):  # the sink has nothing to sink and saturates
            self.held_v["pin 7"], self.inner_ohm["pin 7"] = _TUNER_LEAST_V, 400.0
        volts = self._board.with_stages(self.held_v, self.inner_ohm).dc["pin 7"]
        self.tuner = 2 ** min(volts - _TUNER_V, 1.0)
        if "tuner-if" in self._board.fault.silent:
            self.tuner = 0.0

    def _run_carrier_loop(self) -> None:
        board = self._board
        coil = board.fault.failure("L201")
        tank_f = _TANK_PINS_F + sum(self._part_f(ref, f) for ref, f in _TANK_PARTS_F.items())
        inductance = coil.figure / 0.2e-6 if coil and coil.mode == "value" else 1.0
        good_f = _TANK_PINS_F + sum(_TANK_PARTS_F.values())
        shorted = tank_f > 1e-6 or (coil is not None and coil.mode in ("open", "shorted"))
        lifted = {"pin 10", "pin 11"} & board.fault.lifted
        self.oscillates = self.alive and not shorted and not lifted and not self._dead("vco")
        off_hz = CARRIER_HZ * (math.sqrt(good_f / tank_f / inductance) - 1) if tank_f < 1e-6 else 0
        own_v = DRIVE.open_circuit_v["pin 12"]
        dc = board.with_stages(held_v={"pin 12": own_v}).dc
        share = max((dc["pin 12"] - dc[VISION_GND]) / own_v, 1e-3)
        wanted_v = (_LOOP_V - off_hz / _LOOP_HZ_PER_V) / share
        comparing = not self._dead("carrier-phase-detector") and "pin 12" not in board.fault.lifted
        reachable = abs(off_hz) <= _CATCH_HZ and abs(wanted_v - _LOOP_V) <= _LOOP_SWING_V
        self.carrier = self.at_input * self.tuner > _LEAST_CARRIER
        self.carrier = self.carrier and self.alive and not self._dead("if-amplifier")
        self.locked = self.oscillates and comparing and reachable and self.carrier
        if self.locked:
            self.held_v["pin 12"], self.vco_hz = wanted_v, CARRIER_HZ
        else:
            steered_hz = (share * own_v - _LOOP_V) * _LOOP_HZ_PER_V
            self.vco_hz = CARRIER_HZ + off_hz + max(-3e6, min(steered_hz, 3e6))

    def _part_f(self, ref: str, good_f: float) -> float:
        failure = self._board.fault.failure(ref)
        if failure is None:
            return good_f
        if failure.mode == "shorted":
            return 1.0
        return failure.figure if failure.mode == "value" else 0.0

    @property
    def at_input(self) -> float:
        """IF between the balanced inputs: either alone gives half."""
        pins = ("pin 1", "pin 2")
        return sum(self._ways.share("if", pin) * self._through(pin) for pin in pins) / 2

    def _settle_gain(self) -> None:
        """The AGC gives the needed gain, as far as its pin gets."""
        board = self._board
        own_v = DRIVE.open_circuit_v["pin 5"]
        dc = board.with_stages(held_v={"pin 5": own_v}).dc
        share = max((dc["pin 5"] - dc[VISION_GND]) / own_v, 1e-3)
        most_v = min(share * _FULL_GAIN_V * max(self.reference, 0.01), _FULL_GAIN_V)
        arriving = self.at_input * self.tuner
        passing = self.oscillates and not self._dead("video-demodulator", "video-amplifier")
        detected = passing and self.carrier and not self._dead("agc-detector")
        needed_v = _USUAL_V - _OCTAVE_V * math.log2(arriving) if arriving > 1e-4 else 99.0
        pin_v = min(max(needed_v, _LEAST_V), most_v) if detected else most_v
        amplifying = self.alive and not self._dead("if-amplifier")
        gain = 2 ** ((pin_v - _USUAL_V) / _OCTAVE_V) if amplifying else 0.0
        demodulated = min(arriving * gain, _OVERLOAD) if passing else 0.0
        self.video = demodulated if self.locked else 0.0
        self.held_v["pin 5"] = pin_v / share
        # Out of lock the carrier beats with the oscillator; without one the gain brings up noise.
        full = 2 ** ((_FULL_GAIN_V - _USUAL_V) / _OCTAVE_V)
        noise_v = _NOISE_V * min(gain / full, 1.0) if passing else 0.0
        beat_v = _BEAT_V * demodulated if self.carrier else noise_v
        self.garble_v = 0.0 if self.locked else beat_v

    def _settle_outputs(self) -> None:
        self.identified = self.video > _PICTURE_ENOUGH and not self._dead("ident-detector")
        if self.alive and not self.identified:
            self.held_v["pin 14"], self.inner_ohm["pin 14"] = 0.1, 250.0
        own_v = DRIVE.open_circuit_v["pin 15"]
        if self._dead("video-amplifier"):
            self.held_v["pin 15"] = 0.0
        elif self.alive and self.video < _PICTURE_ENOUGH:
            self.held_v["pin 15"] = own_v + 0.3  # without sync the mean rises
        if self._dead("reference"):
            self.held_v["pin 8"] = 0.0

    @property
    def is_mistuned(self) -> bool:
        """The AFC asks the tuner for another frequency than the right one."""
        volts = self._board.dc["pin 13"]
        return self.locked and abs(volts - CHIP.nominal_v["pin 13"]) > 1.0

    def show(self, screen: Screen) -> None:
        """Show the signals of the vision half."""
        ways = self._ways
        comes = 0.0 if "tuner-if" in self._board.fault.silent else self.tuner
        screen.show_volts("tuner-if", 0.25 * comes, frequency_hz=CARRIER_HZ)
        for pin in ("pin 1", "pin 2"):
            screen.show(pin, comes * ways.share("if", pin))
        swing = 1.0 if self.oscillates else 0.0
        for pin in ("pin 10", "pin 11"):
            screen.show(pin, swing, frequency_hz=self.vco_hz)
        follows = ways.share("video", "follower-out")
        video_v = self.video * screen.stated_v("pin 15") or self.garble_v
        bent = self.garble_v > 0.1 or self.video >= _OVERLOAD
        screen_words = ("distorted",) if bent else ()
        pad_v = video_v * self._through("pin 15")
        screen.show_volts("pin 15", pad_v, *screen_words, frequency_hz=15625.0)
        trap_v = pad_v * ways.share("video", "trap-node")
        screen.show_volts("trap-node", trap_v, *screen_words, frequency_hz=15625.0)
        out_v = pad_v * min(follows, 1.05)
        screen.show_volts("follower-out", out_v, *screen_words, frequency_hz=15625.0)

    @property
    def picture(self) -> float:
        """Video at the jungle."""
        return self.video * self._through("pin 15") * self._ways.share("video", "follower-out")
