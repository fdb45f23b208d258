"""The codes printed on resistors and capacitors.

Letter and digit code and tolerance letters: IEC 60062:2016. Three-digit mark of capacitors
(picofarad, the last digit counts the zeros; 8 and 9 mean x0.01 and x0.1): common practice.
"""

from __future__ import annotations

import re
from typing import Final

# Letter in the place of the decimal point -> multiplier. K and k both occur in print.
_MULTIPLIER_LETTERS: Final[dict[str, dict[str, float]]] = {
    "Ω": {"m": 1e-3, "R": 1.0, "k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9},
    "F": {"p": 1e-12, "n": 1e-9, "µ": 1e-6, "u": 1e-6, "m": 1e-3},
    "H": {"n": 1e-9, "µ": 1e-6, "u": 1e-6, "m": 1e-3, "R": 1.0},
}

# Percent down and up from the marked value (10 pF and more).
TOLERANCE_LETTERS: Final[dict[str, tuple[float, float]]] = {
    "B": (0.1, 0.1),
    "C": (0.25, 0.25),
    "D": (0.5, 0.5),
    "F": (1, 1),
    "G": (2, 2),
    "J": (5, 5),
    "K": (10, 10),
    "M": (20, 20),
    "N": (30, 30),
    "Q": (10, 30),
    "S": (20, 50),
    "T": (10, 50),
    "Z": (20, 80),
}

_ZEROS: Final = {"8": 1e-2, "9": 1e-1}


def read_letter_code(code: str, unit: str) -> float | None:
    """``4k7`` -> 4700.0, ``R47`` -> 0.47, ``8p2`` -> 8.2e-12; None if it is no such code.

    ``unit`` is Ω, F or H and decides which letters count.
    """
    letters = _MULTIPLIER_LETTERS.get(unit, {})
    match = re.fullmatch(rf"(\d*)([{''.join(letters)}])(\d*)", code) if letters else None
    if match is None or not (match[1] or match[3]):
        return None
    number = float(f"{match[1] or '0'}.{match[3] or '0'}")
    return float(f"{number * letters[match[2]]:.12g}")


def read_capacitor_mark(mark: str) -> tuple[float, float | None, float | None] | None:
    """``104`` -> 100 nF, ``473K`` -> 47 nF ± 10 %: (value, lowest, highest) in farad, or None."""
    match = re.fullmatch(rf"(\d\d)(\d) ?([{''.join(TOLERANCE_LETTERS)}])?", mark)
    if match is None or match[1] == "00":
        return None
    multiplier = _ZEROS.get(match[2], 10.0 ** int(match[2]))
    value_f = float(f"{int(match[1]) * multiplier * 1e-12:.12g}")
    if match[3] is None:
        return value_f, None, None
    down, up = TOLERANCE_LETTERS[match[3]]
    return (
        value_f,
        float(f"{value_f * (1 - down / 100):.12g}"),
        float(f"{value_f * (1 + up / 100):.12g}"),
    )
