"""Quantities of a unit that only their text tells: ``min 7.2 V typ 8 V max 8.8 V``, ``12 mA/V``."""

from __future__ import annotations

import re
from functools import cache
from typing import Final

from .errors import QuantityError
from .grammar import NUMBER, normalise
from .quantity import LONGEST_TEXT, Quantity, parse_quantity
from .units import POWERS, SPELLINGS, UNITS, WITHOUT_PREFIX

# A share is often only the tolerance of another unit, so it is looked for last.
_ORDER: Final = (*(unit for unit in UNITS if unit not in ("%", "ppm")), "%", "ppm")


def parse_quantity_of_any_unit(text: str) -> Quantity:
    """Return the text as a quantity in the unit that it names; raise QuantityError without one.

    >>> parse_quantity_of_any_unit("min 7.2 V typ 8 V max 8.8 V").unit
    'V'
    """
    unit = find_unit_in(text)
    if unit is None:
        raise QuantityError(text[:_LONGEST_SHOWN], _EXPECTED)
    return parse_quantity(text, unit)


_LONGEST_SHOWN: Final = 60
_EXPECTED: Final = f"a number with one of the units {', '.join(UNITS)}, such as 450 mVpp"


def find_unit_in(text: str) -> str | None:
    """Return the unit, a key of ``UNITS``, behind the first number that has one; None without.

    >>> find_unit_in("12 mA"), find_unit_in("0.45 Vpp"), find_unit_in("4k7")
    ('A', 'Vpp', None)
    """
    if len(text) > LONGEST_TEXT:
        return None
    words = normalise(text)
    ends = [number.end() for number in re.finditer(rf"{NUMBER} ?", words)]
    return next(
        (unit for unit in _ORDER if any(_build_pattern(unit).match(words, end) for end in ends)),
        None,
    )


@cache
def _build_pattern(unit: str) -> re.Pattern[str]:
    prefixes = "" if unit in WITHOUT_PREFIX else f"[{''.join(POWERS)}]?"
    # "12 m" of "12 mA" is no length, and "5 V" of "5 V p-p" no plain voltage.
    return re.compile(rf"{prefixes}(?:{SPELLINGS[unit]})(?![\w/°]| ?(?:p-?p|rms)\b)", re.A)
