"""The codes printed on resistors and capacitors.

Letter and digit code and tolerance letters: IEC 60062:2016. Three-digit mark of capacitors
(picofarad, the last digit counts the zeros; 8 and 9 mean x0.01 and x0.1): common practice.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Final, NamedTuple

# Letter in the place of the decimal point -> power of ten. K and k both occur in print, L
# (milliohm) since the edition of 2016. Coils have no R here: on a coil it is read as microhenry by
# some and as henry by others.
MULTIPLIER_LETTERS: Final[dict[str, dict[str, int]]] = {
    "Ω": {"L": -3, "m": -3, "R": 0, "k": 3, "K": 3, "M": 6, "G": 9, "T": 12},
    "F": {"p": -12, "n": -9, "µ": -6, "u": -6, "m": -3, "F": 0},
    "H": {"n": -9, "µ": -6, "u": -6, "m": -3},
}

# Percent down and up from the marked value.
TOLERANCE_LETTERS: Final[dict[str, tuple[str, str]]] = {
    "B": ("0.1", "0.1"),
    "C": ("0.25", "0.25"),
    "D": ("0.5", "0.5"),
    "F": ("1", "1"),
    "G": ("2", "2"),
    "J": ("5", "5"),
    "K": ("10", "10"),
    "M": ("20", "20"),
    "N": ("30", "30"),
    "Q": ("10", "30"),
    "S": ("20", "50"),
    "T": ("10", "50"),
    "Z": ("20", "80"),
}
_ANY_TOLERANCE: Final = "".join(TOLERANCE_LETTERS)
# On capacitors under 10 pF these give picofarad instead of percent, with the same figures.
_PICOFARAD_LETTERS: Final = frozenset("BCDFG")
_TEN_PICOFARAD: Final = Decimal("10e-12")

_POWERS_BY_LAST_DIGIT: Final = {**{str(zeros): zeros for zeros in range(8)}, "8": -2, "9": -1}


class Marked(NamedTuple):
    """The value of a mark, in SI units; the limits are None without a tolerance letter."""

    value: Decimal
    low: Decimal | None = None
    high: Decimal | None = None


def read_letter_code(code: str, unit: str) -> Marked | None:
    """Return the value of ``4k7``, ``R47``, ``8p2`` or ``4k7J`` in SI units; None if it is no code.

    ``unit`` is Ω, F or H and decides which letters count.
    """
    letters = MULTIPLIER_LETTERS.get(unit, {})
    pattern = rf"([0-9]*)([{''.join(letters)}])([0-9]*)([{_ANY_TOLERANCE}]?)"
    match = re.fullmatch(pattern, code) if letters else None
    if match is None or not (match[1] or match[3]):
        return None
    value = Decimal(f"{match[1] or '0'}.{match[3] or '0'}").scaleb(letters[match[2]])
    return _add_tolerance(value, match[4], unit)


def read_capacitor_mark(mark: str) -> Marked | None:
    """Return the farads of ``104``, ``473K`` (± 10 %), ``479C`` (± 0.25 pF); None if no mark."""
    match = re.fullmatch(rf"([1-9][0-9])([0-9]) ?([{_ANY_TOLERANCE}]?)", mark)
    if match is None:
        return None
    value = Decimal(match[1]).scaleb(_POWERS_BY_LAST_DIGIT[match[2]] - 12)
    return _add_tolerance(value, match[3], "F")


def _add_tolerance(value: Decimal, letter: str, unit: str) -> Marked:
    if not letter:
        return Marked(value)
    down, up = map(Decimal, TOLERANCE_LETTERS[letter])
    if unit == "F" and value < _TEN_PICOFARAD and letter in _PICOFARAD_LETTERS:
        return Marked(value, value - down.scaleb(-12), value + up.scaleb(-12))
    return Marked(value, value * (1 - down / 100), value * (1 + up / 100))
