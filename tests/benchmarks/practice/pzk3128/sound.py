"""The sound half of the PZK3128: limiter, quadrature detector, volume by DC, output stage.

Common practice: limiting from a hundredth of the usual signal, the detector's curve of one tuned
circuit, a volume of 20 dB a volt, loud noise where no carrier quiets the limiter, an output
that clips a volt below its supply and earlier without its bootstrap.
"""

from __future__ import annotations

import math

from practice.board_rules import BoardRules
from practice.screen import Screen

from .electrics import AUDIO_GND, AUDIO_V, FEEDBACK_OHM, IF_GND, SOUND_HZ, TONE_HZ
from .vision import Vision

_LIMITS_FROM = 0.012
_PIN_17_F, _PIN_17_OHM = 8.7e-12, 12e3
_PEAK_SHIFT_V = 1.8
_BENT_FROM = 0.5  # in units of half the bandwidth
_BIAS_ENOUGH = 0.6
_NOISE = 0.5  # of the usual tone: the hiss of a limiter without carrier
_SILENT_V, _LOUDEST_V = 1.0, 4.6
_PREAMPLIFIER_MOST = 9.0
_AUDIO_ENOUGH_V = 6.0
_USUAL_PEAK_V = 2.6
_HEADROOM_V, _FOOTROOM_V, _BOOST_SHARE = 1.2, 0.8, 0.25
_DRIED_F, _MOVED_GROUND_V = 30e-6, 0.3


class Sound:
    """State of the sound half of one board; shares are of a good set's signal."""

    def __init__(self, rules: BoardRules, vision: Vision) -> None:
        self._rules, self._vision = rules, vision
        self._limit()
        self._detect()
        self._control()
        self._drive()

    def _limit(self) -> None:
        rules, vision = self._rules, self._vision
        self.at_filter = min(vision.video, 1.0) * rules.passes("pin 14")
        self.at_filter *= rules.ways.share("intercarrier", "sif-in")
        self.at_input = min(vision.video, 1.0) * rules.passes("pin 14")
        self.at_input *= rules.ways.share("intercarrier", "pin 15")
        biased = rules.of_good("pin 16", IF_GND) > _BIAS_ENOUGH or rules.is_lifted("pin 16")
        self.limits = vision.alive and biased and not rules.is_dead("sound-limiter")
        carrier = min(self.at_input * rules.passes("pin 15") / _LIMITS_FROM, 1.0)
        self.carrier = carrier if self.limits else 0.0
        self.is_noisy = self.limits and self.carrier < 0.3

    def _detect(self) -> None:
        rules = self._rules
        damping = 1 / rules.value("R116", math.inf, 0.1) + 1 / _PIN_17_OHM
        good = 1 / (rules.parts["R116"].value or 1.0) + 1 / _PIN_17_OHM
        quality = 1 / damping / (2 * math.pi * SOUND_HZ * (rules.parts["L103"].value or 1.0))
        more_l = rules.value("L103") / (rules.parts["L103"].value or 1.0)
        good_f = (rules.parts["C112"].value or 0.0) + _PIN_17_F
        tank_f = rules.value("C112") + _PIN_17_F
        has_tank = rules.mode("L103") not in ("open", "shorted") and rules.mode("C112") != "shorted"
        has_tank = has_tank and not rules.is_lifted("pin 17")
        x = 2 * quality * (math.sqrt(good_f / tank_f / more_l) - 1) if has_tank else math.inf
        works = self.limits and not rules.is_dead("fm-detector")
        slope = good / damping / (1 + x * x) if works and has_tank else 0.0
        driven = self.limits and has_tank
        self.at_coil = min(good / damping, 2.0) / math.hypot(1, x) if driven else 0.0
        curved = abs(x) > _BENT_FROM or damping < 0.6 * good or self._vision.buzzes
        self.is_bent = slope > 0.02 and curved
        shunt = min(rules.ways.share("de-emphasis", "pin 18"), 1.1)
        self.noise = _NOISE * min(slope, 1.8) * shunt if self.is_noisy else 0.0
        self.audio = min(slope, 1.8) * (0.0 if self.is_noisy else self.carrier) * shunt
        if works and has_tank and abs(x) > 0.1:
            rules.hold("pin 18", rules.own_v["pin 18"] + _PEAK_SHIFT_V * x / (1 + x * x))

    def _control(self) -> None:
        rules, vision = self._rules, self._vision
        settled = rules.settled()
        control_v = settled.dc["inner pin 19"] - settled.dc[IF_GND]
        usual_v = rules.good.dc["pin 19"]
        gain = 10 ** (min(control_v, _LOUDEST_V) - usual_v) if control_v > _SILENT_V else 0.0
        detected = settled.dc["inner pin 18"] - settled.dc[IF_GND]
        biased = detected > _BIAS_ENOUGH * rules.own_v["pin 18"]
        works = vision.alive and biased and not rules.is_dead("volume-control")
        gain = gain if works else 0.0
        self.before_volts = min(gain * self.audio, _PREAMPLIFIER_MOST)
        self.noise_out = min(gain * self.noise, _PREAMPLIFIER_MOST)
        self.overdriven = gain * self.audio > _PREAMPLIFIER_MOST

    def _drive(self) -> None:
        """The output stage: gain by its feedback, swing by its supply and bootstrap."""
        rules = self._rules
        self.at_amplifier = rules.ways.share("audio", "pin 21") * rules.passes("pin 20")
        foot_ohm = rules.value("R121", math.inf, 0.1)
        foot_f = rules.value("C117", 1e-12, 1.0)
        good = abs(1 + FEEDBACK_OHM / complex(120.0, -1 / (2 * math.pi * TONE_HZ * 47e-6)))
        foot = complex(foot_ohm, -1 / (2 * math.pi * TONE_HZ * foot_f))
        gain = abs(1 + FEEDBACK_OHM / foot) / good if not rules.is_lifted("pin 22") else 1 / good
        settled = rules.settled()
        supply_v = settled.dc[f"inner {AUDIO_V}"] - settled.dc[AUDIO_GND]
        rest_v = settled.dc["inner pin 24"] - settled.dc[AUDIO_GND]
        boot_v = settled.dc["inner pin 23"] - settled.dc[AUDIO_GND]
        pulled_up = boot_v > rest_v + 1
        works = supply_v > _AUDIO_ENOUGH_V and not rules.is_dead("power-amplifier")
        if supply_v > _AUDIO_ENOUGH_V and not pulled_up and rules.mode("C118") != "shorted":
            rules.hold("pin 24", 0.7, 2.0)  # nothing pulls the output up
            works = False
        if rules.is_dead("power-amplifier"):
            rules.hold("pin 24", 0.4, 2.0)
        self._swing(self.at_amplifier * gain if works else 0.0, supply_v, rest_v, boot_v)
        unstable = rules.mode("C120") == "open" or rules.mode("R123") == "open"
        self.whistles = unstable and works
        # A weak supply, or a ground that the loudspeaker's current moves.
        moved = settled.dc[AUDIO_GND] > _MOVED_GROUND_V
        self.hums = (rules.value("C122") < _DRIED_F or moved) and works and self.peak > 0.1

    def _swing(self, gain: float, supply_v: float, rest_v: float, boot_v: float) -> None:
        rules = self._rules
        bootstrapped = rules.value("C118", 0.0) > 5e-6 and not rules.is_lifted("pin 23")
        upper_v = supply_v - _HEADROOM_V - rest_v
        if not bootstrapped:
            upper_v = _BOOST_SHARE * (supply_v - rest_v)
        if boot_v < rest_v + 1:
            upper_v = 0.05
        lower_v = rest_v - _FOOTROOM_V
        wanted_v = _USUAL_PEAK_V * gain * self.before_volts
        up_v, down_v = (min(wanted_v, max(limit_v, 0.0)) for limit_v in (upper_v, lower_v))
        self.peak = (up_v + down_v) / 2 / _USUAL_PEAK_V
        self.noise_peak = min(gain * self.noise_out, 1.0)
        self.clips = wanted_v > min(upper_v, lower_v) * 1.05 and wanted_v > 0.05

    @property
    def loudness(self) -> float:
        """The tone at the loudspeaker."""
        reaching = min(self._rules.ways.share("power", "speaker"), 1.05)
        return self.peak * self._rules.passes("pin 24") * reaching

    @property
    def sounds_bent(self) -> bool:
        """Whether the tone is rough to the ear."""
        rough = self.is_bent or self.clips or self.whistles or self.hums
        return (rough or self.overdriven) and self.loudness > 0.05

    @property
    def drawn(self) -> float:
        """Share of the supply current that the tone of a good set takes."""
        reaching = min(self._rules.ways.share("power", "speaker"), 1.5)
        whistling = 0.6 if self.whistles else 0.0
        return max(self.peak, self.noise_peak) * reaching + whistling

    def show(self, screen: Screen) -> None:
        """Show the signals of the sound half."""
        rules = self._rules
        screen.show_volts("sif-in", 0.08 * self.at_filter, frequency_hz=SOUND_HZ)
        screen.show("pin 15", self.at_input)
        at_coil = self.at_coil * (0.8 if self.is_noisy else 1.0)
        screen.show("pin 17", at_coil, *(("distorted",) if self.is_noisy and at_coil else ()))
        self._show_tone(screen, "pin 18", self.audio, self.noise, bent=self.is_bent)
        out = self.is_bent or self.overdriven
        pad = rules.passes("pin 20")
        self._show_tone(screen, "pin 20", self.before_volts * pad, self.noise_out * pad, bent=out)
        share = min(self.at_amplifier, 1.05)
        noise, tone = self.noise_out * share, self.before_volts * share
        self._show_tone(screen, "pin 21", tone, noise, bent=out)
        follows = 0.0 if self.peak < 0.01 else tone
        self._show_tone(screen, "pin 22", follows * rules.passes("pin 22"), noise, bent=out)
        feed_v = 0.32 * self.before_volts * rules.passes("pin 20")
        feed_v *= min(rules.ways.share("audio", "af-feed"), 1.1)
        screen.show_volts("af-feed", feed_v, frequency_hz=TONE_HZ)
        rough = self.sounds_bent
        pad, boot = rules.passes("pin 24"), min(rules.ways.share("power", "pin 23"), 1.05)
        self._show_tone(screen, "pin 24", self.peak * pad, self.noise_peak * pad, bent=rough)
        at_boot = self.peak * pad * boot
        self._show_tone(screen, "pin 23", at_boot, self.noise_peak * pad * boot, bent=rough)
        noise = self.noise_peak * pad * min(rules.ways.share("power", "speaker"), 1.05)
        self._show_tone(screen, "speaker", self.loudness, noise, bent=rough)
        if self.hums:
            screen.show_ripple("pin 25", 0.5)

    @staticmethod
    def _show_tone(screen: Screen, point: str, tone: float, noise: float, *, bent: bool) -> None:
        if noise > tone:
            screen.show_volts(point, noise * screen.stated_v(point), "distorted")
            return
        screen.show(point, tone, *(("distorted",) if bent and tone > 0.02 else ()))
