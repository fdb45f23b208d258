"""The field half of the HVQ2460: oscillator, ramp, output stage with its two feedbacks.

The output makes pin 8 follow the ramp, so that the yoke's current is the ramp over the feedback
that the board returns, as ngspice has it, until the supply clips it. Common practice: a field
pulse triggers the oscillator within the last fifth of its ramp.
"""

from __future__ import annotations

import math
import random

from practice.board_rules import BoardRules
from practice.screen import Screen

from .electrics import FIELD_GND, FIELD_HZ, FIELD_V, GROUND
from .line import Line
from .timing import FIELD, find_source

_FREE_HZ, _PRESET = 47.0, 0.01
_TRIGGERED_FROM, _PULSE_ENOUGH = 0.8, 0.5
_RESET_V, _MOST_RAMP_V, _SCAN = 0.75, 7.0, 0.95
_RAMP_F = 150e-9
_IDLE_OHM = 5e6
_OUTPUT_ENOUGH_V = 8.0
_LOW_V, _DROP_V, _USUAL_SWING_V = 1.1, 1.4, 9.6
_BIAS_ENOUGH = 0.5
_PROBED_V = (3.0, 8.0)


class Field:
    """State of the field half of one board; shares are of a good set's signal."""

    def __init__(self, rules: BoardRules, line: Line) -> None:
        self._rules, self._line = rules, line
        self._run_oscillator()
        self._make_ramp()
        self._settle_output()

    def _run_oscillator(self) -> None:
        rules, line = self._rules, self._line
        free_hz = 0.0
        if line.alive and not rules.is_dead("vertical-oscillator"):
            farad = rules.value(FIELD.capacitor, 0.0, 1.0)
            free_hz = FIELD.find_hertz(rules.settled(), farad, line.reference_v, {})
        good_hz = FIELD.find_hertz(rules.good, FIELD.nominal_f, rules.good.dc["pin 22"], {})
        preset = 1 + random.Random(rules.seed + 1).gauss(0, _PRESET)
        free_hz *= _FREE_HZ / good_hz * preset
        pulsed = line.field_sync > _PULSE_ENOUGH
        self.is_held = pulsed and _TRIGGERED_FROM * FIELD_HZ <= free_hz <= FIELD_HZ
        self.hertz = FIELD_HZ if self.is_held else free_hz
        if not self.hertz:
            rules.hold("pin 6", 0.3, _IDLE_OHM)

    def _make_ramp(self) -> None:
        rules = self._rules
        self.ramp = 0.0
        if not self.hertz or rules.is_dead("ramp-generator"):
            rules.hold("pin 7", 0.0, _IDLE_OHM)  # nothing resets it
        elif not rules.is_lifted("pin 7"):
            farad = rules.value("C413", 0.0, 1.0)
            volts = [
                _ramp_v(*find_source(board, "pin 7", {}), farad_now, hertz)
                for board, farad_now, hertz in (
                    (rules.settled(), farad, self.hertz),
                    (rules.good, _RAMP_F, FIELD_HZ),
                )
            ]
            self.ramp = max(volts[0], 0.0) / volts[1]
            own_v = rules.own_v["pin 7"]
            rules.hold("pin 7", _RESET_V + (own_v - _RESET_V) * self.ramp)

    def _settle_output(self) -> None:
        rules = self._rules
        settled = rules.settled().dc
        supply_v = settled[f"inner {FIELD_V}"] - settled[FIELD_GND]
        bias_v = settled["inner pin 9"] - settled[GROUND]
        works = supply_v > _OUTPUT_ENOUGH_V and self._line.alive
        works = works and not rules.is_dead("vertical-amplifier")
        rest_v = self._find_rest(bias_v, supply_v)
        returned = rules.ways.share("yoke", "pin 8") * rules.passes("pin 8")
        ramp = self.ramp if bias_v > _BIAS_ENOUGH else 0.0
        needed = min(ramp / max(returned, 0.02), 50.0)
        room_v = min(rest_v - _LOW_V, supply_v - _DROP_V - rest_v)
        most = max(room_v / _USUAL_SWING_V, 0.0)
        self.output = min(needed, most) if works else 0.0
        self.clips = bool(works and ramp and needed > most * 1.03)
        sensed = min(rules.ways.share("yoke", "sense-node"), 1.5)
        # Without R415 its node swings and hardly any current flows.
        sensed = 0.0 if rules.mode("R415") == "open" else sensed
        self.yoke = self.output * rules.passes("pin 10") * sensed
        if not works:
            rules.hold("pin 10", 0.7, 2.0)
        else:
            rules.hold("pin 10", rest_v)

    def _find_rest(self, bias_v: float, supply_v: float) -> float:
        """The output goes where the divider brings pin 8 to the bias, or as far as it can."""
        rules = self._rules
        if rules.is_lifted("pin 8"):
            return supply_v - _DROP_V
        probed = [
            rules.board.with_stages({**rules.held_v, "pin 10": volts}, rules.inner_ohm).dc["pin 8"]
            for volts in _PROBED_V
        ]
        slope = (probed[1] - probed[0]) / (_PROBED_V[1] - _PROBED_V[0])
        if slope < 1e-3:  # nothing comes back: it looks for the missing volts at its end
            return supply_v - _DROP_V if probed[0] < bias_v else _LOW_V
        wanted_v = _PROBED_V[0] + (bias_v - probed[0]) / slope
        return min(max(wanted_v, _LOW_V), max(supply_v - _DROP_V, _LOW_V))

    def show(self, screen: Screen) -> None:
        """Show the signals of the field half."""
        rules, hertz = self._rules, self.hertz
        line, runs = self._line, 1.0 if self.hertz else 0.0
        screen.show("pin 5", line.field_sync)
        tail_v = 2.35 * line.field_sync if not rules.is_lifted("pin 5") else 2.35 * line.sync
        screen.show_volts("integrator-node", tail_v, frequency_hz=FIELD_HZ)
        # Triggered early, the sawtooth is cut a little shorter than when it runs free.
        free = 1.0 if self.is_held else 1.05
        screen.show("pin 6", runs * free * rules.passes("pin 6"), frequency_hz=hertz)
        screen.show("pin 7", min(self.ramp, 3.0), frequency_hz=hertz)
        words = ("distorted",) if self.clips and self.output > 0.03 else ()
        screen.show("pin 10", self.output * rules.passes("pin 10"), *words, frequency_hz=hertz)
        at_sense = self.output * rules.passes("pin 10") * rules.ways.share("yoke", "sense-node")
        screen.show("sense-node", min(at_sense, 3.0), *words, frequency_hz=hertz)
        returned = rules.ways.share("yoke", "pin 8") * self.output * rules.passes("pin 10")
        screen.show("pin 8", min(returned, 3.0), *words, frequency_hz=hertz)
        blanks = runs if line.alive and not rules.is_dead("blanking-generator") else 0.0
        screen.show("pin 13", blanks * rules.passes("pin 13"), frequency_hz=hertz)
        if not blanks and line.alive:
            rules.hold("pin 13", 0.15)


def _ramp_v(charged_v: float, ohms: float, farad: float, hertz: float) -> float:
    """Return the volts that the ramp gains in one field: 1 - exp(-t / RC), any handbook."""
    share = 1 - math.exp(-_SCAN / hertz / max(ohms * farad, 1e-6))
    return min((charged_v - _RESET_V) * share, _MOST_RAMP_V)
