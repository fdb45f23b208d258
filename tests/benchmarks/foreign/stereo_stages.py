"""The state of a DLT2426 board: two channels, and the symptoms of the set.

Common practice: volume of 20 dB a volt, balance that turns one side down to nothing at its end, a
treble corner that moves with DC, output stages that clip a volt from their rails and whistle
without their damping.
"""

from __future__ import annotations

import math

from boards.bench import Shown
from boards.faults import Fault
from practice.board_rules import BoardRules
from practice.screen import Screen

from foreign.stereo_electrics import (
    CHANNELS,
    CHIP,
    DRIVE,
    ELECTRICS,
    FEEDBACK_OHM,
    LEFT,
    PART,
    POWER_GND,
    POWER_V,
    RUNS,
    SIGNAL_GND,
    SIGNAL_V,
    TONE_HZ,
    TRUE_V,
    Channel,
    draw_sound,
)

__all__ = ["CHIP", "simulate"]

_SIGNAL_ENOUGH_V, _POWER_ENOUGH_V, _BIAS_ENOUGH = 8.5, 8.0, 0.6
_MUTED_V, _AWAKE_V, _HALF_ENOUGH = 2.0, 2.5, 0.12
_SILENT_V, _LOUDEST_V, _MOST_GAIN = 0.8, 4.4, 8.0
_BALANCE_V = 2.0
_PEAK_V, _HEADROOM_V, _FOOTROOM_V = 2.75, 1.4, 0.9
_MOVED_GROUND_V, _DRIED_F = 0.3, 60e-6
_GONE, _WEAK = 0.08, 0.5
_FOOT_OHM, _FOOT_F = 68.0, 100e-6


class ChannelState:
    """State of one channel of one board; shares are of a good set's signal."""

    def __init__(self, rules: BoardRules, channel: Channel) -> None:
        self._rules, self._channel = rules, channel
        self._control()
        self._drive()

    def _control(self) -> None:
        rules, channel = self._rules, self._channel
        in_run = f"{channel.side} in"
        self.at_input = min(rules.ways.share(in_run, channel.input), 1.05)
        self.at_input *= 0.0 if rules.silent(f"{channel.side}-line") else 1.0
        alive = rules.inside_v(SIGNAL_V, SIGNAL_GND) > _SIGNAL_ENOUGH_V
        biased = rules.of_good(channel.before, SIGNAL_GND) > _BIAS_ENOUGH
        input_bias = rules.of_good(channel.input, SIGNAL_GND)
        treble_bias = rules.of_good(channel.treble, SIGNAL_GND)
        alive = alive and biased and min(input_bias, treble_bias) > _BIAS_ENOUGH
        works = alive and not rules.is_dead(f"{channel.side}-control", f"{channel.side}-mute")
        muted = rules.inside_v("pin 9", SIGNAL_GND) > _MUTED_V
        gain = self._volume() * self._balance() if works and not muted else 0.0
        treble = min(rules.ways.share(f"{channel.side} treble", channel.treble), 1.15)
        arriving = self.at_input * rules.passes(channel.input)
        self.overdriven = gain * arriving > _MOST_GAIN
        self.before = min(gain * treble * arriving, _MOST_GAIN)
        if not alive or rules.is_dead(f"{channel.side}-control"):
            rules.hold(channel.before, 0.3)

    def _volume(self) -> float:
        rules = self._rules
        control_v = rules.inside_v("pin 3", SIGNAL_GND)
        if control_v < _SILENT_V:
            return 0.0
        return 10 ** (min(control_v, _LOUDEST_V) - rules.good.dc["pin 3"])

    def _balance(self) -> float:
        """More volts turn the left side down, fewer the right one."""
        rules = self._rules
        lean_v = rules.inside_v("pin 4", SIGNAL_GND) - rules.good.dc["pin 4"]
        lean_v = lean_v if self._channel is LEFT else -lean_v
        return max(0.0, min(1.0 - lean_v / _BALANCE_V, 1.25))

    def _drive(self) -> None:
        rules, channel = self._rules, self._channel
        between = f"{channel.side} between"
        self.at_power = rules.ways.share(between, channel.power_input)
        self.at_power *= rules.passes(channel.before)
        foot_ohm = rules.value(channel.resistor(3), math.inf, 0.1)
        foot_f = rules.value(channel.capacitor(3), 1e-12, 1.0)
        good = abs(1 + FEEDBACK_OHM / _foot(_FOOT_OHM, _FOOT_F))
        gain = abs(1 + FEEDBACK_OHM / _foot(foot_ohm, foot_f)) / good
        if rules.is_lifted(channel.feedback):
            gain = 1 / good
        supply_v = rules.inside_v(POWER_V, POWER_GND)
        awake = rules.inside_v("pin 23", POWER_GND) > _AWAKE_V
        # With its half supply on the ground the input stage is cut off.
        halved = rules.of_good("pin 22", POWER_GND) > _HALF_ENOUGH
        works = supply_v > _POWER_ENOUGH_V and awake and halved
        if not works or rules.is_dead(f"{channel.side}-output"):
            rules.hold(channel.output, 0.2 if works else 0.0, 3.0 if works else 5e3)
            works = False
        rest_v = rules.settled().dc[f"inner {channel.output}"] - rules.board.dc[POWER_GND]
        reaching = self.before * self.at_power * rules.passes(channel.power_input)
        wanted_v = _PEAK_V * gain * reaching if works else 0.0
        upper_v, lower_v = supply_v - _HEADROOM_V - rest_v, rest_v - _FOOTROOM_V
        halves_v = [min(wanted_v, max(limit_v, 0.0)) for limit_v in (upper_v, lower_v)]
        self.peak = sum(halves_v) / 2 / _PEAK_V
        clips = wanted_v > 1.05 * min(upper_v, lower_v) and wanted_v > 0.1
        undamped = rules.mode(channel.resistor(4)) == "open"
        undamped = undamped or rules.mode(channel.capacitor(5)) == "open"
        self.whistles = works and undamped
        dried = rules.value("C727", 0.0, 1.0) < _DRIED_F
        moved = rules.board.dc[POWER_GND] > _MOVED_GROUND_V
        self.is_rough = clips or self.whistles or dried or moved or self.overdriven

    @property
    def loudness(self) -> float:
        """The tone at the loudspeaker."""
        rules, channel = self._rules, self._channel
        share = min(rules.ways.share(f"{channel.side} out", f"{channel.side}-speaker"), 1.05)
        return self.peak * rules.passes(channel.output) * share

    @property
    def sounds_bent(self) -> bool:
        """Whether the tone is rough to the ear."""
        return self.is_rough and self.loudness > _GONE

    def show(self, screen: Screen) -> None:
        """Show the signals of this channel."""
        rules, channel = self._rules, self._channel
        comes = 0.0 if rules.silent(f"{channel.side}-line") else 1.0
        screen.show(f"{channel.side}-line", comes)
        in_share = rules.ways.share(f"{channel.side} in", f"{channel.side}-feed")
        screen.show_volts(f"{channel.side}-feed", 1.26 * comes * in_share, frequency_hz=TONE_HZ)
        screen.show(channel.input, self.at_input)
        early = ("distorted",) if self.overdriven else ()
        screen.show(channel.before, self.before * rules.passes(channel.before), *early)
        at_power = self.before * min(self.at_power, 1.05)
        between = rules.ways.share(f"{channel.side} between", f"{channel.side}-coupling")
        coupling_v = 0.47 * self.before * rules.passes(channel.before) * min(between, 1.05)
        screen.show_volts(f"{channel.side}-coupling", coupling_v, frequency_hz=TONE_HZ)
        screen.show(channel.power_input, at_power, *(early if at_power > 0.05 else ()))
        # The stage makes its feedback follow its input.
        followed = at_power * rules.passes(channel.power_input, channel.feedback)
        screen.show(channel.feedback, followed if self.peak > 0.005 else 0.0)
        rough = ("distorted",) if self.is_rough and self.peak > 0.03 else ()
        screen.show(channel.output, self.peak * rules.passes(channel.output), *rough)
        loud = self.loudness
        screen.show(f"{channel.side}-speaker", loud, *(rough if loud > 0.03 else ()))


def _foot(ohms: float, farad: float) -> complex:
    return complex(ohms, -1 / (2 * math.pi * TONE_HZ * farad))


def simulate(seed: int, fault: Fault) -> Shown:
    """Return the state of a board with this fault; the seed chooses its parts' deviations."""
    rules = BoardRules(ELECTRICS, DRIVE, RUNS, seed, fault)
    rules.good = rules.good.with_stages(more_lines=draw_sound(1.0))
    rules.board = rules.board.with_stages(more_lines=draw_sound(1.0))
    if rules.is_dead("reference"):
        rules.hold("pin 8", 0.2, 300.0)
        rules.board = rules.settled()
    channels = [ChannelState(rules, channel) for channel in CHANNELS]
    screen = Screen(PART, seed, TRUE_V)
    for channel in channels:
        channel.show(screen)
    if rules.value("C727", 0.0, 1.0) < _DRIED_F:
        screen.show_ripple("pin 17", 0.8)
    drawn = sum(channel.peak + 0.5 * channel.whistles for channel in channels) / len(channels)
    board = rules.settled().with_stages(more_lines=draw_sound(drawn))
    return screen.finish(board, find_symptoms(channels), {})


def find_symptoms(channels: list[ChannelState]) -> list[tuple[str, ...]]:
    """Return the symptoms of the set, the worst first."""
    loud = [channel.loudness for channel in channels]
    if max(loud) < _GONE:
        return [("no sound",)]
    shown: list[tuple[str, ...]] = []
    if min(loud) < _GONE:
        shown.append(("one channel silent", "no sound"))
    if any(channel.sounds_bent for channel in channels):
        shown.append(("distorted sound",))
    elif _GONE < min(loud) < _WEAK:
        shown.append(("weak sound",))
    return shown
