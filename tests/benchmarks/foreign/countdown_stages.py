"""The state of a WBT2028 board on colour bars: field half, signals and symptoms.

Common practice: the countdown runs a little slow when no field sync resets it, the ramp's current
mirrors that of pin 16, the drive runs to its end without feedback.
"""

from __future__ import annotations

from boards.bench import Shown
from boards.faults import Fault
from practice.board_rules import BoardRules
from practice.screen import Screen

from foreign.countdown_electrics import (
    CHIP,
    DRIVE,
    ELECTRICS,
    FIELD_HZ,
    GROUND,
    LINE_HZ,
    PART,
    RESONATOR_HZ,
    RUNS,
    TRUE_V,
)
from foreign.countdown_line import LinePart

__all__ = ["CHIP", "simulate"]

_SLOW_LINES = 328.0  # the countdown's longest field, in lines
_RAMP_F, _RAMP_OHM, _RAMP_MEAN_V = 100e-9, 68e3 + 23.5e3, 2.9
_RESET_V, _CHARGED_V, _IDLE_OHM, _MOST = 1.4, 10.5, 5e5, 1.6
_GONE, _LITTLE, _TALL = 0.05, 0.88, 1.12
_DRIED_F = 25e-6


class FieldPart:
    """State of the field half of one board; shares are of a good set's signal."""

    def __init__(self, rules: BoardRules, line: LinePart) -> None:
        self._rules, self._line = rules, line
        counts = line.main and line.hertz > 0 and not rules.is_dead("countdown")
        self.is_held = bool(counts and line.field_sync and line.locked)
        free_hz = line.hertz / _SLOW_LINES if counts else 0.0
        self.hertz = FIELD_HZ if self.is_held else free_hz
        self._make_ramp()
        self._drive()

    def _make_ramp(self) -> None:
        rules = self._rules
        self.ramp = 0.0
        if not self.hertz or rules.is_dead("ramp-generator"):
            charged = self._line.main and not rules.is_dead("ramp-generator")
            rules.hold("pin 15", _CHARGED_V if charged else 0.0, _IDLE_OHM)
            return
        if rules.is_lifted("pin 15"):
            return
        ohms = rules.value("R613", 1e12, 0.1) + self._preset_ohm()
        set_v = rules.settled().dc["inner pin 16"] if not rules.is_lifted("pin 16") else 0.0
        set_a = set_v / ohms
        good_a = rules.good.dc["pin 16"] / _RAMP_OHM
        leak_a = _RAMP_MEAN_V / rules.leak_ohm("C613")
        farad = rules.value("C613", 1e-12, 1.0)
        rate = max(set_a - leak_a, 0.0) / good_a * _RAMP_F / farad
        self.ramp = min(rate * FIELD_HZ / self.hertz, 2.5)
        own_v = rules.own_v["pin 15"]
        rules.hold("pin 15", _RESET_V + (own_v - _RESET_V) * self.ramp)

    def _preset_ohm(self) -> float:
        return 1e12 if self._rules.mode("P602") == "open" else 23.5e3

    def _drive(self) -> None:
        rules = self._rules
        driving = self.ramp > 0 and not rules.is_dead("vertical-drive")
        returned = min(rules.ways.share("yoke", "pin 18"), 1.05) * rules.passes("pin 18")
        sensed = not rules.silent("yoke-sense")
        reaches = min(rules.ways.share("to the output", "vertical-output-stage"), 1.05)
        reaches *= rules.passes("pin 17")
        height = min(self.ramp, _MOST) if driving else 0.0
        feeds_back = returned > 0.3 and sensed and reaches > 0.3
        self.yoke = height if feeds_back else 0.0
        self.clips = self.ramp > _MOST
        self.runs_away = bool(height) and not feeds_back
        # More drive where the way to the output stage attenuates: the loop makes up for it.
        self.output = min(height / max(reaches, 0.3), 2.0) if feeds_back else 0.1 * height
        feedback_v = rules.settled().dc["pin 18"] - rules.settled().dc[GROUND]
        if self.runs_away:
            rules.hold("pin 17", 0.4 if feedback_v < 1.6 else 9.0)
        if rules.is_dead("vertical-drive"):
            rules.hold("pin 17", 0.1)


def simulate(seed: int, fault: Fault) -> Shown:
    """Return the state of a board with this fault; the seed chooses its parts' deviations."""
    rules = BoardRules(ELECTRICS, DRIVE, RUNS, seed, fault)
    line = LinePart(rules)
    field = FieldPart(rules, line)
    screen = Screen(PART, seed, TRUE_V)
    _show_line(rules, line, screen)
    _show_field(rules, line, field, screen)
    if rules.value("C615", 0.0, 1.0) < _DRIED_F:
        screen.show_ripple("pin 19", 0.4)
    return screen.finish(rules.settled(), find_symptoms(rules, line, field), rules.meter_v)


def _show_line(rules: BoardRules, line: LinePart, screen: Screen) -> None:
    hertz, comes = line.hertz, 0.0 if rules.silent("video-line") else 1.0
    screen.show("video-line", comes)
    screen.show("pin 1", comes * min(rules.ways.share("video", "pin 1"), 1.05))
    feed_v = 1.9 * comes * rules.ways.share("video", "sync-feed")
    screen.show_volts("sync-feed", feed_v, frequency_hz=LINE_HZ)
    jumps = ("unstable",) if line.jumps and line.alive else ()
    swing = (0.5 if line.jumps else 1.0) if hertz else 0.0
    screen.show("pin 7", swing, *jumps, frequency_hz=hertz / LINE_HZ * RESONATOR_HZ)
    foot_v = 0.12 * swing * (not line.jumps)
    screen.show_volts("resonator-foot", foot_v, frequency_hz=hertz / LINE_HZ * RESONATOR_HZ)
    ripple_v = 0.6 if line.locked and line.is_loose else 0.4 if line.drags else 0.03
    words = ("unstable",) if ripple_v > 0.1 else ()
    screen.show_volts("pin 8", ripple_v if line.sync else 0.0, *words, frequency_hz=LINE_HZ)
    screen.show_volts("flyback-winding", 60.0 * line.flyback, frequency_hz=hertz)
    screen.show_volts("pin 11", line.pulse_v, frequency_hz=hertz)
    castle = line.main and hertz and not rules.is_dead("sandcastle-generator")
    words = ("distorted",) if castle and not line.keyed else jumps  # no line blanking step
    screen.show("pin 12", rules.passes("pin 12") if castle else 0.0, *words, frequency_hz=hertz)
    for point, volts in line.drive_v.items():
        screen.show_volts(point, volts, *(jumps if volts else ()), frequency_hz=hertz)
    swing = 1.0 if line.line_output else 0.0
    screen.show("line-driver-collector", swing, frequency_hz=hertz)


def _show_field(rules: BoardRules, line: LinePart, field: FieldPart, screen: Screen) -> None:
    hertz = field.hertz
    screen.show("pin 15", field.ramp, frequency_hz=hertz)
    words = ("distorted",) if field.runs_away or field.clips else ()
    at_pad = field.output * rules.passes("pin 17")
    screen.show("pin 17", at_pad, *(words if at_pad > 0.03 else ()), frequency_hz=hertz)
    reaches = min(rules.ways.share("to the output", "vertical-output-stage"), 1.05)
    stage_v = 1.15 * at_pad * reaches
    screen.show_volts("vertical-output-stage", stage_v, frequency_hz=hertz)
    screen.show("yoke-sense", field.yoke, frequency_hz=hertz)
    returned = field.yoke * min(rules.ways.share("yoke", "pin 18"), 1.05)
    screen.show("pin 18", returned, frequency_hz=hertz)


def find_symptoms(rules: BoardRules, line: LinePart, field: FieldPart) -> list[tuple[str, ...]]:
    """Return the symptoms of the set, the worst first."""
    if not line.line_output:
        return [("no line drive",)]
    if not line.main:  # high voltage, and nothing behind the 12 V works
        return [("no picture no sound", "no picture")]
    if field.yoke < _GONE:
        return [("no vertical deflection",)]
    shown: list[tuple[str, ...]] = []
    if not line.locked:
        both = not field.is_held and not line.sync
        shown.append(("picture tears and rolls", "picture tears") if both else ("picture tears",))
    elif line.is_loose or line.is_displaced or rules.value("C615", 0.0, 1.0) < _DRIED_F:
        shown.append(("ragged lines",))
    if line.locked and not field.is_held:
        shown.append(("picture rolls",))
    if not line.locked:  # nobody judges the height of a torn picture
        return shown
    if field.clips:
        shown.append(("field fold-over",))
    elif field.yoke < _LITTLE:
        shown.append(("little height",))
    elif field.yoke > _TALL:
        shown.append(("too much height",))
    if line.muted and line.locked:
        shown.append(("no sound",))
    return shown
