"""Units in headings and settings of captures, as instruments and programs spell them."""

from __future__ import annotations

import re
from typing import Final

SECONDS: Final = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "ps": 1e-12}
VOLTS: Final = {"v": 1.0, "mv": 1e-3, "uv": 1e-6, "kv": 1e3}
HERTZ: Final = {"": 1.0, "k": 1e3, "m": 1e6, "g": 1e9}
COUNT: Final = "sequence"
"""The unit of a column that numbers the samples."""
DIVISIONS: Final = "div"
STEPS: Final = "counts"
"""The unit of a converter's own numbers."""

_SPELT_OUT: Final = {
    **dict.fromkeys(("sec", "secs", "second", "seconds", "с"), "s"),
    **dict.fromkeys(("msec", "millisecond", "milliseconds", "мс"), "ms"),
    **dict.fromkeys(("usec", "microsecond", "microseconds", "мкс"), "us"),
    **dict.fromkeys(("nsec", "nanosecond", "nanoseconds", "нс"), "ns"),
    **dict.fromkeys(("volt", "volts", "в"), "v"),
    **dict.fromkeys(("millivolt", "millivolts", "мв"), "mv"),
    **dict.fromkeys(("sequence", "samples", "points", "#"), COUNT),
    **dict.fromkeys(("div", "divs", "division", "divisions"), DIVISIONS),
    **dict.fromkeys(("count", "counts", "lsb", "lsbs", "adc", "raw", "code", "codes"), STEPS),
    **dict.fromkeys(("amp", "amps", "ampere", "amperes"), "a"),
    **dict.fromkeys(("watt", "watts"), "w"),
    **dict.fromkeys(("hertz",), "hz"),
    **dict.fromkeys(("degree", "degrees", "deg"), "°"),
    **dict.fromkeys(("binary", "boolean", "digital"), "logic"),
}
_OTHER_UNITS: Final = frozenset(
    {
        *("a", "ma", "ua", "ka", "w", "mw", "kw", "vv", "v*v", "v²", "v^2", "vs", "v*s", "v/s"),
        *(
            "hz",
            "khz",
            "mhz",
            "ghz",
            "db",
            "dbm",
            "dbv",
            "dbmv",
            "dbuv",
            "ohm",
            "ω",
            "°",
            "°c",
            "%",
            "logic",
        ),
    }
)
_SHOWN: Final = {
    "a": "A",
    "ma": "mA",
    "ua": "µA",
    "ka": "kA",
    "w": "W",
    "mw": "mW",
    "kw": "kW",
    "ω": "Ω",
    "hz": "Hz",
    "khz": "kHz",
    "mhz": "MHz",
    "ghz": "GHz",
    "db": "dB",
    "dbm": "dBm",
    "dbv": "dBV",
    "dbmv": "dBmV",
    "dbuv": "dBµV",
    "°c": "°C",
    "logic": "logic levels",
    "vv": "V²",
    "v*v": "V²",
}
_LIKE_A_UNIT: Final = re.compile(r"\W?.{0,2}[sv]", re.IGNORECASE)


def parse_unit(word: str) -> str:
    """Return the plain spelling of a unit; empty for a word that is none."""
    word = word.strip().casefold().replace("µ", "u").replace("μ", "u")
    word = _SPELT_OUT.get(word, word)
    known = word in SECONDS or word in VOLTS or word in _OTHER_UNITS
    return word if known or word in (COUNT, DIVISIONS, STEPS) else ""


def print_unit(unit: str) -> str:
    """Return a unit in its plain spelling as it is shown."""
    return _SHOWN.get(unit, unit)


def may_be_a_unit(word: str) -> bool:
    """Return whether a word looks like a unit of time or volts with a sign that is not known."""
    return bool(_LIKE_A_UNIT.fullmatch(word.strip())) and not parse_unit(word)
