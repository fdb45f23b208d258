"""Figures as a technician types them: ``470``, ``0,47 V``, ``470m``, ``4k7``, ``0.9..1.2 MHz``.

More is understood here than in a chip file, since the unit is known from the question: a bare
number is taken in that unit, and a decimal comma is one where it cannot part thousands.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

from ...schema.quantities import QuantityError, parse_quantity
from ...schema.quantities.grammar import NUMBER, normalise
from ...schema.quantities.units import POWERS
from ...schema.reading import BadReading

UNITS: Final = {"dc": "V", "vpp": "Vpp", "frequency": "Hz", "ripple": "Vpp", "resistance": "Ω"}
_PREFIXES: Final = "".join(sign for sign in POWERS if sign)
_LETTER_CODE: Final = re.compile(rf"([0-9]+)([{_PREFIXES}RV])([0-9]+)")
_DECIMAL_COMMA: Final = re.compile(r"(?<![0-9,.])([0-9]+),([0-9]+)(?![0-9]*[,.])")
_THOUSANDS_DIGITS: Final = 3


@dataclass(frozen=True)
class Figure:
    """A figure as it was read, or the range that it wandered over."""

    value: float
    """In SI units; of a range its middle."""
    half_digit: float
    """Half of the last digit that was written down; of a range half of its width."""
    text: str = field(compare=False)
    """As a chip file or a note would have it: ``0.47 V``."""
    is_range: bool = False


def read_figure(text: str, unit: str) -> Figure:
    """Return a figure in ``unit`` (``V``, ``Vpp``, ``Hz``, ``Ω``, ``F``, ``H``).

    Raises BadReading.
    """
    words = _make_plain(text)
    for spelling in _list_spellings(words, unit):
        try:
            quantity = parse_quantity(spelling, unit)
        except QuantityError:
            continue
        low, high = quantity.low, quantity.high
        if quantity.typ is not None and low is None and high is None:
            return Figure(quantity.typ, _compute_half_digit(spelling), spelling)
        if quantity.typ is None and low is not None and high is not None:
            return Figure(quantity.nominal, (high - low) / 2, spelling, True)
    try:
        parse_quantity(words, unit)
    except QuantityError as refused:
        raise BadReading(str(refused)) from None
    raise BadReading(
        f"{text!r}: expected one figure as it was read, or a range such as '0.9..1.2 MHz'"
    )


def _make_plain(text: str) -> str:
    """Return the text with decimal points. Raises BadReading where a comma may part thousands."""
    words = normalise(text)

    def pointed(found: re.Match[str]) -> str:
        integer_digits, rest = found.groups()
        if (
            len(rest) == _THOUSANDS_DIGITS
            and integer_digits.strip("0")
            and len(integer_digits) <= _THOUSANDS_DIGITS
        ):
            raise BadReading(
                f"{text!r}"
                f", where the comma may part thousands or decimals; write {integer_digits}.{rest}"
                f" or {integer_digits}{rest}"
            )
        return f"{integer_digits}.{rest}"

    return _DECIMAL_COMMA.sub(pointed, words)


def _list_spellings(words: str, unit: str) -> list[str]:
    """Return the ways to complete a text by the unit that was asked for, as written first."""
    spellings = []
    code = _LETTER_CODE.fullmatch(re.sub(rf" ?{re.escape(unit)}$", "", words))
    if code is not None:
        prefix = "" if code[2] in "RV" else code[2]
        spellings.append(f"{code[1]}.{code[3]} {prefix}{unit}")
    spellings.append(words)
    if re.fullmatch(rf"{NUMBER}", words):
        spellings.append(f"{words} {unit}")
    elif re.fullmatch(rf"{NUMBER} ?[{_PREFIXES}]", words):
        spellings.append(f"{words}{unit}")
    ends = re.fullmatch(rf"({NUMBER}) ?(?:\.\.+|-|to) ?({NUMBER}) ?([^0-9]*)", words)
    if ends is not None:
        tail = ends[3] or unit
        tail = f"{tail}{unit}" if tail in POWERS and tail != unit else tail
        spellings.append(f"{ends[1]} {tail} .. {ends[2]} {tail}")
    if unit == "Vpp":  # what was asked is known: a bare V will do
        spellings += [
            re.sub(r"V$", "Vpp", spelling) for spelling in spellings if spelling.endswith("V")
        ]
    return spellings


def _compute_half_digit(spelling: str) -> float:
    """Return half of the last digit written, with its prefix: of ``3.10 kHz`` 5 Hz."""
    number = re.match(rf"({NUMBER}) ?([{_PREFIXES}]?)", spelling)
    if number is None:
        return 0.0
    exponent = Decimal(number[1]).as_tuple().exponent
    power = POWERS[number[2]] if len(spelling) > number.end(1) else 0
    return 0.5 * 10.0 ** (int(exponent) + power)
