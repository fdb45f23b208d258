"""The line half of the HVQ2460: sync, oscillator with flywheel, drive, coincidence.

Common practice: a phase detector of 60 µA that reaches as far as its pin gets, a line
output stage that follows from 13 to 19 kHz, no flyback and no 24 V rail without it.
"""

from __future__ import annotations

import random

from practice.board_rules import BoardRules
from practice.screen import Screen

from .electrics import (
    GROUND,
    LINE_HZ,
    SWITCHED_OFF_OHM,
    SWITCHED_ON_OHM,
    TIMING_V,
)
from .timing import LINE

SUPPLY_ENOUGH_V = 9.0
_REST_V, _LOW_V, _HIGH_V = 4.15, 2.0, 6.3
_PROBED_V = (3.4, 4.9)
_PRESET = 0.002
_LEAST_SYNC, _LEAST_SAW, _MUCH_SAW = 0.25, 0.3, 2.0
_SLICED = (0.85, 1.15)  # of the usual volts, within which the separator slices the sync
_BIAS_ENOUGH, _MUTE_V = 0.6, 5.0
_FOLLOWED_HZ = (13.0e3, 19.0e3)
_DRIVE_OFF = 28 / 64
_SATURATED_V = 0.1
_COLLECTOR_MEAN_V, _DRIVER_V = 39.0, 40.5
_COINCIDENCE_V = 4.0
_CLAMP_V, _FLYBACK_V, _FBP_OHM = 7.8, 50.0, 22e3


class Line:
    """State of the line half of one board; shares are of a good set's signal."""

    def __init__(self, rules: BoardRules) -> None:
        self._rules = rules
        self.alive = rules.inside_v(TIMING_V, GROUND) > SUPPLY_ENOUGH_V
        if rules.is_dead("reference"):
            rules.hold("pin 22", 0.2, 100.0)
        dc = rules.settled().dc
        self.reference_v = dc["inner pin 22"] - dc[GROUND]
        self._separate_sync()
        self._run_oscillator()
        self._drive()
        self._lock()
        self._find_coincidence()

    def _separate_sync(self) -> None:
        rules = self._rules
        arrives = rules.ways.share("video", "pin 3") > 0.3 and not rules.is_lifted("pin 3")
        arrives = arrives and not rules.silent("video-line")
        low, high = _SLICED
        biased = low < rules.of_good("pin 3", GROUND) < high
        self.separates = self.alive and not rules.is_dead("sync-separator")
        self.sync = 1.0 if arrives and biased and self.separates else 0.0
        # A coupling capacitor that lost its farads tilts the field: its long pulses are sliced off.
        tilt = rules.ways.share("field video", "pin 3")
        out = rules.passes("pin 4") * self.sync
        self.line_sync = out * rules.ways.share("line sync", "pin 2") * rules.passes("pin 2")
        self.field_sync = out * min(1.0, 1.3 * tilt)
        self.field_sync *= rules.ways.share("field sync", "pin 5") * rules.passes("pin 5")
        if self.separates and not self.sync:
            rules.hold("pin 4", 0.3)
        if rules.is_dead("sync-separator"):
            rules.hold("pin 4", 0.2)

    def _run_oscillator(self) -> None:
        rules = self._rules
        works = self.alive and not rules.is_dead("line-oscillator")
        farad = rules.value(LINE.capacitor, 0.0, 1.0)
        self._free_hz = [
            LINE.find_hertz(rules.settled(), farad, self.reference_v, {"pin 15": volts})
            if works
            else 0.0
            for volts in _PROBED_V
        ]
        # The preset was set on the good board of the same parts.
        good_v = rules.good.dc["pin 22"]
        good_hz = LINE.find_hertz(rules.good, LINE.nominal_f, good_v, {"pin 15": _REST_V})
        self._scale = LINE_HZ / good_hz * (1 + random.Random(rules.seed).gauss(0, _PRESET))
        self.runs = min(self._free_hz) > 0

    def _hertz_at(self, volts: float) -> float:
        low_v, high_v = _PROBED_V
        low_hz, high_hz = (hertz * self._scale for hertz in self._free_hz)
        return low_hz + (volts - low_v) * (high_hz - low_hz) / (high_v - low_v)

    def _lock(self) -> None:
        """Find the volts that lock it, and whether the detector's current gets there."""
        rules = self._rules
        saw = rules.ways.share("saw", "pin 16") * rules.passes("pin 16") if self.flyback else 0.0
        self.saw = saw
        compares = self.line_sync > _LEAST_SYNC and saw > _LEAST_SAW and self.runs
        compares = compares and self.reference_v > 5 and not rules.is_dead("line-phase-detector")
        biased = rules.of_good("pin 2", GROUND) > _BIAS_ENOUGH or rules.is_lifted("pin 2")
        compares = compares and biased and not rules.is_lifted("pin 15")
        reach_v = [rules.settled({"pin 15": own}).dc["pin 15"] for own in (-2.0, 12.0)]
        low_v, high_v = max(reach_v[0], _LOW_V), min(reach_v[1], _HIGH_V)
        slope = (self._hertz_at(5.0) - self._hertz_at(4.0)) if self.runs else 0.0
        wanted_v = 4.0 + (LINE_HZ - self._hertz_at(4.0)) / slope if slope > 1 else 99.0
        self.locked = bool(compares) and low_v <= wanted_v <= high_v
        self.drags = bool(compares) and not self.locked
        self.is_loose = rules.mode("R406") == "open" or rules.value("C407", 0.0, 1.0) < 0.5e-6
        self.is_loose = self.is_loose or saw > _MUCH_SAW
        if self.locked:
            rules.hold("pin 15", wanted_v, 100.0)
            self.hertz = LINE_HZ
        elif self.drags:  # it pulls as far as it gets
            rules.hold("pin 15", 12.0 if wanted_v > high_v else -2.0)
            pulled_v = min(max(rules.settled().dc["pin 15"], _LOW_V), _HIGH_V)
            rules.hold("pin 15", pulled_v, 2e3)
            self.hertz = self._hertz_at(pulled_v)
        else:
            self.hertz = self._hertz_at(rules.settled().dc["pin 15"]) if self.runs else 0.0
        if not self.runs:
            rules.hold("pin 14", 0.3, 1e6)

    def _drive(self) -> None:
        """The drive output switches; the meter shows the mean of its two states."""
        rules = self._rules
        rest_v = rules.settled().dc["pin 15"]
        hertz = self._hertz_at(rest_v) if self.runs else 0.0
        low, high = _FOLLOWED_HZ
        self.driving = self.runs and not rules.is_dead("line-drive")
        off = rules.board.with_stages({"pin 20": 12.0}, {"pin 20": SWITCHED_OFF_OHM}).dc
        on = rules.board.with_stages({"pin 20": _SATURATED_V}, {"pin 20": SWITCHED_ON_OHM}).dc
        on = off if rules.is_lifted("pin 20") else on
        points = ("pin 20", "line-driver-base")
        self.drive_v = {point: off[point] - on[point] for point in points}
        switches = 0.55 < off["line-driver-base"] < 1.1 and on["line-driver-base"] < 0.5
        pulls = rules.mode("Q401") == "good" and off["line-driver-collector"] < 4
        fed = on["driver-supply"] > 20 and rules.mode("T401") == "good"
        self.line_output = self.driving and low < hertz < high and switches and pulls and fed
        self.flyback = self.line_output and not rules.silent("flyback-winding")
        if self.driving:
            rules.meter_v |= {p: on[p] + _DRIVE_OFF * (off[p] - on[p]) for p in points}
            at_rest = off if switches and not pulls else on
            collector_v = at_rest["line-driver-collector"]
            rules.meter_v["line-driver-collector"] = (
                _COLLECTOR_MEAN_V if self.line_output else collector_v
            )
            supply_v = at_rest["driver-supply"]
            rules.meter_v["driver-supply"] = _DRIVER_V if self.line_output else supply_v
        elif rules.is_dead("line-drive"):
            rules.hold("pin 20", _SATURATED_V, SWITCHED_ON_OHM)
        else:
            rules.hold("pin 20", 12.0, SWITCHED_OFF_OHM)

    @property
    def pulse_v(self) -> float:
        """Flyback at pin 17, clamped inside."""
        rules = self._rules
        if not self.flyback:
            return 0.0
        if rules.is_lifted("pin 17"):
            return _FLYBACK_V
        share = _FBP_OHM / (_FBP_OHM + rules.value("R408", 1e12, 0.1))
        return min(_FLYBACK_V * share, _CLAMP_V)

    def _find_coincidence(self) -> None:
        rules = self._rules
        keyed = self.pulse_v > 3.0 and not rules.is_lifted("pin 17")
        meets = self.locked and self.sync > 0 and keyed
        meets = meets and not rules.is_dead("coincidence-detector")
        rules.hold("pin 18", rules.own_v["pin 18"] if meets else 1.15)
        rules.hold("pin 17", rules.own_v["pin 17"] if self.pulse_v > 3 else 0.05)
        held_v = rules.settled().dc["inner pin 18"]
        self.muted = held_v < _COINCIDENCE_V and not rules.is_dead("mute-switch")
        if self.muted and self.alive:
            rules.hold("pin 23", 0.1, 200.0)
        self.muted = self.muted or rules.settled().dc["pin 23"] < _MUTE_V  # nothing pulls it up

    def show(self, screen: Screen) -> None:
        """Show the signals of the line half."""
        rules, hertz = self._rules, self.hertz
        screen.show("video-line", 0.0 if rules.silent("video-line") else 1.0)
        comes = 0.0 if rules.silent("video-line") else 1.0
        at_pin_3 = min(rules.ways.share("video", "pin 3"), 1.05) * comes
        screen.show("pin 3", at_pin_3)
        screen.show_volts(
            "sync-feed", 1.9 * comes * rules.ways.share("video", "sync-feed"), frequency_hz=LINE_HZ
        )
        screen.show("pin 4", self.sync * rules.passes("pin 4"))
        sync_v = 3.2 * self.sync * rules.passes("pin 4") * rules.ways.share("line sync", "pin 2")
        screen.show_volts("pin 2", sync_v, frequency_hz=LINE_HZ)
        jumps = ("unstable",) if hertz > _FOLLOWED_HZ[1] * 2 else ()
        running = 1.0 if self.runs and not rules.is_lifted("pin 14") else 0.0
        screen.show("pin 14", running, *jumps, frequency_hz=hertz)
        ripple_v = 0.7 if self.locked and self.is_loose else 0.5 if self.drags else 0.06
        words = ("unstable",) if ripple_v > 0.1 else ()
        if self.locked or self.drags:
            screen.show_volts(
                "pin 15", ripple_v, *words, frequency_hz=LINE_HZ if self.locked else 0
            )
        saw = rules.ways.share("saw", "pin 16") if self.flyback else 0.0
        words = ("distorted",) if saw > _MUCH_SAW else ()  # pulses in place of a sawtooth
        screen.show("pin 16", min(saw, 3.0), *words, frequency_hz=hertz)
        saw_v = 1.9 * rules.ways.share("saw", "saw-node") if self.flyback else 0.0
        screen.show_volts("saw-node", min(saw_v, _FLYBACK_V), frequency_hz=hertz)
        screen.show_volts(
            "flyback-winding", _FLYBACK_V if self.flyback else 0.0, frequency_hz=hertz
        )
        screen.show_volts("pin 17", self.pulse_v, frequency_hz=hertz)
        keyed = self.runs and not rules.is_dead("burst-key-generator") and self.alive
        screen.show("pin 19", rules.passes("pin 19") if keyed else 0.0, frequency_hz=hertz)
        for point in ("pin 20", "line-driver-base"):
            volts = self.drive_v[point] if self.driving else 0.0
            screen.show_volts(point, volts, *jumps, frequency_hz=hertz)
        screen.show("line-driver-collector", 1.0 if self.line_output else 0.0, frequency_hz=hertz)
