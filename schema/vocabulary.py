"""The words of the trade that a chip file may use, each spelt one way."""

from __future__ import annotations

from typing import Final, Literal, get_args

Kind = Literal[
    "jungle",
    "chroma/luma processor",
    "sync/deflection processor",
    "vision IF",
    "sound IF",
    "vision and sound IF",
    "RGB matrix",
    "RGB switch",
    "video amplifier",
    "vertical output",
    "comb filter",
    "delay line",
    "audio processor",
    "audio amplifier",
    "recorder Y/C processor",
    "servo processor",
    "tuning processor",
    "power supply controller",
]

Role = Literal[
    "supply",
    "ground",
    "input",
    "output",
    "control",
    "oscillator",
    "filter",
    "decoupling",
    "reference",
    "bus",
    "unused",
]

StageKind = Literal[
    "amplifier",
    "bus receiver",
    "clamp",
    "controlled amplifier",
    "demodulator",
    "divider",
    "gain-controlled amplifier",
    "gate",
    "integrator",
    "level detector",
    "limiter",
    "mixer",
    "oscillator",
    "output stage",
    "phase detector",
    "protection",
    "pulse detector",
    "pulse generator",
    "pump",
    "ramp generator",
    "reference",
    "switch",
    "sync separator",
    "threshold detector",
    "tuning detector",
]

PartKind = Literal[
    "resistor",
    "potentiometer",
    "capacitor",
    "electrolytic capacitor",
    "trimmer capacitor",
    "coil",
    "transformer",
    "crystal",
    "ceramic resonator",
    "ceramic filter",
    "delay line",
    "diode",
    "zener diode",
    "transistor",
    "connector",
]

SourceKind = Literal["data sheet", "measured", "calculated", "estimated"]

HazardKind = Literal["live chassis", "high voltage", "stored charge", "hot surface", "X-radiation"]

KINDS: Final[tuple[str, ...]] = get_args(Kind)
ROLES: Final[tuple[str, ...]] = get_args(Role)
SHARED_SYMBOL_ROLES: Final = frozenset({"ground", "supply", "unused"})
"""Roles of which several pins may have one symbol, as data sheets print them."""
