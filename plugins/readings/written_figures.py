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
    plain_text = _make_plain(text)
    for spelling in _list_spellings(plain_text, unit):
        try:
            quantity = parse_quantity(spelling, unit)
        except QuantityError:
            continue
        # A reading is one figure or a range it wandered over; a tolerance belongs to a data sheet.
        low, high = quantity.low, quantity.high
        if quantity.typ is not None and low is None and high is None:
            return Figure(quantity.typ, _compute_half_digit(spelling), spelling)
        if quantity.typ is None and low is not None and high is not None:
            return Figure(quantity.nominal, (high - low) / 2, spelling, is_range=True)
    # The error is about the text as typed, not about a spelling tried for it.
    try:
        parse_quantity(plain_text, unit)
    except QuantityError as refused:
        raise BadReading(str(refused)) from None
    raise BadReading(
        f"{text!r}: expected one figure as it was read, or a range such as '0.9..1.2 MHz'"
    )


def _make_plain(text: str) -> str:
    """Return the text with decimal points. Raises BadReading where a comma may part thousands."""

    def replace_comma(match: re.Match[str]) -> str:
        integer, decimals = match.groups()
        # 1,234 may be a thousand or a little more than one; 0,234 and 1,23 are only decimals.
        is_group_of_thousands = len(decimals) == _THOUSANDS_DIGITS
        may_precede_it = bool(integer.strip("0")) and len(integer) <= _THOUSANDS_DIGITS
        if is_group_of_thousands and may_precede_it:
            raise BadReading(
                f"{text!r}"
                f", where the comma may part thousands or decimals; write {integer}.{decimals}"
                f" or {integer}{decimals}"
            )
        return f"{integer}.{decimals}"

    return _DECIMAL_COMMA.sub(replace_comma, normalise(text))


def _list_spellings(text: str, unit: str) -> list[str]:
    """Return the ways to complete a text by the unit that was asked for, likeliest first."""
    spellings = []
    # 4k7 is 4.7 kΩ, 3V1 is 3.1 V (letter code of IEC 60062).
    letter_code = _LETTER_CODE.fullmatch(re.sub(rf" ?{re.escape(unit)}$", "", text))
    if letter_code is not None:
        integer, letter, decimals = letter_code.groups()
        prefix = "" if letter in "RV" else letter
        spellings.append(f"{integer}.{decimals} {prefix}{unit}")

    spellings.append(text)
    if re.fullmatch(rf"{NUMBER}", text):
        spellings.append(f"{text} {unit}")
    elif re.fullmatch(rf"{NUMBER} ?[{_PREFIXES}]", text):
        spellings.append(f"{text}{unit}")

    # In "0.9..1.2 M" prefix and unit follow the second number and count for both.
    written_range = re.fullmatch(rf"({NUMBER}) ?(?:\.\.+|-|to) ?({NUMBER}) ?([^0-9]*)", text)
    if written_range is not None:
        low, high, written_unit = written_range.groups()
        full_unit = written_unit or unit
        if full_unit in POWERS and full_unit != unit:
            full_unit = f"{full_unit}{unit}"
        spellings.append(f"{low} {full_unit} .. {high} {full_unit}")

    # Peak to peak was asked for, so that a bare V will do.
    if unit == "Vpp":
        in_volts = [spelling for spelling in spellings if spelling.endswith("V")]
        spellings += [re.sub(r"V$", "Vpp", spelling) for spelling in in_volts]
    return spellings


def _compute_half_digit(spelling: str) -> float:
    """Return half of the last digit written, with its prefix: of ``3.10 kHz`` 5 Hz."""
    number = re.match(rf"({NUMBER}) ?([{_PREFIXES}]?)", spelling)
    if number is None:
        return 0.0
    exponent = Decimal(number[1]).as_tuple().exponent
    power = POWERS[number[2]] if len(spelling) > number.end(1) else 0
    return 0.5 * 10.0 ** (int(exponent) + power)
