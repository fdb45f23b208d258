"""The electrical inside of the NBR2424's pins, and the circuits joined to it in the set."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from boards.circuit import Electrics, Inside, Outside
from boards.drawn_chip import read_chip

CHIP: Final = read_chip(Path(__file__).parent / "chips" / "nbr2424.yaml", "colour bars")

_COIL = Inside(3e3, "pin 14", follows="pin 6")
_INSIDES: Final = {
    "pin 1": Inside(2e3, "pin 14", follows="pin 6"),
    "pin 2": Inside(2e3, "pin 14", follows="pin 6"),
    "pin 3": Inside(200e3, "pin 14"),
    "pin 4": Inside(100e3, "pin 14"),
    # An open collector, conducting as much as the signal asks for: 0.2 V behind some ohms.
    "pin 5": Inside(19.7e3, "pin 14", open_collector=True),
    "pin 6": Inside(50.0, "pin 14", source_a=15e-3, sink_a=1e-3),
    **dict.fromkeys(("pin 7", "pin 8", "pin 9", "pin 10", "pin 18", "pin 19"), _COIL),
    "pin 11": Inside(200e3, "pin 14"),
    "pin 12": Inside(200e3, "pin 14"),
    "pin 13": Inside(50.0, "pin 14", source_a=15e-3, sink_a=4e-3),
    "pin 16": Inside(40e3, "pin 14", follows="pin 6"),
    "pin 17": Inside(2e3, "pin 14", follows="pin 6"),
    "pin 20": Inside(5e3, "pin 14", follows="pin 6"),
    "pin 21": Inside(30e3, "pin 14", follows="pin 6"),
    "pin 22": Inside(200e3, "pin 14"),
    "pin 23": Inside(300.0, "pin 14", source_a=5e-3, sink_a=2e-3),
    "pin 24": Inside(100e3, "pin 14"),
}
_OUTSIDES: Final = {
    "rail-12v": Outside(12.0, 0.3),
    "if-in": Outside(0.0, 50.0),
    "aft-line": Outside(0.0, 4.7e6),  # the tuner's input
    "aft-switch": Outside(5.0, 500.0),
    "volume-line": Outside(3.0, 500.0),
    "mute-line": Outside(0.0, 500.0),
}
VISION_SOUND_IF: Final = Electrics(
    CHIP,
    insides=_INSIDES,
    outsides=_OUTSIDES,
    supply_grounds={"pin 14": "pin 15"},
    transistors={"Q401": "npn"},
)
NOT_CALIBRATED: Final = {
    # Control inputs with a resistance to ground; the collector's own lowest volts.
    **dict.fromkeys(("pin 4", "pin 12", "pin 22", "pin 24"), 0.0),
    "pin 5": 0.2,
}
