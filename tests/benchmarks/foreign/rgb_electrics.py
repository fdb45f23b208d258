"""The electrical inside of the JLM2831's pins, the set around it, and the picture tube."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from boards.circuit import Electrics, Inside, Outside
from boards.drawn_chip import read_chip

COLOURS: Final = ("red", "green", "blue")
OUTPUT: Final = {"red": "pin 16", "green": "pin 18", "blue": "pin 20"}
STORE: Final = {"red": "pin 17", "green": "pin 19", "blue": "pin 21"}
_STAGE_NUMBER: Final = {"red": 22, "green": 23, "blue": 24}

# Beam current goes with the drive below cut-off to the power 2.5 (common practice: 2.2 to 2.8).
CUT_OFF_V: Final = {"red": 151.0, "green": 148.0, "blue": 150.0}
PERVEANCE: Final = 3.6e-8
TUBE_EXPONENT: Final = 2.5

CHIP: Final = read_chip(Path(__file__).parent / "chips" / "jlm2831.yaml", "colour bars")

_INPUT, _CONTROL = Inside(150e3, "pin 5", follows="pin 27"), Inside(500e3, "pin 5")
_STORE = Inside(1e6, "pin 5")
_FOLLOWER = Inside(100.0, "pin 5", source_a=15e-3, sink_a=2e-3)
_INSIDES: Final = {
    **dict.fromkeys(("pin 1", "pin 2", "pin 3", "pin 11", "pin 12", "pin 13"), _INPUT),
    **dict.fromkeys(("pin 7", "pin 8", "pin 9", "pin 10"), _CONTROL),
    "pin 4": Inside(60e3, "pin 5"),
    "pin 14": Inside(20e3, "pin 5"),
    "pin 15": Inside(500e3, "pin 5", follows="pin 27"),
    **dict.fromkeys(OUTPUT.values(), _FOLLOWER),
    **dict.fromkeys(STORE.values(), _STORE),
    "pin 22": Inside(500e3, "pin 5"),
    "pin 23": Inside(500e3, "pin 5", follows="pin 27"),
    "pin 24": Inside(50e3, "pin 5"),
    "pin 25": Inside(50e3, "pin 5"),
    "pin 26": Inside(100e3, "pin 5"),
    "pin 27": Inside(20.0, "pin 5", source_a=20e-3, sink_a=1e-3),
    "pin 28": Inside(20e3, "pin 5"),
}
_OUTSIDES: Final = {
    "rail-12v": Outside(12.0, 0.2),
    "rail-180v": Outside(180.0, 5.0),
    "ry-in": Outside(4.0, 300.0),
    "by-in": Outside(4.0, 300.0),
    "y-in": Outside(2.0, 300.0),
    "sandcastle-in": Outside(0.87, 200.0),
    "scart-red": Outside(0.0, 75.0),
    "scart-green": Outside(0.0, 75.0),
    "scart-blue": Outside(0.0, 75.0),
    "scart-blank": Outside(0.0, 75.0),
}


def _tube_lines(set_on: bool) -> list[str]:
    """Currents from each gun into its cathode; electrons go the other way."""
    if not set_on:
        return []
    return [
        f"BTUBE_{colour} 0 n_{colour}_cathode "
        f"I={PERVEANCE}*max({CUT_OFF_V[colour]}-v(n_{colour}_cathode),0)**{TUBE_EXPONENT}"
        for colour in COLOURS
    ]


RGB_AMPLIFIER: Final = Electrics(
    CHIP,
    insides=_INSIDES,
    outsides=_OUTSIDES,
    supply_grounds={"pin 5": "pin 6"},
    transistors={
        f"Q{number}{at}": sort
        for number in _STAGE_NUMBER.values()
        for at, sort in (("1", "npn"), ("2", "pnp"))
    },
    more_lines=_tube_lines,
)
