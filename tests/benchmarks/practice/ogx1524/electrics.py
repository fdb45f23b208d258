"""The OGX1524's board as ngspice solves it.

Stated in the chip file: volts and resistances of the pins. Chosen here, as common practice: the
sinks of outputs, the losses of the filters, and the circuits behind nodes left open in the drawing.
"""

from __future__ import annotations

from functools import cache

from boards.board import Board, calibrate
from boards.circuit import Electrics, Inside, Outside, node_name
from boards.drawn_chip import DrawnPart
from boards.faults import Failure

from practice.filters import if_filter, sound_filter, sound_trap
from practice.set_off import fit_set_off
from practice.stated import read_stated_chip

PART = "OGX1524"
CHIP = read_stated_chip(PART)
VISION_V, SOUND_V, VISION_GND, SOUND_GND = "pin 9", "pin 23", "pin 4", "pin 18"
CARRIER_HZ, SOUND_HZ, VIDEO_HZ, TONE_HZ = 38.9e6, 5.5e6, 1e6, 1e3
SUPPLY_ENOUGH_V = 6.8  # a 9 V IF chip works down to about here: common practice


def _vision(ohms: float, follows: str | None = None, **limits: float) -> Inside:
    return Inside(ohms, VISION_V, follows, VISION_GND, **limits)


def _sound(ohms: float, **limits: float) -> Inside:
    return Inside(ohms, SOUND_V, None, SOUND_GND, **limits)


_INSIDES = {
    "pin 1": _vision(2e3),
    "pin 2": _vision(2e3),
    "pin 3": _vision(10e3),
    "pin 5": _vision(250e3, "pin 8"),
    "pin 6": _vision(60e3),
    "pin 7": Inside(20e3, VISION_V, ground=VISION_GND, open_collector=True),  # a controlled sink
    "pin 8": _vision(50, source_a=15e-3, sink_a=1e-3),
    "pin 10": _vision(3e3),
    "pin 11": _vision(3e3),
    "pin 12": _vision(40e3),
    "pin 13": _vision(100e3, "pin 8"),
    "pin 14": Inside(0.95e6, VISION_V, ground=VISION_GND, open_collector=True),  # off
    "pin 15": _vision(40, source_a=20e-3, sink_a=3e-3),
    "pin 16": _sound(600),
    "pin 17": _sound(20e3),
    "pin 19": Inside(12e3, SOUND_V, ground=SOUND_GND, open_collector=True),  # swings above it
    "pin 20": _sound(300, source_a=8e-3, sink_a=1e-3),
    "pin 21": _sound(5e3),
    "pin 22": _sound(150, source_a=8e-3, sink_a=1e-3),
    "pin 24": _sound(40e3),
}
_OUTSIDES = {
    "rail-9v": Outside(9.2, 0.1),
    "tuner-if": Outside(0, 75),
    "audio-line": Outside(0, 22e3),
    "mute-line": Outside(0.2, 1e3),
}


def _line_output_transistor(part: DrawnPart, _: Failure | None) -> list[str]:
    """Its collector is not part of this board."""
    return [f"R{part.ref} {node_name(part.joins[0])} {node_name(part.joins[1])} 100k"]


ELECTRICS = fit_set_off(
    Electrics(
        chip=CHIP,
        insides=_INSIDES,
        outsides=_OUTSIDES,
        supply_grounds={VISION_V: VISION_GND, SOUND_V: SOUND_GND},
        transistors={"Q201": "npn"},
        coil_ohms={"L201": 0.1, "L202": 0.8},
        off_ohms={"audio-line": 22e3, "mute-line": 15e3},
        special_parts={
            "F201": if_filter,
            "F202": sound_trap,
            "F203": sound_filter,
            "Q601": _line_output_transistor,
        },
        more_lines=lambda set_on: ["CPIN19 n_pin_19 0 7p"],
    )
)
DRIVE = calibrate(ELECTRICS)
RUNS = {
    "if": (CARRIER_HZ, {"tuner-if": 1.0}),
    "video": (VIDEO_HZ, {"pin 15": 1.0}),
    "intercarrier": (SOUND_HZ, {"pin 15": 1.0}),
    "limited": (SOUND_HZ, {"pin 20": 1.0}),
    "audio": (TONE_HZ, {"pin 22": 1.0}),
    "de-emphasis": (TONE_HZ, {"pin 21": 1.0}),
}


@cache
def good_board() -> Board:
    """Return a board without a fault, all values exact."""
    return Board(ELECTRICS, DRIVE)


def supply_v(board: Board, pin: str, ground: str) -> float:
    """Return the supply that the chip really has between two of its pins."""
    return 0.0 if pin in board.fault.lifted else board.dc[pin] - board.dc[ground]
