"""The KYE4728's board as ngspice solves it.

Stated in the chip file: volts and resistances of the pins. Chosen here, as common practice: the
sinks of followers, and the circuits behind nodes that the drawing leaves open.
"""

from __future__ import annotations

from functools import cache

from boards.board import Board, calibrate
from boards.circuit import Electrics, Inside, Outside, node_name
from boards.drawn_chip import DrawnPart
from boards.faults import Failure

from practice.set_off import fit_set_off
from practice.stated import read_stated_chip

PART = "KYE4728"
CHIP = read_stated_chip(PART)
COLOUR_V, RGB_V, COLOUR_GND, RGB_GND = "pin 10", "pin 23", "pin 3", "pin 24"
SUBCARRIER_HZ, LINE_HZ, FIELD_HZ = 4.43361875e6, 15625.0, 50.0
SUPPLY_ENOUGH_V = 8.5  # a 12 V decoder works down to about here: common practice


def _colour(ohms: float, follows: str | None = None, **limits: float) -> Inside:
    return Inside(ohms, COLOUR_V, follows, COLOUR_GND, **limits)


def _rgb(ohms: float, **limits: float) -> Inside:
    return Inside(ohms, RGB_V, None, RGB_GND, **limits)


_FOLLOWER = {"source_a": 20e-3, "sink_a": 0.3e-3}
_OUTPUT = {"source_a": 8e-3, "sink_a": 1e-3}
_INSIDES = {
    "pin 1": _colour(12e3, "pin 14"),
    "pin 2": _colour(240e3, "pin 14"),
    "pin 4": _colour(1e3),
    "pin 5": _colour(200e3, "pin 14"),
    "pin 6": _colour(300e3),
    "pin 7": _colour(30e3),
    "pin 8": _colour(400, **_OUTPUT),
    "pin 9": _colour(400, **_OUTPUT),
    "pin 11": _rgb(200e3),
    "pin 12": _rgb(200e3),
    "pin 13": _rgb(250e3),
    "pin 14": _colour(1.2e3),
    "pin 15": _rgb(100e3),
    "pin 16": _rgb(1e6),
    "pin 17": _rgb(250e3),
    "pin 18": _rgb(250e3),
    "pin 19": _rgb(50e3),
    "pin 20": _rgb(120, **_FOLLOWER),
    "pin 21": _rgb(120, **_FOLLOWER),
    "pin 22": _rgb(120, **_FOLLOWER),
    "pin 25": _rgb(100e3),
    "pin 26": _rgb(100e3),
    "pin 27": _rgb(100e3),
    "pin 28": _rgb(100e3),
}
_OUTSIDES = {
    "rail-12v": Outside(12.2, 0.1),
    "rail-115v": Outside(115, 1),
    "if-video": Outside(3.0, 75),
    "sandcastle-line": Outside(1.42, 100),
    "delay-in-r-y": Outside(0, 1e6),  # a coupling capacitor follows in the module
    "delay-in-b-y": Outside(0, 1e6),
    "delayed-r-y": Outside(3.2, 300),
    "delayed-b-y": Outside(3.2, 300),
    "colour-line": Outside(3.1, 1e3),
    "contrast-line": Outside(3.1, 1e3),
    "brightness-line": Outside(3.1, 1e3),
    "beam-foot": Outside(7.1, 4.7e3),
    "crt-red": Outside(0, 22e3),
    "crt-green": Outside(0, 22e3),
    "crt-blue": Outside(0, 22e3),
    "text-red": Outside(0, 75),
    "text-green": Outside(0, 75),
    "text-blue": Outside(0, 75),
    "text-blanking": Outside(0, 75),
}
_OUTSIDE_OFF_OHMS = {
    "if-video": 5.7e3,
    "sandcastle-line": 15e3,
    "beam-foot": 100e3,
    "crt-red": 22e3,
    "crt-green": 22e3,
    "crt-blue": 22e3,
    "colour-line": 5e3,
    "contrast-line": 5e3,
    "brightness-line": 5e3,
}


def _luminance_line(part: DrawnPart, failure: Failure | None) -> list[str]:
    ohms = 1e9 if failure else 75
    return [f"R{part.ref} {node_name(part.joins[0])} {node_name(part.joins[1])} {ohms:g}"]


def _line_output_transformer(part: DrawnPart, _: Failure | None) -> list[str]:
    return [f"R{part.ref} {node_name(part.joins[0])} {node_name(part.joins[1])} 1"]


ELECTRICS = fit_set_off(
    Electrics(
        chip=CHIP,
        insides=_INSIDES,
        outsides=_OUTSIDES,
        supply_grounds={COLOUR_V: COLOUR_GND, RGB_V: RGB_GND},
        crystal_load_f=18e-12,
        off_ohms=_OUTSIDE_OFF_OHMS,
        special_parts={"DL401": _luminance_line, "T401": _line_output_transformer},
    )
)
DRIVE = calibrate(ELECTRICS)
RUNS = {
    "chroma": (SUBCARRIER_HZ, {"if-video": 1.0}),
    "picture": (LINE_HZ, {"if-video": 1.0}),
    "to the module": (100e3, {"pin 8": 1.0, "pin 9": 1.0}),
    "from the module": (100e3, {"delayed-r-y": 1.0, "delayed-b-y": 1.0}),
    "out": (100e3, {"pin 20": 1.0, "pin 21": 1.0, "pin 22": 1.0}),
    "keys": (LINE_HZ, {"sandcastle-line": 1.0}),
}


@cache
def good_board() -> Board:
    """Return a board without a fault, all values exact."""
    return Board(ELECTRICS, DRIVE)


def supply_v(board: Board, pin: str, ground: str) -> float:
    """Return the supply that the chip really has between two of its pins."""
    return 0.0 if pin in board.fault.lifted else board.dc[pin] - board.dc[ground]
