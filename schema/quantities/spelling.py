"""Quantities spelt one way: ``4.2V +/-5%`` becomes ``4.2 V ± 5 %``; the digits stay as written.

Spacing and symbols follow the SI Brochure (BIPM, 9th edition, 5.4.3): a space between number and
unit, also before the percent sign, none before the degree sign.
"""

from __future__ import annotations

import re
from functools import cache, partial

from .errors import QuantityError
from .grammar import NUMBER, normalise
from .quantity import parse_quantity
from .units import POWERS, SPELLINGS, WITHOUT_PREFIX

_WORDS = re.compile(r"\b(min|typ|max)\b\.? ?", re.IGNORECASE)
_PREFIXES = {"u": "µ", "K": "k"}


def respell_quantity(text: str, unit: str) -> str:
    """Return the quantity in canonical spelling; another text comes back unchanged.

    >>> respell_quantity("4.2volt +/-5%", "V")
    '4.2 V ± 5 %'
    >>> respell_quantity("4.0 to 4.6V", "V"), respell_quantity("4k7", "Ω")
    ('4.0 .. 4.6 V', '4k7')
    """
    try:
        meant = parse_quantity(text, unit)
        words = _respell(normalise(text), unit)
        return words if parse_quantity(words, unit) == meant else text
    except QuantityError:
        return text


def _respell(words: str, unit: str) -> str:
    words = re.sub(r" ?\.{2,3} ?| to ", " .. ", words)
    words = re.sub(r" ?± ?", " ± ", words)
    words = _WORDS.sub(lambda found: f"{found[1].lower()} ", words)
    for one in dict.fromkeys((unit, "%", "ppm")):
        pattern = _build_value_pattern(one)
        words = pattern.sub(partial(_respell_value, unit=one), words)
    return words.strip()


@cache
def _build_value_pattern(unit: str) -> re.Pattern[str]:
    prefixes = "" if unit in WITHOUT_PREFIX else f"[{''.join(POWERS)}]?"
    return re.compile(rf"({NUMBER}) ?({prefixes})(?:{SPELLINGS[unit]})(?![A-Za-z0-9])")


def _respell_value(found: re.Match[str], unit: str) -> str:
    gap = "" if unit == "°" else " "
    return f"{found[1]}{gap}{_PREFIXES.get(found[2], found[2])}{unit}"
