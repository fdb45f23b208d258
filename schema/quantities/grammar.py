"""The grammar of quantities: text read into decimals of a unit that the caller knows.

The grammar is closed: ``quantity`` refuses any other text, and names the sources.
"""

from __future__ import annotations

import re
import unicodedata
from decimal import Decimal
from functools import cache
from typing import Final

from .component_codes import MULTIPLIER_LETTERS, read_capacitor_mark, read_letter_code
from .units import POWERS, SPELLINGS, WITHOUT_PREFIX

# Decompositions that are not applied: they would turn 10² into 102 and ½ into 1/2.
_CHANGES_DIGITS: Final = ("<super>", "<sub>", "<fraction>", "<circle>")

_CARELESS_MEGAHERTZ: Final = ("mhz", "mHZ", "mhZ")

Limits = tuple[Decimal | None, Decimal | None, Decimal | None]  # typical, lowest, highest

NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_LEADING_NUMBER: Final = re.compile(rf"({NUMBER}) ?")
_SKEWED: Final = rf"(.+?) ?\+({NUMBER}) ?%? ?/ ?-({NUMBER}) ?%"


def normalise(text: str) -> str:
    """Return the text with one spelling for signs, micro, ohm and spaces; digits never change."""
    plain = text if text.isascii() else "".join(map(_normalise_sign, text))
    plain = plain.replace("μ", "µ").replace("−", "-").replace("–", "-")
    if "+" in plain:
        plain = re.sub(r"\+ ?/? ?-", "±", plain)
    return " ".join(plain.split())


def _normalise_sign(sign: str) -> str:
    """Return a character in its compatibility form, unless that would change digits."""
    if unicodedata.decomposition(sign).startswith(_CHANGES_DIGITS):
        return sign
    return unicodedata.normalize("NFKC", sign)


def read_limits(words: str, unit: str) -> Limits | None:
    """Return typical, lowest and highest value in ``unit``; None if the text is no quantity."""
    # A form is compiled and tried only where its signs are: most texts are one plain value.
    for reader in (_read_named_limits, _read_range, _read_with_tolerance):
        limits = reader(words, unit)
        if limits is not None:
            return limits
    return None


@cache
def _build_unit_pattern(unit: str) -> re.Pattern[str]:
    """Return the pattern of prefix and unit; Ω, F and H may be omitted: 4.7 k, 100n."""
    prefixes = "" if unit in WITHOUT_PREFIX else f"[{''.join(POWERS)}]?"
    letters = "".join({*MULTIPLIER_LETTERS.get(unit, {})} & {*POWERS})
    omitted = f"([{letters}])" if letters else "()(?!)"
    return re.compile(rf"({prefixes})(?:{SPELLINGS[unit]})|{omitted}")


def _read_value(words: str, unit: str) -> Decimal | None:
    """Return one number with prefix and unit, or a letter code without tolerance; else None."""
    # "mhz" is a megahertz written carelessly: no chip of a television works at millihertz.
    if words.endswith(_CARELESS_MEGAHERTZ):
        return None
    number = _LEADING_NUMBER.match(words)
    behind = number and _build_unit_pattern(unit).fullmatch(words, number.end())
    if number is not None and behind is not None:
        return Decimal(number[1]).scaleb(POWERS[behind[1] or behind[2] or ""])
    marked = read_letter_code(re.sub(rf" ?(?:{SPELLINGS[unit]})$", "", words) or words, unit)
    return marked.value if marked is not None and marked.low is None else None


def _read_named_limits(words: str, unit: str) -> Limits | None:
    """Read ``min 4 V typ 4.3 V max 4.8 V`` in any order, each at most once; else return None."""
    if words.lstrip()[:3].lower() not in ("min", "typ", "max"):
        return None
    parts = re.split(r"\b(min|typ|max)(?:\.(?![0-9])|\b)", words, flags=re.IGNORECASE)
    if len(parts) < 3 or parts[0].strip():
        return None
    values: dict[str, Decimal] = {}
    for name, value in zip(parts[1::2], parts[2::2], strict=True):
        number = _read_value(value.strip(" ,;"), unit)
        if number is None or name.lower() in values:
            return None
        values[name.lower()] = number
    return values.get("typ"), values.get("min"), values.get("max")


def _read_range(words: str, unit: str) -> Limits | None:
    """Read ``4.0 .. 4.6 V``, ``4.0 V .. 4.6 V`` or ``4.0 V to 4.6 V``; else return None."""
    if ".." not in words and " to " not in words:
        return None
    ends = re.split(r" ?\.{2,3} ?| to ", words)
    if len(ends) != 2:
        return None
    low, high = _read_value(ends[0], unit), _read_value(ends[1], unit)
    last = _LEADING_NUMBER.match(ends[1])
    if low is None and last is not None and _LEADING_NUMBER.fullmatch(ends[0]):
        low = _read_value(ends[0] + ends[1][last.end() :], unit)
    return None if low is None or high is None else (None, low, high)


def _read_with_tolerance(words: str, unit: str) -> Limits | None:
    """Read a mark, or one value with ``± 5 %``, ``± 50 ppm``, ``± 0.2 V``, ``+80/-20 %``."""
    skewed = re.fullmatch(_SKEWED, words) if "/" in words else None
    value, sign, tolerance = (part.strip() for part in words.partition("±"))
    if unit == "F" and re.fullmatch("[1-9][0-9]{2}F", words):
        return _read_mark(words, unit)  # printed so, F is the tolerance: 473F is 47 nF ± 1 %
    typ = _read_value(skewed[1] if skewed else value, unit)
    if typ is None:
        return None if sign or skewed else _read_mark(words, unit)
    if skewed is not None:
        return (
            typ,
            compute_limits_around(typ, Decimal(skewed[3]))[0],
            compute_limits_around(typ, Decimal(skewed[2]))[1],
        )
    if not sign:
        return typ, None, None
    share = _LEADING_NUMBER.match(tolerance)
    of = tolerance[share.end() :] if share is not None else ""
    if share is not None and of in ("%", "ppm") and unit != of:
        return typ, *compute_limits_around(typ, Decimal(share[1]).scaleb(0 if of == "%" else -4))
    spread = _read_value(tolerance, unit)
    return None if spread is None else (typ, typ - spread, typ + spread)


def _read_mark(words: str, unit: str) -> Limits | None:
    """Read ``473K``, ``104`` or ``4k7J`` as printed on a part, with or without tolerance letter."""
    marked = read_capacitor_mark(words) if unit == "F" else None
    return marked or read_letter_code(words, unit)


def compute_limits_around(typ: Decimal, percent: Decimal) -> tuple[Decimal, Decimal]:
    """Return the values ``percent`` below and above ``typ``, lower first."""
    spread = abs(typ) * percent / 100
    return typ - spread, typ + spread
