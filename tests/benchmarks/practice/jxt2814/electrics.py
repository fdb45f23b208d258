"""The JXT2814's board as ngspice solves it.

A pin is a source of its own, chosen as the chip's designer would: the board makes its volts, and
the sheet's are these rounded. All figures are common practice for a 12 V decoder.
"""

from __future__ import annotations

from boards.circuit import Drive, Electrics, Inside, Outside, node_name
from boards.drawn_chip import DrawnPart
from boards.faults import Failure

from practice.stated import read_stated_chip

PART = "JXT2814"
CHIP = read_stated_chip(PART)
SUPPLY, COLOUR_GND, LUMA_GND = "pin 18", "pin 1", "pin 19"
SUBCARRIER_HZ, LINE_HZ, LUMA_HZ = 3.579545e6, 15734.264, 15734.264


def _colour(ohms: float, **limits: float) -> Inside:
    return Inside(ohms, SUPPLY, ground=COLOUR_GND, **limits)


def _luma(ohms: float, **limits: float) -> Inside:
    return Inside(ohms, SUPPLY, ground=LUMA_GND, **limits)


_FOLLOWER = {"source_a": 12e-3, "sink_a": 1e-3}
_INSIDES = {
    "pin 2": _colour(3e3),
    "pin 3": _colour(180e3),
    "pin 4": _colour(10e3),
    "pin 5": _colour(60, **_FOLLOWER),
    "pin 6": _colour(300e3),
    "pin 7": _colour(4e3),
    "pin 8": _colour(300e3),
    "pin 9": _colour(50e3),
    "pin 10": _colour(700),
    "pin 11": _colour(120e3),
    "pin 12": _colour(8, source_a=14e-3, sink_a=1e-3),
    "pin 13": _colour(150, source_a=8e-3, sink_a=2e-3),
    "pin 14": _colour(150, source_a=8e-3, sink_a=2e-3),
    "pin 15": _colour(150, source_a=8e-3, sink_a=2e-3),
    "pin 16": _colour(40e3),
    "pin 17": _colour(250e3),
    "pin 20": _luma(50, **_FOLLOWER),
    "pin 21": _luma(300e3),
    "pin 22": _luma(1e6),
    "pin 23": _luma(300e3),
    "pin 24": _luma(25e3),
    "pin 25": _luma(300e3),
    "pin 26": _colour(250),
    "pin 27": _colour(90e3),
}
_OWN_V = {
    "pin 2": 3.95,
    "pin 3": 5.15,
    "pin 4": 3.9,
    "pin 5": 6.25,
    "pin 6": 3.2,
    "pin 7": 3.4,
    "pin 8": 3.0,
    "pin 9": 4.6,
    "pin 10": 5.3,
    "pin 11": 5.1,
    "pin 12": 4.95,
    "pin 13": 7.2,
    "pin 14": 7.15,
    "pin 15": 7.2,
    "pin 16": 1.5,
    "pin 17": 7.7,
    "pin 20": 4.15,
    "pin 21": 3.2,
    "pin 22": 5.6,
    "pin 23": 3.2,
    "pin 24": 3.15,
    "pin 25": 0.0,
    "pin 26": 4.1,
    "pin 27": 3.4,
}
_OUTSIDES = {
    "rail-12v": Outside(12.6, 0.5),
    "video-line": Outside(3.1, 75),
    "sandcastle-line": Outside(1.45, 300),
    "beam-foot": Outside(8.2, 6e3),
    "subcarrier-line": Outside(0, 4.7e3),
}


def _delay_line(part: DrawnPart, failure: Failure | None) -> list[str]:
    """Its winding's resistance; both ends matched, it passes what comes."""
    source, output, _ = (node_name(end) for end in part.joins)
    return [f"R{part.ref} {source} {output} {1e9 if failure else 45:g}"]


ELECTRICS = Electrics(
    chip=CHIP,
    insides=_INSIDES,
    outsides=_OUTSIDES,
    supply_grounds={SUPPLY: COLOUR_GND},
    crystal_load_f=18e-12,
    coil_ohms={"L201": 3.0, "L202": 2.0},
    off_ohms={"video-line": 5e3, "sandcastle-line": 6e3, "beam-foot": 60e3},
    special_parts={"DL201": _delay_line},
)
DRIVE = Drive(_OWN_V, {SUPPLY: 0.057})
_COLOUR_DIFFERENCE = ("pin 13", "pin 14", "pin 15")
RUNS = {
    "luminance": (LUMA_HZ, {"video-line": 1.0}),
    "chroma": (SUBCARRIER_HZ, {"video-line": 1.0}),
    "to the demodulators": (SUBCARRIER_HZ, {"pin 5": 1.0}),
    "out": (LINE_HZ, dict.fromkeys(_COLOUR_DIFFERENCE, 1.0)),
    "luminance out": (LUMA_HZ, {"pin 20": 1.0}),
    "keys": (LINE_HZ, {"sandcastle-line": 1.0}),
    "subcarrier": (SUBCARRIER_HZ, {"pin 26": 1.0}),
}
TRUE_V = {  # of a good set, where the sheet's figure is rounded
    "video-line": 1.92,
    "dl-out": 0.94,
    "pin 24": 0.93,
    "pin 9": 0.46,
    "pin 10": 0.64,
    "pin 20": 1.40,
    "matrix-y": 1.38,
    "pin 26": 0.54,
}
OVER_STATED = {
    "pin 2": 0.93,
    "pin 5": 1.08,
    "pin 7": 1.05,
    "pin 13": 1.06,
    "pin 14": 1.05,
    "pin 15": 0.94,
}
"""What a good set shows over the sheet's round figure, where that is not given in volts."""
