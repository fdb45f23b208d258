"""The colour half of the JXT2814: its loops settled, then the way of the chroma to the outputs.

Common practice throughout: 6 dB of ACC gain for 0.9 V, 450 Hz a volt and as much of pull-in, a
killer that compares its store with a divider, 30 degrees of tint a volt, and colour by DC
from 1 V upwards. A crystal is pulled as Butterworth and Van Dyke have it.
"""

from __future__ import annotations

import math
import random
from dataclasses import replace

from practice.board_rules import BoardRules
from practice.colour_loops import Crystal, GainLoop, Killer, PhaseLoop
from practice.pal_loops import PalDecoder
from practice.screen import Screen

from .electrics import COLOUR_GND, LINE_HZ, OVER_STATED, SUBCARRIER_HZ, SUPPLY

SUPPLY_ENOUGH_V = 9.0
_PIN_F, _LOAD_F, _TRIMMED_F = 3e-12, 18e-12, 11e-12
_SET_BY_TRIMMER_HZ = 30.0
_KEY_ENOUGH = 0.75
_BIAS_ENOUGH = 0.6
_COLOUR_FROM_V, _MOST_COLOUR = 1.0, 2.2
_TINT_RAD_PER_V = math.radians(30)
_UNLOADED = 0.35  # of its swing is left to a follower without its load
_KILLER_V = 5.6
_BIAS_OFF, _CLIPPED = 0.3, 0.5

CRYSTAL = Crystal(SUBCARRIER_HZ, _LOAD_F, motional_f=14e-15, holder_f=5e-12)
DECODER = PalDecoder(
    gain=GainLoop(quiet_v=6.9, bars_v=5.15, octave_v=0.9),
    phase=PhaseLoop(rest_v=5.0, bars_v=5.1, hertz_per_volt=450, pull_in_hz=450),
    killer=Killer(quiet_v=4.4, bars_v=7.7, threshold_v=_KILLER_V),
    acc="pin 3",
    apc="pin 11",
    ident="pin 17",
    reference="pin 12",
    ground=COLOUR_GND,
)
OUTPUTS = {"pin 13": "matrix-r-y", "pin 14": "matrix-g-y", "pin 15": "matrix-b-y"}
# R-Y and B-Y of the six colours of the bars, from the luminance weights of BT.470 system M.
_BARS = tuple(
    (red - y, blue - y)
    for red, green, blue in ((1, 1, 0), (0, 1, 1), (0, 1, 0), (1, 0, 1), (1, 0, 0), (0, 0, 1))
    for y in (0.299 * red + 0.587 * green + 0.114 * blue,)
)


class Colour:
    """State of the colour half of one board; shares are of a good set's signal."""

    def __init__(self, rules: BoardRules) -> None:
        self._rules = rules
        if rules.is_dead("reference"):
            rules.hold("pin 12", 0.1, 200.0)
            rules.board = rules.settled()
        self.alive = rules.inside_v(SUPPLY, COLOUR_GND) > SUPPLY_ENOUGH_V
        self.usable = DECODER.is_usable(rules.board, powered=self.alive)
        arrives = rules.ways.share("keys", "pin 16") > _KEY_ENOUGH and not rules.is_lifted("pin 16")
        arrives = arrives and "sandcastle-line" not in rules.fault.outside_v
        self.keyed = self.alive and arrives and not rules.is_dead("sandcastle-detector")
        self._oscillate()
        self._settle_loops()
        self._demodulate()
        self._settle_outputs()

    def _oscillate(self) -> None:
        rules = self._rules
        first_f = _PIN_F + rules.value("C211", 0.0, 1.0)
        second_f = _PIN_F + rules.value("C213", 0.0, 1.0)
        trimmed_f = {"good": _TRIMMED_F, "shorted": 1.0, "open": 0.0}
        second_f += trimmed_f.get(rules.mode("C212"), rules.value("C212"))
        shorted = max(first_f, second_f) > 1e-6
        stopped = rules.is_dead("subcarrier-oscillator") or rules.is_lifted("pin 9", "pin 10")
        self.oscillates = self.usable and not shorted and not stopped
        self.oscillates = self.oscillates and rules.mode("X201") not in ("open", "shorted")
        load_f = first_f * second_f / (first_f + second_f)
        crystal = rules.fault.failure("X201")
        cut_off = crystal.figure if crystal and crystal.mode == "off" else 0.0
        self._free_hz = CRYSTAL.pulled_hz(load_f, cut_off) if not shorted else 0.0
        self._free_hz += random.Random(rules.seed).gauss(0, _SET_BY_TRIMMER_HZ)
        # The two capacitors divide the swing between the pins.
        self.swings = first_f / (_PIN_F + 33e-12), second_f / (_PIN_F + 33e-12)

    def _settle_loops(self) -> None:
        rules = self._rules
        threshold_v = _KILLER_V * rules.of_good("pin 27", COLOUR_GND)
        decoder = replace(DECODER, killer=replace(DECODER.killer, threshold_v=threshold_v))
        biased = rules.of_good("pin 4", COLOUR_GND) > _BIAS_ENOUGH or rules.is_lifted("pin 4")
        at_input = rules.ways.share("chroma", "pin 2") * rules.passes("pin 2") if biased else 0.0
        reaching = self.oscillates and not rules.is_dead("tint-shifter")
        drive = rules.board.drive
        self.loops = decoder.settle(
            rules.board,
            decoder.shares_left(rules.board, drive),
            at_input=0.0 if rules.silent("video-line") else at_input,
            usable=self.usable,
            gated=self.keyed,
            oscillator_hz=self._free_hz if reaching else None,
        )
        self.off_hz = self.loops.off_hz if reaching else self._free_hz
        for pin, volts in self.loops.held_v.items():
            rules.hold(pin, volts)

    def _demodulate(self) -> None:
        """Chroma by the colour control, turned by the tint, taken apart by two demodulators."""
        rules = self._rules
        control_v = rules.inside_v("pin 6", COLOUR_GND)
        usual_v = rules.good.dc["pin 6"]
        control = (control_v - _COLOUR_FROM_V) / (usual_v - _COLOUR_FROM_V)
        control = max(0.0, min(control, _MOST_COLOUR))
        stopped = self.loops.killed or rules.is_dead("colour-control") or not self.alive
        self.clipped = rules.mode("R204") == "open" and not stopped
        driven = 0.0 if stopped else self.loops.amplified * control
        self.driven = driven * (_UNLOADED if self.clipped else 1.0)
        at_demodulator = self.driven * rules.passes("pin 5", "pin 7")
        self.arriving = at_demodulator * min(rules.ways.share("to the demodulators", "pin 7"), 1.1)
        # Biased elsewhere by a leak, the demodulators clip.
        moved = abs(rules.of_good("pin 7", COLOUR_GND) - 1) > _BIAS_OFF
        self.clipped = self.clipped or (moved and self.driven > 0)
        self.arriving *= _CLIPPED if moved else 1.0
        tint_v = rules.inside_v("pin 8", COLOUR_GND) - rules.good.dc["pin 8"]
        self.turned = _TINT_RAD_PER_V * max(-2.0, min(tint_v, 2.0))
        usable = self.usable and not rules.is_dead("tint-shifter") and self.oscillates
        level = min(self.arriving, _MOST_COLOUR) if usable else 0.0
        red, blue = (_turned_bars(self.turned, axis) for axis in (0, 1))
        red_share = 0.0 if rules.is_dead("r-y-demodulator") else level * _span(red) / _GOOD_RED
        blue_share = 0.0 if rules.is_dead("b-y-demodulator") else level * _span(blue) / _GOOD_BLUE
        green = [
            0.51 * (red_share > 0) * r + 0.19 * (blue_share > 0) * b
            for r, b in zip(red, blue, strict=True)
        ]
        green_share = 0.0 if rules.is_dead("matrix") else level * _span(green) / _GOOD_GREEN
        self.shares = dict(zip(OUTPUTS, (red_share, green_share, blue_share), strict=True))

    def _settle_outputs(self) -> None:
        rules = self._rules
        if rules.is_dead("matrix"):
            rules.hold("pin 14", 0.3)
        if rules.is_dead("colour-control"):
            rules.hold("pin 5", 0.3)
        if self.clipped:
            rules.hold("pin 5", rules.own_v["pin 5"] + 0.3)

    def at_matrix(self) -> dict[str, float]:
        """Return the share of the three colour differences at the RGB stages, by pin."""
        ways, rules = self._rules.ways, self._rules
        return {
            pin: share * min(ways.share("out", node), 1.05) * rules.passes(pin)
            for (pin, share), node in zip(self.shares.items(), OUTPUTS.values(), strict=True)
        }

    def show(self, screen: Screen) -> None:
        """Show the signals of the colour half."""
        rules, ways = self._rules, self._rules.ways
        comes = 0.0 if rules.silent("video-line") else 1.0
        screen.show("pin 2", OVER_STATED["pin 2"] * comes * ways.share("chroma", "pin 2"))
        tank_v = 0.11 * comes * min(ways.share("chroma", "tank-node"), 3.0)
        screen.show_volts("tank-node", tank_v, frequency_hz=SUBCARRIER_HZ)
        words = ("distorted",) if self.clipped else ()
        at_pin = self.driven * rules.passes("pin 5")
        screen.show("pin 5", OVER_STATED["pin 5"] * at_pin, *words)
        share = at_pin * min(ways.share("to the demodulators", "pin 7"), 1.1)
        screen.show("pin 7", OVER_STATED["pin 7"] * share, *words)
        hertz = SUBCARRIER_HZ + self.off_hz
        for pin, swing in zip(("pin 9", "pin 10"), self.swings, strict=True):
            level = min(1.6, (1 / max(swing, 0.1)) ** 0.5) if self.oscillates else 0.0
            screen.show(pin, level, frequency_hz=hertz)
        screen.show("pin 26", rules.passes("pin 26") * self.oscillates, frequency_hz=hertz)
        line_v = 0.4 * self.oscillates * rules.passes("pin 26")
        line_v *= ways.share("subcarrier", "subcarrier-line")
        screen.show_volts("subcarrier-line", line_v, frequency_hz=hertz)
        if self.loops.beats:
            screen.show_volts("pin 11", 0.35, "unstable", frequency_hz=abs(self.off_hz))
        keys = ways.share("keys", "pin 16")
        keys = 0.0 if "sandcastle-line" in rules.fault.outside_v else keys
        screen.show("pin 16", keys)
        screen.show_volts(
            "sandcastle-line",
            8.1 if "sandcastle-line" not in rules.fault.outside_v else 0.0,
            frequency_hz=LINE_HZ,
        )
        at_nodes = self.at_matrix()
        for pin, node in OUTPUTS.items():
            seen = OVER_STATED[pin] * self.shares[pin]
            screen.show(pin, seen * rules.passes(pin), *(words if seen > 0.03 else ()))
            node_v = OVER_STATED[pin] * at_nodes[pin] * screen.stated_v(pin)
            screen.show_volts(node, 0.97 * node_v, frequency_hz=LINE_HZ)


def _turned_bars(angle: float, axis: int) -> list[float]:
    """Return one demodulator's output for the six colours, its axis turned by an angle."""
    cos, sin = math.cos(angle), math.sin(angle)
    return [r * cos + b * sin if axis == 0 else b * cos - r * sin for r, b in _BARS]


def _span(levels: list[float]) -> float:
    return max(levels) - min(levels)


_GOOD_RED, _GOOD_BLUE = (_span(_turned_bars(0.0, axis)) for axis in (0, 1))
_GOOD_GREEN = _span([0.51 * r + 0.19 * b for r, b in _BARS])
