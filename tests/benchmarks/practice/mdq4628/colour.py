"""The colour half of the MDQ4628: its loops settled, then the way of the chroma to the outputs.

Stated in the chip file: the loops' volts, the killer's threshold, hertz a volt, pull-in, and where
the controls begin. Chosen here, as common practice: U and V in a PAL delay line, where
the burst key detector lets go, and that a dead output takes its pin to ground.
"""

from __future__ import annotations

import random

from boards.board import Board

from practice.colour_loops import Crystal, GainLoop, Killer, PhaseLoop
from practice.pal_loops import PalDecoder
from practice.screen import Screen
from practice.ways import Ways

from .electrics import (
    COLOUR_GND,
    COLOUR_V,
    DRIVE,
    LINE_HZ,
    LUMA_GND,
    LUMA_V,
    SUBCARRIER_HZ,
    SUPPLY_ENOUGH_V,
    supply_v,
)

KEY_ENOUGH = 0.8  # of the sandcastle's 8 V, for the burst key detector
_TURNING_SHARE = 0.7  # of the ident store's volts, to reach the 8.5 V that turn the PAL switch
_SET_BY_TRIMMER_HZ = 60.0  # how near the trimmer was set
_OSCILLATOR_HZ = 2 * SUBCARRIER_HZ
_LOAD_F, _SHORT_F = 19.2e-12, 1e-7  # trimmer in the middle, C307, and a little of the board
_FOOT_V = 0.3  # at the crystal's foot
_CLAMP_GONE_V = 4.0  # the colour difference clamps' store, stated 5.2 V
_MOST_COLOUR = 2.2  # of a good set's output: then it limits

CRYSTAL = Crystal(_OSCILLATOR_HZ, _LOAD_F, motional_f=17e-15)
DECODER = PalDecoder(
    gain=GainLoop(quiet_v=7.4, bars_v=5.5, octave_v=0.95),
    phase=PhaseLoop(rest_v=5.2, bars_v=5.3, hertz_per_volt=800, pull_in_hz=900),
    killer=Killer(quiet_v=7.0, bars_v=4.2, threshold_v=5.6),
    acc="pin 2",
    apc="pin 10",
    ident="pin 8",
    reference="pin 28",
    ground=COLOUR_GND,
)

# 75 % bars at pins 5 and 6: U alone, V alone, and both in quadrature as one line carries them.
_U_V, _V_V, _BOTH_ON_U_V, _BOTH_ON_V_V = 0.55, 0.8, 0.8, 0.82
# G-Y = -0.51 (R-Y) - 0.19 (B-Y), from the luminance weights of BT.470; volts of the outputs.
_G_OF_R, _G_OF_B, _R_Y_V, _B_Y_V = 0.51, 0.19, 1.05, 1.33
_OUTPUTS = {"pin 13": "matrix-r-y", "pin 15": "matrix-g-y", "pin 14": "matrix-b-y"}


class Colour:
    """State of the colour half of one board; shares are of a good set's signal."""

    def __init__(self, board: Board, ways: Ways, seed: int) -> None:
        self._board, self._ways = board, ways
        self.alive = supply_v(board, COLOUR_V, COLOUR_GND) > SUPPLY_ENOUGH_V
        self.usable = DECODER.is_usable(board, powered=self.alive)
        self._settle_loops(seed)
        self._follow_delay_line()

    def _dead(self, *stages: str) -> bool:
        return self._board.fault.dead_stage in stages

    def _through(self, pin: str) -> float:
        """Nothing passes a pin whose joint is open."""
        return 0.0 if pin in self._board.fault.lifted else 1.0

    def _settle_loops(self, seed: int) -> None:
        self.oscillates, off_hz = _oscillator(self._board, self.usable)
        off_hz += random.Random(seed).gauss(0, _SET_BY_TRIMMER_HZ)
        self.divides = self.oscillates and not self._dead("subcarrier-divider")
        share = DECODER.shares_left(self._board, DRIVE)
        self.loops = DECODER.settle(
            self._board,
            share,
            at_input=self._ways.share("chroma", "pin 1") * self._through("pin 1"),
            usable=self.usable,
            gated=is_keyed(self._board, self._ways),
            oscillator_hz=off_hz if self.divides else None,
        )
        # Above 8.5 V ident turns the PAL switch round; a leaky store never gets there.
        self.turned_wrong = not self.loops.killed and share["pin 8"] < _TURNING_SHARE
        self.off_hz = self.loops.off_hz if self.divides else off_hz

    @property
    def held_v(self) -> dict[str, float]:
        """The pins' own volts as the stages set them."""
        held_v = dict(self.loops.held_v)
        clamp_v = self._board.dc["pin 18"]
        if clamp_v < _CLAMP_GONE_V:  # without their store the clamps take the outputs along
            held_v |= dict.fromkeys(_OUTPUTS, max(7.0 + 1.5 * (clamp_v - 5.2), 0.8))
        if self._dead("colour-difference-output"):
            held_v |= dict.fromkeys(_OUTPUTS, 0.0)
        if self._dead("delay-driver"):
            held_v["pin 4"] = 0.0
        if self._dead("reference"):
            held_v["pin 28"] = 0.0
        return held_v

    def _follow_delay_line(self) -> None:
        """Direct and delayed chroma meet at T301: U adds, V subtracts."""
        board, ways = self._board, self._ways
        # Without its load the follower cannot pull down: most of the swing is lost.
        self.clipped = board.fault.failure("R304") is not None
        stopped = self.loops.killed or self._dead("delay-driver")
        self.driven = 0.0 if stopped else self.loops.amplified * (0.25 if self.clipped else 1.0)
        self.at_pin_4 = self.driven * self._through("pin 4")
        matrix = 0.0 if board.fault.failure("T301") else self.at_pin_4
        self.direct = matrix * ways.share("to the line", "direct-tap")
        self.delayed = matrix * ways.share("to the line", "delay-in")
        if board.fault.failure("DL301"):
            self.delayed = 0.0
        self.wanted = (self.direct + self.delayed) / 2
        self.unwanted = abs(self.direct - self.delayed) / 2
        self.u_way = min(ways.share("from u", "sum-node"), 1.0) * self._through("pin 5")
        self.v_way = min(ways.share("from v", "difference-node"), 1.0) * self._through("pin 6")

    @property
    def _output_gain(self) -> float:
        if not self.alive or self._dead("colour-control", "colour-difference-output"):
            return 0.0
        volts = self._board.dc["pin 9"] - self._board.dc[COLOUR_GND]
        control = max(0.0, min((volts - 1.2) / 1.7, 2.0))  # no colour below 1.2 V
        return control * limit_beam(self._board)

    @property
    def r_y(self) -> float:
        """R-Y inside, before pin 13."""
        demodulated = 0.0 if self._dead("v-demodulator") else self.wanted * self.v_way
        return min(demodulated * self._output_gain, _MOST_COLOUR)

    @property
    def b_y(self) -> float:
        """B-Y inside, before pin 14."""
        demodulated = 0.0 if self._dead("u-demodulator") else self.wanted * self.u_way
        return min(demodulated * self._output_gain, _MOST_COLOUR)

    def at_matrix(self) -> tuple[float, float, float]:
        """Return R-Y, G-Y and B-Y as they reach the RGB matrix."""
        good_v = _G_OF_R * _R_Y_V + _G_OF_B * _B_Y_V
        green = (_G_OF_R * _R_Y_V * self.r_y + _G_OF_B * _B_Y_V * self.b_y) / good_v
        inside = zip((self.r_y, green, self.b_y), _OUTPUTS.values(), strict=True)
        red, green, blue = (
            share * min(self._ways.share("out", node), 1.0) for share, node in inside
        )
        return red, green, blue

    def show(self, screen: Screen) -> None:
        """Show the signals of the colour half."""
        ways, board = self._ways, self._board
        screen.show("if-video", 0.0 if "if-video" in board.fault.silent else 1.0)
        screen.show("pin 1", ways.share("chroma", "pin 1"))
        keys_come = "sandcastle-line" not in board.fault.outside_v
        screen.show("pin 16", ways.share("keys", "pin 16") if keys_come else 0.0)
        # What comes in is a little higher than behind its resistor.
        screen.show_volts("sandcastle-line", 8.0 if keys_come else 0.0, frequency_hz=LINE_HZ)
        self._show_oscillator(screen)
        self._show_delay_line(screen)
        # Line by line the other way round: the shape is not that of the catalogue.
        words = ("distorted",) if self._dead("pal-switch") else ()
        at_nodes = dict(zip(_OUTPUTS, self.at_matrix(), strict=True))
        for pin, node in _OUTPUTS.items():
            pin_share = at_nodes[pin] if ways.share("out", node) > KEY_ENOUGH else self._behind(pin)
            shown = words if pin != "pin 14" and pin_share else ()
            screen.show(pin, pin_share * self._through(pin), *shown)
            at_node_v = at_nodes[pin] * screen.stated_v(pin)
            screen.show_volts(node, at_node_v, *shown, frequency_hz=LINE_HZ)

    def _behind(self, pin: str) -> float:
        """Return the signal of an output when its way to the matrix is broken."""
        green = (_G_OF_R * _R_Y_V * self.r_y + _G_OF_B * _B_Y_V * self.b_y) / (
            _G_OF_R * _R_Y_V + _G_OF_B * _B_Y_V
        )
        return {"pin 13": self.r_y, "pin 14": self.b_y, "pin 15": green}[pin]

    def _show_oscillator(self, screen: Screen) -> None:
        hertz = _OSCILLATOR_HZ + self.off_hz
        load_f = _crystal_load_f(self._board)
        # Less capacitance at the crystal's foot, less swing.
        swing = min(1.0, (load_f / _LOAD_F) ** 0.5) if self.oscillates else 0.0
        screen.show("pin 11", swing, frequency_hz=hertz)
        foot_v = _FOOT_V * swing if load_f < _SHORT_F else 0.0
        screen.show_volts("crystal-node", foot_v, frequency_hz=hertz)
        divided = 1.0 if self.divides else 0.0
        screen.show("pin 12", divided * self._through("pin 12"), frequency_hz=hertz / 2)
        line_v = 0.55 * divided * self._ways.share("subcarrier", "subcarrier-line")
        screen.show_volts("subcarrier-line", line_v, frequency_hz=hertz / 2)
        if self.loops.beats:
            screen.show_volts("pin 10", 0.4, "unstable", frequency_hz=abs(self.off_hz) / 2)

    def _show_delay_line(self, screen: Screen) -> None:
        words = ("distorted",) if self.clipped and self.driven else ()
        screen.show("pin 4", self.driven, *words)
        for node in ("chroma-line", "delay-in"):
            screen.show(node, self.at_pin_4 * self._ways.share("to the line", node), *words)
        screen.show_volts("direct-tap", 0.66 * self.direct, frequency_hz=SUBCARRIER_HZ)
        u_v = _in_quadrature(self.wanted, self.unwanted, _U_V, _BOTH_ON_U_V)
        v_v = _in_quadrature(self.wanted, self.unwanted, _V_V, _BOTH_ON_V_V)
        for point, volts in (
            ("sum-node", u_v),
            ("pin 5", u_v * self.u_way),
            ("difference-node", v_v),
            ("pin 6", v_v * self.v_way),
        ):
            screen.show_volts(point, volts, frequency_hz=SUBCARRIER_HZ)


def is_keyed(board: Board, ways: Ways) -> bool:
    """Return whether the sandcastle reaches the stages: burst gate and clamps."""
    return (
        ways.share("keys", "pin 16") > KEY_ENOUGH
        and supply_v(board, COLOUR_V, COLOUR_GND) > SUPPLY_ENOUGH_V
        and "pin 16" not in board.fault.lifted
        and "sandcastle-line" not in board.fault.outside_v
        and board.fault.dead_stage != "sandcastle-detector"
    )


def limit_beam(board: Board) -> float:
    """Return the gain that the limiter leaves: drawn back below 4.8 V at pin 24, gone at 3 V."""
    if supply_v(board, LUMA_V, LUMA_GND) < SUPPLY_ENOUGH_V:
        return 1.0
    return max(0.05, min((board.dc["pin 24"] - 3.0) / 1.8, 1.0))


def _oscillator(board: Board, usable: bool) -> tuple[bool, float]:
    """Return whether the crystal oscillates and how far off it then runs."""
    crystal = board.fault.failure("X301")
    stopped = board.fault.dead_stage == "subcarrier-oscillator" or "pin 11" in board.fault.lifted
    if not usable or stopped or (crystal and crystal.mode == "open"):
        return False, 0.0
    cut_off = crystal.figure if crystal and crystal.mode == "off" else 0.0
    return True, CRYSTAL.pulled_hz(_crystal_load_f(board), cut_off)


def _crystal_load_f(board: Board) -> float:
    """Return trimmer and fixed capacitor side by side, with a little of the board."""
    load_f = 0.5e-12
    for ref, good_f in (("C306", 10.5e-12), ("C307", 8.2e-12)):
        failure = board.fault.failure(ref)
        if failure is None:
            load_f += good_f
        elif failure.mode == "value":
            load_f += failure.figure
        elif failure.mode == "shorted":
            load_f += 10 * _SHORT_F  # the crystal then runs at its series resonance
    return load_f


def _in_quadrature(wanted: float, unwanted: float, one_v: float, both_v: float) -> float:
    """Return the volts of one component with a rest of the other, a quarter of a cycle apart."""
    other_v = (both_v**2 - one_v**2) ** 0.5
    return ((wanted * one_v) ** 2 + (unwanted * other_v) ** 2) ** 0.5
