"""The state of a KYE4728 board on colour bars, and the symptoms of its set.

Stated in the chip file: the loops' volts, the killer's threshold, hertz a volt, pull-in, where the
controls begin. Chosen here, as common practice: where the key detector lets go, the output's
shape when luminance or one colour difference is missing, and that a dead output takes its pin to
ground.
"""

from __future__ import annotations

from boards.bench import Shown
from boards.board import Board
from boards.faults import Fault

from practice.colour_loops import GainLoop, Killer, PhaseLoop
from practice.pal_loops import PalDecoder
from practice.screen import Screen
from practice.ways import Ways, spread_drive

from .electrics import (
    CHIP,
    COLOUR_GND,
    COLOUR_V,
    DRIVE,
    ELECTRICS,
    LINE_HZ,
    PART,
    RGB_GND,
    RGB_V,
    RUNS,
    SUPPLY_ENOUGH_V,
    good_board,
    supply_v,
)
from .faults import FAULTS
from .oscillator import find_oscillator

__all__ = ["CHIP", "FAULTS", "good_board", "simulate"]

DECODER = PalDecoder(
    gain=GainLoop(quiet_v=6.6, bars_v=4.9, octave_v=0.85),
    phase=PhaseLoop(rest_v=4.6, bars_v=4.7, hertz_per_volt=400, pull_in_hz=450),
    killer=Killer(quiet_v=1.8, bars_v=4.3, threshold_v=3.1),
    acc="pin 2",
    apc="pin 5",
    ident="pin 6",
    reference="pin 14",
    ground=COLOUR_GND,
)
_BIAS_ENOUGH = 0.6  # of the stated volts
_KEY_ENOUGH = 0.8  # of the sandcastle's 8 V, for the burst key detector
_BLACK_V, _MEAN_OVER_BLACK_V, _LOWEST_V, _RUN_DOWN_V = 2.7, 0.7, 0.3, 2.0
_DARK_V, _DIM_V = 0.9, 2.0  # black level at the outputs
_BLANKED_V = 0.9  # at pin 28 the text inputs take over
_MOST = 1.6  # of a good set's output: then it limits
_COLOUR_ALONE = 0.7  # of the stated swing, when colour differences come without luminance
_OUTPUTS = {"pin 20": "crt-red", "pin 21": "crt-green", "pin 22": "crt-blue"}


def simulate(seed: int, fault: Fault) -> Shown:
    """Return the state of a board with this fault; the seed chooses its parts' deviations."""
    drive = spread_drive(DRIVE, seed)
    board = Board(ELECTRICS, drive, fault, seed)
    ways = Ways(board, Board(ELECTRICS, drive, seed=seed), RUNS)
    stages = Stages(board, ways, seed)
    board = board.with_stages(held_v=stages.held_v)
    screen = Screen(PART, seed)
    stages.show(screen)
    return screen.finish(board, stages.symptoms(board), {})


class Stages:
    """State of the stages of one board; shares are of a good set's signal."""

    def __init__(self, board: Board, ways: Ways, seed: int) -> None:
        self._board, self._ways = board, ways
        self.powered = supply_v(board, COLOUR_V, COLOUR_GND) > SUPPLY_ENOUGH_V
        self.rgb_powered = supply_v(board, RGB_V, RGB_GND) > SUPPLY_ENOUGH_V
        usable = DECODER.is_usable(board, powered=self.powered)
        self.keyed = (
            self.powered
            and ways.share("keys", "pin 7") > _KEY_ENOUGH
            and "pin 7" not in board.fault.lifted
            and "sandcastle-line" not in board.fault.outside_v
            and not self._dead("sandcastle-detector")
        )
        self.oscillator = find_oscillator(board, seed, usable=usable)
        self.loops = DECODER.settle(
            board,
            DECODER.shares_left(board, DRIVE),
            at_input=ways.share("chroma", "pin 1") * self._through("pin 1") * self._biased("pin 1"),
            usable=usable,
            gated=self.keyed,
            oscillator_hz=self.oscillator.off_hz,
        )

    def _dead(self, *stages: str) -> bool:
        return self._board.fault.dead_stage in stages

    def _through(self, pin: str) -> float:
        """Nothing passes a pin whose joint is open."""
        return 0.0 if pin in self._board.fault.lifted else 1.0

    def _biased(self, pin: str) -> float:
        """An input whose bias is drawn away amplifies nothing."""
        bias_v = self._board.dc[pin] - self._board.dc[COLOUR_GND]
        return 1.0 if bias_v > _BIAS_ENOUGH * CHIP.nominal_v[pin] else 0.0

    def _control(self, pin: str, from_v: float) -> float:
        """Return the gain by a control: nothing at ``from_v``, 1 at the stated volts, 2 at most."""
        volts = self._board.dc[pin] - self._board.dc[RGB_GND]
        return max(0.0, min((volts - from_v) / (CHIP.nominal_v[pin] - from_v), 2.0))

    @property
    def demodulated(self) -> float:
        """Colour difference inside, before pins 8 and 9."""
        stopped = self.loops.killed or self._dead("demodulators")
        return 0.0 if stopped else self.loops.amplified

    def module_share(self, pin: str, axis: str) -> float:
        """Return one colour difference as it comes back from the delay line module."""
        if f"delayed-{axis}" in self._board.fault.silent:
            return 0.0
        arriving = self._ways.share("to the module", f"delay-in-{axis}")
        return self.demodulated * self._through(pin) * arriving

    def colour_difference(self, pin: str, from_pin: str, axis: str) -> float:
        """Return one colour difference behind colour control, of a good set's."""
        if self._dead("colour-control") or not self.rgb_powered:
            return 0.0
        returned = self.module_share(from_pin, axis) * self._through(pin)
        return returned * self._ways.share("from the module", pin) * self._control("pin 13", 1.2)

    @property
    def luminance(self) -> float:
        """Luminance into the matrix."""
        if self._dead("luminance-clamp"):
            return 0.0
        return self._ways.share("picture", "pin 15") * self._through("pin 15")

    @property
    def gain(self) -> float:
        """Gain from the matrix to the outputs."""
        stopped = self._dead("matrix", "rgb-switch", "contrast-control", "rgb-output")
        text_is_shown = self._board.dc["pin 28"] > _BLANKED_V
        if not self.rgb_powered or stopped or text_is_shown:
            return 0.0
        limiter = max(0.05, min((self._board.dc["pin 19"] - 2.8) / 1.8, 1.0))  # from 4.6 V down
        return self._control("pin 17", 1.0) * limiter

    @property
    def held_v(self) -> dict[str, float]:
        """The pins' own volts as the stages set them."""
        held_v = dict(self.loops.held_v)
        if self._dead("reference"):
            held_v["pin 14"] = 0.0
        store_v = self._board.dc["pin 16"]
        if not self.keyed and self.rgb_powered:
            held_v["pin 16"] = store_v = _RUN_DOWN_V  # no pulse sets the black level
        if self._dead("rgb-output"):
            return held_v | dict.fromkeys(_OUTPUTS, 0.0)
        moved_v = self._board.dc["pin 18"] - self._board.dc[RGB_GND] - CHIP.nominal_v["pin 18"]
        moved_v += store_v - self._board.dc[RGB_GND] - CHIP.nominal_v["pin 16"]
        mean_v = _BLACK_V + moved_v + _MEAN_OVER_BLACK_V * min(self.luminance * self.gain, _MOST)
        drop_v = DRIVE.open_circuit_v["pin 20"] - CHIP.nominal_v["pin 20"]
        return held_v | dict.fromkeys(_OUTPUTS, max(mean_v, _LOWEST_V) + drop_v)

    def show(self, screen: Screen) -> None:
        """Show all signals."""
        ways, board = self._ways, self._board
        screen.show("if-video", 0.0 if "if-video" in board.fault.silent else 1.0)
        for point in ("chroma-tank", "pin 1"):
            screen.show(point, ways.share("chroma", point))
        keys_come = "sandcastle-line" not in board.fault.outside_v
        screen.show("pin 7", ways.share("keys", "pin 7") if keys_come else 0.0)
        # What comes in is a little higher than behind its resistor.
        screen.show_volts("sandcastle-line", 8.0 if keys_come else 0.0, frequency_hz=LINE_HZ)
        self.oscillator.show(screen, board, self.loops.off_hz)
        if self.loops.beats:
            beat_hz = abs(self.loops.off_hz)
            screen.show_volts("pin 5", 0.4, "unstable", frequency_hz=beat_hz)
        for out, back, axis in (("pin 8", "pin 11", "r-y"), ("pin 9", "pin 12", "b-y")):
            screen.show(out, self.demodulated * self._through(out))
            arriving = self.demodulated * self._through(out)
            arriving *= ways.share("to the module", f"delay-in-{axis}")
            screen.show(f"delay-in-{axis}", arriving)
            returned = self.module_share(out, axis)
            stated_v = screen.stated_v(back)
            screen.show_volts(f"delayed-{axis}", returned * stated_v, frequency_hz=15625.0)
            screen.show(back, returned * ways.share("from the module", back))
        for point in ("luminance-out", "pin 15"):
            screen.show(point, ways.share("picture", point))
        luminance_in_v = 1.1 * ways.share("picture", "luminance-in")
        screen.show_volts("luminance-in", luminance_in_v, frequency_hz=15625.0)
        self._show_outputs(screen)

    def _show_outputs(self, screen: Screen) -> None:
        red = self.colour_difference("pin 11", "pin 8", "r-y")
        blue = self.colour_difference("pin 12", "pin 9", "b-y")
        of_outputs = {"pin 20": red, "pin 21": min(red, blue), "pin 22": blue}
        for pin, node in _OUTPUTS.items():
            colour = of_outputs[pin]
            share = self.luminance * self.gain
            if self.luminance < 0.1:
                share = _COLOUR_ALONE * colour * self.gain
            share = min(share, _MOST)
            # A grey staircase instead of the bars, or bars without their grey.
            other_shape = colour < 0.4 or self.luminance < 0.4
            words = ("distorted",) if other_shape and share > 0.05 else ()
            screen.show(pin, share * self._through(pin), *words)
            at_node_v = share * self._through(pin) * screen.stated_v(pin)
            at_node_v *= min(self._ways.share("out", node), 1.0)
            screen.show_volts(node, at_node_v, *words, frequency_hz=15625.0)

    def symptoms(self, board: Board) -> list[tuple[str, ...]]:
        """Return the symptoms of the set, the worst first."""
        bright = min(self.luminance * self.gain, _MOST)
        black_v = board.dc["pin 21"] - _MEAN_OVER_BLACK_V * bright
        red = self.colour_difference("pin 11", "pin 8", "r-y")
        blue = self.colour_difference("pin 12", "pin 9", "b-y")
        patches = max(red, blue) * self.gain > 0.3  # of colour on a dark screen
        if black_v < _DARK_V or (bright < 0.1 and not patches):
            return [("no picture",)]
        shown: list[tuple[str, ...]] = []
        if bright < 0.6 or black_v < _DIM_V:
            shown.append(("dark picture",))
        lost = [
            name
            for (pin, node), name in zip(_OUTPUTS.items(), ("red", "green", "blue"), strict=True)
            if self._ways.share("out", node) * self._through(pin) < 0.3
        ]
        if lost:
            shown += [(f"no {name}",) for name in lost]
        elif max(red, blue) < 0.08:
            shown.append(("no colour",))
        elif min(red, blue) < 0.5 * max(red, blue):
            shown.append(("wrong hue",))
        elif max(red, blue) < 0.65:
            shown.append(("weak colour",))
        return shown
