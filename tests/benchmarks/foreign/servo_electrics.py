"""The electrical inside of the HMQ2530's pins, and the circuits joined to it in the recorder."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from boards.circuit import Electrics, Inside, Outside
from boards.drawn_chip import read_chip

CHIP: Final = read_chip(Path(__file__).parent / "chips" / "hmq2530.yaml", "playback")

PIN_F: Final = 4e-12
"""Capacitance of an oscillator pin."""

_LOGIC = Inside(300.0, "pin 3", source_a=8e-3, sink_a=8e-3)
_SHAPED = Inside(1e3, "pin 3")
_AMPLIFIER = Inside(100.0, "pin 3", source_a=10e-3, sink_a=10e-3)
_PICK_UP = Inside(47e3, "pin 3", follows="pin 14")
_COMMAND = Inside(200e3, "pin 3")
_MONOSTABLE = Inside(300.0, "pin 3")  # kept discharged for most of a turn
_INSIDES: Final = {
    "pin 1": Inside(300e3, "pin 3"),
    "pin 2": Inside(2e3, "pin 3"),
    "pin 5": Inside(100e3, "pin 3", follows="pin 14"),
    "pin 6": _PICK_UP,
    "pin 7": _MONOSTABLE,
    "pin 8": _MONOSTABLE,
    "pin 9": _LOGIC,
    "pin 10": _LOGIC,
    "pin 11": _LOGIC,
    "pin 12": _AMPLIFIER,
    "pin 13": Inside(5e6, "pin 3"),
    "pin 14": Inside(2e3, "pin 3"),
    "pin 15": Inside(5e3, "pin 3", follows="pin 14"),
    "pin 16": _SHAPED,
    "pin 17": _MONOSTABLE,
    "pin 18": _PICK_UP,
    "pin 19": _LOGIC,
    "pin 20": _LOGIC,
    "pin 21": Inside(5e6, "pin 3"),
    "pin 22": _AMPLIFIER,
    "pin 23": _COMMAND,
    "pin 24": _COMMAND,
    "pin 25": _COMMAND,
    "pin 26": _SHAPED,
    "pin 27": Inside(20e3, "pin 3"),
    "pin 29": Inside(100.0, "pin 3", open_collector=True),
    "pin 30": Inside(20e3, "pin 3"),
}
_OUTSIDES: Final = {
    "rail-9v": Outside(9.0, 0.3),
    "pg-in": Outside(0.0, 300.0),
    "fg-in": Outside(0.0, 600.0),
    "ctl-in": Outside(0.0, 150.0),
    "cfg-in": Outside(0.0, 600.0),
    "play-line": Outside(5.0, 200.0),
    "drum-line": Outside(5.0, 200.0),
    "capstan-line": Outside(5.0, 200.0),
    "head-switch": Outside(0.0, 47e3),
}
SERVO: Final = Electrics(
    CHIP,
    insides=_INSIDES,
    outsides=_OUTSIDES,
    supply_grounds={"pin 3": "pin 4"},
    crystal_load_f=(33e-12 + PIN_F) / 2,
)
NOT_CALIBRATED: Final = {
    # Inputs with a resistance to ground, and stores whose stated mean is that of a sawtooth.
    **dict.fromkeys(("pin 13", "pin 21", "pin 23", "pin 24", "pin 25"), 0.0),
    **dict.fromkeys(("pin 7", "pin 8", "pin 17"), 0.1),
}
