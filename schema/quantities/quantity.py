"""Quantities as people write them, parsed once on input into SI floats with a unit.

``parse_quantity("4.2 V ± 5 %", "V")`` holds the typical value, its limits, and the text as
written. The grammar is closed: a number needs its unit, a comma is never interpreted, and every
refusal suggests the right spelling. Digits are carried as decimals until the last step, so
4.2 V ± 5 % is exactly 3.99 to 4.41.

Sources: prefixes, SI Brochure (BIPM, 9th edition) table 7; letter and digit codes for
resistors and capacitors, IEC 60062; the three-digit mark of capacitors (picofarad, the last
digit counts zeros), common practice.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from decimal import Decimal
from functools import lru_cache
from typing import Final

from .errors import QuantityError, explain_unreadable, suggest_without_comma
from .grammar import compute_limits_around, normalise, read_limits
from .units import POWERS, UNITS, WITHOUT_PREFIX

_PRINTED_PREFIXES: Final = {power: sign for sign, power in POWERS.items() if sign not in ("u", "K")}
LONGEST_TEXT: Final = 120
"""The most characters of a quantity."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value in SI units with its limits, and the text it was read from.

    ``typ``, ``low`` and ``high`` are in ``unit`` without prefix (percent, ppm, degrees and
    decibels unchanged); a limit that is not stated is None, but one of the three is given.
    They are finite and in rising order, else QuantityError is raised. Two quantities are equal
    when their values are, however they were written.
    """

    unit: str
    typ: float | None = None
    low: float | None = None
    high: float | None = None
    text: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        """Raise QuantityError for values that are missing, infinite or not in order."""
        known = [value for value in (self.low, self.typ, self.high) if value is not None]
        if not known or not all(map(math.isfinite, known)):
            called, example = UNITS[self.unit]
            expected = f"{called} with finite digits, such as {example}"
            raise QuantityError(self.text or str(known), expected)
        if known != sorted(known):
            ordered = " .. ".join(print_value(value, self.unit, None) for value in sorted(known))
            shown_text = self.text or str(known)
            raise QuantityError(shown_text, "minimum, typical, maximum in rising order", ordered)
        if not self.text:
            object.__setattr__(self, "text", print_quantity(self))

    def __str__(self) -> str:
        return self.text

    @property
    def nominal(self) -> float:
        """The one number to compute with: typical, else the middle, else the only limit."""
        if self.typ is not None:
            return self.typ
        if self.low is not None and self.high is not None:
            return float((_to_decimal(self.low) + _to_decimal(self.high)) / 2)
        limit = self.low if self.low is not None else self.high
        assert limit is not None  # __post_init__ ensures it
        return limit

    @property
    def tolerance_stated(self) -> bool:
        """True if the source gives at least one limit, with or without a typical value."""
        return self.low is not None or self.high is not None

    def limits(self, assumed_percent: float) -> tuple[float, float]:
        """Return lowest and highest value; a missing limit is ``assumed_percent`` from nominal."""
        if self.low is not None and self.high is not None:
            return self.low, self.high
        return _assume_limits(self, assumed_percent)


@lru_cache(maxsize=4096)  # chips repeat the same few values
def _assume_limits(quantity: Quantity, assumed_percent: float) -> tuple[float, float]:
    low, high = map(
        float, compute_limits_around(_to_decimal(quantity.nominal), _to_decimal(assumed_percent))
    )
    return (
        quantity.low if quantity.low is not None else low,
        quantity.high if quantity.high is not None else high,
    )


@lru_cache(maxsize=4096)  # notes and chips repeat the same few values
def parse_quantity(text: str, unit: str) -> Quantity:
    """Read ``text`` as a quantity in ``unit`` (a key of ``UNITS``); raise QuantityError.

    >>> parse_quantity("4k7", "Ω").nominal
    4700.0
    >>> parse_quantity("4.2 V ± 5 %", "V").limits(10)
    (3.99, 4.41)
    """
    if len(text) > LONGEST_TEXT:
        called, example = UNITS[unit]
        raise QuantityError(text[:20] + "…", f"{called} in a few words, such as {example}")
    words = normalise(text)
    if "," in words and re.search(r",[0-9]", words):
        raise QuantityError(
            text, "a decimal point, and no comma in a number", suggest_without_comma(words)
        )
    limits = read_limits(words, unit)
    if limits is None:
        raise explain_unreadable(text, words, unit)
    typ, low, high = (None if value is None else float(value) for value in limits)
    if typ == 0 and re.search("[±+].*(%|ppm)", words):
        expected = f"a tolerance in {unit}, since a share of zero is zero"
        raise QuantityError(text, f"{expected}, such as 0 {unit} ± 0.1 {unit}")
    return Quantity(unit, typ, low, high, text.strip())


def print_quantity(quantity: Quantity) -> str:
    """Write a quantity so that ``parse_quantity`` reads the same values back."""
    unit, typ, low, high = quantity.unit, quantity.typ, quantity.low, quantity.high
    if low is not None and high is not None:
        if typ is None:
            return f"{print_value(low, unit, None)} .. {print_value(high, unit, None)}"
        tolerance = _find_tolerance(unit, typ, low, high)
        if tolerance is not None:
            return f"{print_value(typ, unit, None)} ± {tolerance}"
    if typ is not None and low is None and high is None:
        return print_value(typ, unit, None)
    named = (("min", low), ("typ", typ), ("max", high))
    return " ".join(f"{word} {print_value(v, unit, None)}" for word, v in named if v is not None)


def _find_tolerance(unit: str, typ: float, low: float, high: float) -> str | None:
    """Return the share, else the spread, that gives exactly these limits; None if neither does."""
    middle, spread = _to_decimal(typ), _to_decimal(high) - _to_decimal(typ)
    if typ and unit != "%":
        percent = Decimal(f"{spread / abs(middle) * 100:.4g}")
        if (low, high) == tuple(map(float, compute_limits_around(middle, percent))):
            return f"{_print_digits(percent)} %"
    if (low, high) == (float(middle - spread), float(middle + spread)):
        return print_value(float(spread), unit, None)
    return None


def print_value(value: float, unit: str, figures: int | None = 3) -> str:
    """Return a number with the engineering prefix that fits; ``figures=None`` keeps every digit.

    >>> print_value(15625.0, "Hz"), print_value(0.00045, "V"), print_value(4700, "Ω")
    ('15.6 kHz', '450 µV', '4.7 kΩ')
    """
    gap = "" if unit == "°" else " "
    if not math.isfinite(value):
        return f"{value}{gap}{unit}"
    digits = Decimal(f"{value:.{figures}g}") if figures else _to_decimal(value)
    power = digits.adjusted() // 3 * 3 if digits else 0
    if power not in _PRINTED_PREFIXES:  # beyond every prefix
        return f"{float(digits)!r}{gap}{unit}"
    if unit in WITHOUT_PREFIX:
        power = 0
    return f"{_print_digits(digits.scaleb(-power))}{gap}{_PRINTED_PREFIXES[power]}{unit}"


def print_span(low: float, high: float, unit: str, figures: int = 3) -> str:
    """Return two figures with one unit behind both.

    >>> print_span(3.06, 3.74, "V"), print_span(0.8, 1.2, "Vpp")
    ('3.06 to 3.74 V', '0.8 to 1.2 Vpp')
    """
    ends = [Decimal(f"{value:.{figures}g}") for value in (low, high)]
    power = max(end.adjusted() // 3 * 3 if end else -24 for end in ends)
    if unit in WITHOUT_PREFIX or power not in _PRINTED_PREFIXES:
        power = 0
    first, last = (_print_digits(end.scaleb(-power)) for end in ends)
    return f"{first} to {last} {_PRINTED_PREFIXES[power]}{unit}"


def _print_digits(digits: Decimal) -> str:
    """Return digits without exponent and idle zeros: 10, never 1E+1 or 10.0; 0, never -0."""
    shown = f"{digits:f}" if digits else "0"
    return shown.rstrip("0").rstrip(".") if "." in shown else shown


def _to_decimal(value: float) -> Decimal:
    """Return the shortest decimal that is this float, as a person would write it."""
    return Decimal(repr(float(value)))
