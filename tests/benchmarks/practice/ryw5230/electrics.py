"""The RYW5230's board as ngspice solves it.

A pin is a source of its own, chosen as the chip's designer would: the board makes its volts, and
the sheet's are these rounded. All figures are common practice for a 12 V RGB processor and class A
output stages.
"""

from __future__ import annotations

from boards.circuit import Drive, Electrics, Inside, Outside

from practice.stated import read_stated_chip

PART = "RYW5230"
CHIP = read_stated_chip(PART)
SUPPLY, GROUND = "pin 17", "pin 13"
LINE_HZ = 15625.0
COLOURS = ("red", "green", "blue")
OUTPUT = dict(zip(COLOURS, ("pin 14", "pin 15", "pin 16"), strict=True))
STORE = dict(zip(COLOURS, ("pin 10", "pin 11", "pin 12"), strict=True))


def _pin(ohms: float, **limits: float) -> Inside:
    return Inside(ohms, SUPPLY, ground=GROUND, **limits)


_FOLLOWER = {"source_a": 14e-3, "sink_a": 2e-3}
_INSIDES = {
    "pin 1": _pin(120e3),
    "pin 2": _pin(120e3),
    "pin 3": _pin(90e3),
    "pin 4": _pin(250e3),
    "pin 5": _pin(250e3),
    "pin 6": _pin(250e3),
    "pin 7": _pin(800e3),
    "pin 8": _pin(35e3),
    "pin 9": _pin(1e6),
    "pin 10": _pin(1e6),
    "pin 11": _pin(1e6),
    "pin 12": _pin(1e6),
    "pin 14": _pin(90, **_FOLLOWER),
    "pin 15": _pin(90, **_FOLLOWER),
    "pin 16": _pin(90, **_FOLLOWER),
    "pin 18": _pin(8, source_a=14e-3, sink_a=1e-3),
    "pin 19": _pin(1e6),
    "pin 20": _pin(1e6),
    "pin 21": _pin(45e3),
    "pin 22": _pin(150e3),
}
_OWN_V = {
    "pin 1": 4.15,
    "pin 2": 4.15,
    "pin 3": 2.9,
    "pin 4": 2.1,
    "pin 5": 1.8,
    "pin 6": 2.4,
    "pin 7": 0.0,
    "pin 8": 1.4,
    "pin 9": 6.2,
    "pin 10": 5.65,
    "pin 11": 5.65,
    "pin 12": 5.65,
    "pin 14": 4.95,
    "pin 15": 4.95,
    "pin 16": 4.95,
    "pin 18": 4.9,
    "pin 19": 6.15,
    "pin 20": 6.15,
    "pin 21": 1.9,
    "pin 22": 7.15,
}
BEAM_FOOT_V = 7.2
_OUTSIDES = {
    "rail-12v": Outside(12.5, 0.4),
    "rail-180v-in": Outside(186.0, 100.0),  # a scan rectifier: it sags with the picture
    "r-y-line": Outside(7.1, 200),
    "b-y-line": Outside(7.1, 200),
    "luminance-line": Outside(3.6, 100),
    "saturation-line": Outside(3.05, 4.7e3),
    "contrast-line": Outside(3.1, 4.7e3),
    "brightness-line": Outside(2.55, 4.7e3),
    "beam-foot": Outside(BEAM_FOOT_V, 3e3),
    "sandcastle-line": Outside(1.4, 300),
}

ELECTRICS = Electrics(
    chip=CHIP,
    insides=_INSIDES,
    outsides=_OUTSIDES,
    supply_grounds={SUPPLY: GROUND},
    transistors=dict.fromkeys(("Q301", "Q302", "Q303"), "npn"),
    off_ohms={"beam-foot": 60e3, "sandcastle-line": 6e3, "rail-180v-in": 150e3},
)
DRIVE = Drive(_OWN_V, {SUPPLY: 0.048})
RUNS = {
    "luminance": (LINE_HZ, {"luminance-line": 1.0}),
    "r-y": (LINE_HZ, {"r-y-line": 1.0}),
    "b-y": (LINE_HZ, {"b-y-line": 1.0}),
    "keys": (LINE_HZ, {"sandcastle-line": 1.0}),
}
TRUE_V = {  # of a good set, where the sheet's figure is rounded
    "r-y-line": 1.12,
    "pin 1": 1.11,
    "b-y-line": 1.26,
    "pin 2": 1.25,
    "luminance-line": 0.95,
    "pin 3": 0.94,
    **dict.fromkeys(OUTPUT.values(), 1.88),
}
