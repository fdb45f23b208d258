"""The units a quantity can have: names, examples, spellings and prefixes.

Source of the prefixes: SI Brochure (BIPM, 9th edition), table 7.
"""

from __future__ import annotations

from typing import Final

UNITS: Final[dict[str, tuple[str, str]]] = {
    "V": ("a voltage", "4.2 V"),
    "Vpp": ("a peak-to-peak voltage", "450 mVpp"),
    "A": ("a current", "12 mA"),
    "Ω": ("a resistance", "4.7 kΩ"),
    "F": ("a capacitance", "100 nF"),
    "H": ("an inductance", "10 µH"),
    "Hz": ("a frequency", "15.625 kHz"),
    "s": ("a time", "64 µs"),
    "W": ("a power", "0.25 W"),
    "m": ("a length", "1.778 mm"),
    "%": ("a percentage", "75 %"),
    "ppm": ("parts per million", "50 ppm"),
    "°": ("an angle", "135°"),
    "dB": ("a level in decibels", "-20 dB"),
    "Vrms": ("a root-mean-square voltage", "100 mVrms"),
    "°C": ("a temperature", "25 °C"),
    "A/V": ("a transconductance", "2 mA/V"),
    "Hz/V": ("a steepness of an oscillator", "3 kHz/V"),
    "V/V": ("a ratio of voltages", "20 mV/V"),
    "K/W": ("a thermal resistance", "50 K/W"),
}
"""Each unit with the name of its quantity in a message and an example of the right spelling."""

SPELLINGS: Final[dict[str, str]] = {
    "V": "V|volts?",
    "Vpp": "V ?p-?p",
    "A": "A",
    "Ω": "Ω|[Oo]hms?|R",
    "F": "F",
    "H": "H",
    "Hz": "[Hh][Zz]",
    "s": "s",
    "W": "W",
    "m": "m",
    "%": "%",
    "ppm": "ppm",
    "°": "°|deg",
    "dB": "dB",
    "Vrms": "V ?(?:rms|RMS)",
    "°C": "° ?C",
    "A/V": "A/V",
    "Hz/V": "[Hh][Zz]/V",
    "V/V": "V/V",
    "K/W": "K/W|° ?C/W",
}

POWERS: Final[dict[str, int]] = {
    "f": -15,
    "p": -12,
    "n": -9,
    "u": -6,
    "µ": -6,
    "m": -3,
    "": 0,
    "k": 3,
    "K": 3,
    "M": 6,
    "G": 9,
    "T": 12,
}
WITHOUT_PREFIX: Final = frozenset({"%", "ppm", "°", "dB", "°C", "K/W"})
