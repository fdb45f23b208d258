"""The vision half of the PZK3128: tuner, peak AGC, reference circuit, AFC, video.

Common practice throughout: 10 dB of IF gain a volt and 38 dB of it above the usual, a reference
circuit of Q 25 whose phase costs cos(atan x) of the video, a peak detector that gives 50 µA.
"""

from __future__ import annotations

import math

from practice.board_rules import BoardRules
from practice.screen import Screen

from .electrics import CARRIER_HZ, IF_GND, IF_V

SUPPLY_ENOUGH_V = 8.5
_USUAL_V, _FULL_GAIN_V, _MOST_V = 7.15, 3.4, 9.0
_VOLTS_PER_DECADE = 2.0
_OVERLOAD = 1.4
_TAKEOVER_OWN_V = -30.0  # of pin 6's source, for each volt of the takeover preset
_TUNER_OCTAVE_V, _TUNER_MORE_V = 0.8, 1.2
_REFERENCE_Q, _AFC_Q = 25.0, 20.0
_REFERENCE_PINS_F, _AFC_PINS_F = 11e-12, 7.5e-12
_AFC_SWING_V, _AFC_OHM = 5.4, 15e3  # of the AFC away from its middle
_PULLED_V, _PULLED_CARRIER = 1.5, 0.45  # AFC off by so much takes the carrier down its slope
_LEAST_CARRIER = 0.004
_SWITCHING, _BUZZING = 0.1, 0.6  # of the usual swing at the reference circuit
_NOISE_V = 1.9
_BIAS_ENOUGH = 0.6
_PUMPING_F = 0.3e-6  # an AGC store below this lets the gain follow the picture


class Vision:
    """State of the vision half of one board; shares are of a good set's signal."""

    def __init__(self, rules: BoardRules) -> None:
        self._rules = rules
        self.alive = rules.inside_v(IF_V, IF_GND) > SUPPLY_ENOUGH_V
        self.reference = 0.0 if rules.is_dead("reference") else rules.of_good("pin 28", IF_GND)
        if rules.is_dead("reference"):
            rules.hold("pin 28", 0.1, 200.0)
        self._run_tuner()
        self._tune()
        self._settle_gain()
        self._settle_outputs()

    def _run_tuner(self) -> None:
        """The sink at pin 6 and its divider make the tuner's AGC."""
        rules = self._rules
        at_input = sum(
            rules.ways.share("if", pin) * rules.passes(pin) for pin in ("pin 1", "pin 2")
        )
        self.at_input = 0.0 if rules.silent("tuner-if") else at_input / 2
        preset_v = rules.inside_v("pin 5", IF_GND) - rules.good.dc["pin 5"]
        own_v = rules.own_v["pin 6"] - _TAKEOVER_OWN_V * preset_v
        arrives = self.at_input > _LEAST_CARRIER and self.alive
        if not arrives or rules.is_dead("takeover-stage", "if-amplifier") or own_v > 0:
            rules.hold("pin 6", 8.0, 1e7)  # the sink is off
        else:
            rules.hold("pin 6", own_v)
            if rules.settled().dc["inner pin 6"] < 0.2:
                rules.hold("pin 6", 0.2, 300.0)  # it saturates
        agc_v = rules.settled().dc["tuner-agc"] - rules.good.dc["tuner-agc"]
        self.tuner = 2 ** (min(agc_v, _TUNER_MORE_V) / _TUNER_OCTAVE_V)

    def _tune(self) -> None:
        """Reference circuit and AFC circuit, by Thomson's formula against the good ones."""
        rules = self._rules
        self.reference_x = 2 * _REFERENCE_Q * self._off_tune("L101", "C107", _REFERENCE_PINS_F)
        if rules.is_lifted("pin 11", "pin 12"):
            self.reference_x = math.inf
        self.efficiency = 1 / math.hypot(1, self.reference_x)
        afc_x = 2 * _AFC_Q * self._off_tune("L102", "C108", _AFC_PINS_F)
        self.afc_swing = 1 / math.hypot(1, afc_x)
        lean = 2 * afc_x / (1 + afc_x**2) if math.isfinite(afc_x) else 0.0
        lean = 0.0 if rules.is_lifted("pin 9", "pin 10") else lean
        limiting = self.alive and not rules.is_dead("carrier-limiter", "if-amplifier")
        self.limits = limiting and self.at_input * self.tuner > _LEAST_CARRIER
        if self.limits and abs(lean) > 0.02:
            rules.hold("pin 8", rules.own_v["pin 8"] + _AFC_SWING_V * lean, _AFC_OHM)
        afc_v = rules.settled().dc["pin 8"] - rules.good.dc["pin 8"]
        self.is_mistuned = abs(afc_v) > _PULLED_V
        if self.is_mistuned:
            self.at_input *= _PULLED_CARRIER

    def _off_tune(self, coil: str, capacitor: str, pins_f: float) -> float:
        rules = self._rules
        if rules.mode(coil) in ("open", "shorted") or rules.mode(capacitor) == "shorted":
            return math.inf
        good_f = (rules.parts[capacitor].value or 0.0) + pins_f
        more_l = rules.value(coil) / (rules.parts[coil].value or 1.0)
        return math.sqrt(good_f / (rules.value(capacitor) + pins_f) / more_l) - 1

    def _settle_gain(self) -> None:
        rules = self._rules
        amplifies = self.alive and not rules.is_dead("if-amplifier")
        amplifies = amplifies and rules.of_good("pin 3", IF_GND) > _BIAS_ENOUGH
        passes = self.limits and not rules.is_dead("video-demodulator", "video-amplifier")
        # Too little is left across the reference circuit to switch the demodulator.
        passes = passes and self.efficiency > _SWITCHING
        arriving = self.at_input * self.tuner * self.efficiency if amplifies and passes else 0.0
        needed_v = _USUAL_V + _VOLTS_PER_DECADE * math.log10(max(arriving, 1e-6))
        detects = not rules.is_dead("agc-detector") and self.reference > _BIAS_ENOUGH
        if needed_v > _FULL_GAIN_V and detects:
            pin_v = rules.hold_firmly("pin 4", min(needed_v, _MOST_V), _MOST_V + 0.5)
        else:
            pin_v = rules.settled().dc["inner pin 4"]
        gain = 10 ** ((_USUAL_V - max(pin_v, _FULL_GAIN_V)) / _VOLTS_PER_DECADE)
        wanted = arriving * gain
        self.surplus = wanted
        self.video = min(wanted, _OVERLOAD)
        store_f = 0.0 if rules.is_lifted("pin 4") else rules.value("C105", 0.0, math.inf)
        self.pumps = store_f < _PUMPING_F and detects and self.video > 0.1
        if self.pumps:
            self.video *= 0.55 if store_f < 0.1 * _PUMPING_F else 0.85
        noise = gain / 10 ** ((_USUAL_V - _FULL_GAIN_V) / _VOLTS_PER_DECADE)
        emits = amplifies and not rules.is_dead("video-demodulator", "video-amplifier")
        self.noise_v = _NOISE_V * min(noise, 1.0) if emits and self.video < 0.1 else 0.0

    def _settle_outputs(self) -> None:
        rules = self._rules
        own_v = rules.own_v["pin 14"]
        self.unloaded = rules.mode("R112") == "open"
        if rules.is_dead("video-amplifier"):
            rules.hold("pin 14", 0.1)
        elif self.alive and self.video < 0.1:
            rules.hold("pin 14", own_v + 1.0)  # no carrier is white, and more
        elif self.video > 1.1:
            rules.hold("pin 14", own_v - 0.5)
        elif self.unloaded:
            rules.hold("pin 14", own_v + 0.4)  # it only pulls up, and rests near the peaks
        if self.unloaded:
            self.video *= 0.55

    @property
    def buzzes(self) -> bool:
        """Whether the demodulator's phase is so far off that video gets into the sound."""
        return self.video > 0.1 and self.efficiency < _BUZZING

    @property
    def picture(self) -> float:
        """Video at the decoder."""
        share = self._rules.ways.share("video", "video-line")
        # Nothing pulls the follower down: only the peaks are left.
        share *= 0.4 if self._rules.mode("R114") == "open" else 1.0
        return self.video * self._rules.passes("pin 14") * share

    @property
    def is_bent(self) -> bool:
        """Whether the video is crushed, pumped or asymmetric."""
        tuned_off = self.video > 0.1 and self.efficiency < 0.7
        return self.surplus > 1.2 or self.pumps or tuned_off or (self.unloaded and self.video > 0.1)

    def show(self, screen: Screen) -> None:
        """Show the signals of the vision half."""
        rules = self._rules
        comes = 0.0 if rules.silent("tuner-if") else self.tuner
        comes *= _PULLED_CARRIER if self.is_mistuned else 1.0
        screen.show_volts("tuner-if", 0.012 * comes, frequency_hz=CARRIER_HZ)
        for point, volts in (("pre-base", 0.010), ("pre-collector", 0.03), ("saw-in", 0.03)):
            share = comes * min(rules.ways.share("if", point), 2.0)
            screen.show_volts(point, volts * share, frequency_hz=CARRIER_HZ)
        for pin in ("pin 1", "pin 2"):
            screen.show(pin, comes * rules.ways.share("if", pin))
        self._show_tuned(screen)
        words = ("distorted",) if self.is_bent else ()
        # Out of reach of the AGC only noise is left, which looks like no video at all.
        words = ("distorted",) if self.noise_v > 0.1 else words
        pad = rules.passes("pin 14")
        video_v = (self.video * screen.stated_v("pin 14") or self.noise_v) * pad
        screen.show_volts("pin 14", video_v, *words, frequency_hz=15625.0 * min(self.video, 1))
        for point in ("trap-node", "video-line"):
            volts = 0.97 * video_v * min(rules.ways.share("video", point), 1.05)
            cut = point == "video-line" and rules.mode("R114") == "open"
            shown = ("distorted",) if cut and volts > 0.1 else words
            screen.show_volts(point, volts * (0.4 if cut else 1), *shown, frequency_hz=15625.0)
        if self.pumps:
            pumped_v = 0.0 if rules.is_lifted("pin 4") else 0.9
            screen.show_volts("pin 4", pumped_v, "unstable", frequency_hz=50.0)

    def _show_tuned(self, screen: Screen) -> None:
        rules = self._rules
        swings = dict.fromkeys(("pin 11", "pin 12"), self.efficiency)
        swings |= dict.fromkeys(("pin 9", "pin 10"), self.afc_swing)
        for pin, swing in swings.items():
            screen.show(pin, swing * rules.passes(pin) if self.limits else 0.0)
