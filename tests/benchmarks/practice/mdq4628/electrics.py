"""The MDQ4628's board as ngspice solves it.

Stated in the chip file: volts and resistances of the pins. Chosen here, as common practice: the
sinks of followers, and the circuits behind nodes and control pins that the drawing leaves open.
"""

from __future__ import annotations

from functools import cache

from boards.board import Board, calibrate
from boards.circuit import Electrics, Inside, Outside, node_name
from boards.drawn_chip import DrawnPart
from boards.faults import Failure

from practice.set_off import fit_set_off
from practice.stated import read_stated_chip

PART = "MDQ4628"
CHIP = read_stated_chip(PART)
COLOUR_V, LUMA_V, COLOUR_GND, LUMA_GND = "pin 7", "pin 27", "pin 3", "pin 19"
SUBCARRIER_HZ, LINE_HZ, FIELD_HZ = 4.43361875e6, 15625.0, 50.0
SUPPLY_ENOUGH_V = 8.5  # a 12 V decoder works down to about here: common practice


def _colour(ohms: float, follows: str | None = None, **limits: float) -> Inside:
    return Inside(ohms, COLOUR_V, follows, COLOUR_GND, **limits)


def _luma(ohms: float, **limits: float) -> Inside:
    return Inside(ohms, LUMA_V, None, LUMA_GND, **limits)


_FOLLOWER = {"source_a": 20e-3, "sink_a": 0.2e-3}
_OUTPUT = {"source_a": 8e-3, "sink_a": 1e-3}
_CONTROL_LINE = Inside(22e3)  # comes from a control processor, that is not drawn
_INSIDES = {
    "pin 1": _colour(12e3, "pin 28"),
    "pin 2": _colour(240e3, "pin 28"),
    "pin 4": _colour(80, **_FOLLOWER),
    "pin 5": _colour(4.7e3, "pin 28"),
    "pin 6": _colour(4.7e3, "pin 28"),
    "pin 8": _colour(300e3),
    "pin 9": _CONTROL_LINE,
    "pin 10": _colour(180e3, "pin 28"),
    "pin 11": _colour(900),
    "pin 12": _colour(350, **_OUTPUT),
    "pin 13": _colour(200, **_OUTPUT),
    "pin 14": _colour(200, **_OUTPUT),
    "pin 15": _colour(200, **_OUTPUT),
    "pin 16": _colour(30e3),
    "pin 17": _colour(25e3),
    "pin 18": _colour(1e6, "pin 28"),
    "pin 20": _luma(70, **_FOLLOWER),
    "pin 21": _CONTROL_LINE,
    "pin 22": _luma(1e6),
    "pin 23": _CONTROL_LINE,
    "pin 24": _luma(50e3),
    "pin 25": _luma(15e3),
    "pin 26": _luma(200e3),
    "pin 28": _colour(1.5e3),
}
_OUTSIDES = {
    "rail-12v": Outside(12.3, 0.1),
    "rail-115v": Outside(115, 1),
    "if-video": Outside(3.6, 75),
    "sandcastle-line": Outside(1.42, 100),
    "beam-foot": Outside(7.3, 4.7e3),
    "matrix-r-y": Outside(0, 47e3),
    "matrix-b-y": Outside(0, 47e3),
    "matrix-g-y": Outside(0, 47e3),
    "subcarrier-line": Outside(0, 10e3),
}


_OUTSIDE_OFF_OHMS = {
    "if-video": 5.7e3,
    "sandcastle-line": 15e3,
    "beam-foot": 100e3,
    "matrix-r-y": 15e3,
    "matrix-b-y": 15e3,
    "matrix-g-y": 15e3,
}


def _glass_line(part: DrawnPart, _: Failure | None) -> list[str]:
    """A load of 390 ohms for the chroma; its ends have no DC in common, the rest is a rule."""
    name, feed = part.ref, node_name(part.joins[0])
    return [f"R{name} {feed} {feed}_{name} 390", f"C{name} {feed}_{name} 0 100n"]


def _matrix_transformer(part: DrawnPart, failure: Failure | None) -> list[str]:
    first, tap, last = (node_name(end) for end in part.joins)
    ohms = 1e9 if failure else 1
    return [f"R{part.ref}A {first} {tap} {ohms:g}", f"R{part.ref}B {tap} {last} {ohms:g}"]


def _wound_line(part: DrawnPart, failure: Failure | None) -> list[str]:
    ohms = 1e9 if failure else 45
    return [f"R{part.ref} {node_name(part.joins[0])} {node_name(part.joins[1])} {ohms:g}"]


def _line_output_transformer(part: DrawnPart, _: Failure | None) -> list[str]:
    return [f"R{part.ref} {node_name(part.joins[0])} {node_name(part.joins[1])} 1"]


_DRAWN = Electrics(
    chip=CHIP,
    insides=_INSIDES,
    outsides=_OUTSIDES,
    supply_grounds={COLOUR_V: COLOUR_GND, LUMA_V: LUMA_GND},
    crystal_load_f=20e-12,
    off_ohms=_OUTSIDE_OFF_OHMS,
    special_parts={
        "DL301": _glass_line,
        "DL302": _wound_line,
        "T301": _matrix_transformer,
        "T302": _line_output_transformer,
    },
)
ELECTRICS = fit_set_off(_DRAWN)
DRIVE = calibrate(ELECTRICS)
RUNS = {
    "chroma": (SUBCARRIER_HZ, {"if-video": 1.0}),
    "picture": (LINE_HZ, {"if-video": 1.0}),
    "slow picture": (FIELD_HZ, {"if-video": 1.0}),
    "to the line": (SUBCARRIER_HZ, {"pin 4": 1.0}),
    "from u": (SUBCARRIER_HZ, {"pin 5": 1.0}),
    "from v": (SUBCARRIER_HZ, {"pin 6": 1.0}),
    "out": (100e3, {"pin 13": 1.0, "pin 14": 1.0, "pin 15": 1.0}),
    "subcarrier": (SUBCARRIER_HZ, {"pin 12": 1.0}),
    "keys": (LINE_HZ, {"sandcastle-line": 1.0}),
}


@cache
def good_board() -> Board:
    """Return a board without a fault, all values exact."""
    return Board(ELECTRICS, DRIVE)


def supply_v(board: Board, pin: str, ground: str) -> float:
    """Return the supply that the chip really has between two of its pins."""
    return 0.0 if pin in board.fault.lifted else board.dc[pin] - board.dc[ground]
