"""Quantities spelt one way: the same value, the digits as written, and twice is like once.

The space between number and unit, before the percent sign too, and none before the degree sign:
SI Brochure, 9th edition, section 5.4.3.
"""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.schema.quantities import UNITS, QuantityError, parse_quantity
from pinfolio.schema.quantities.grammar import normalise
from pinfolio.schema.quantities.spelling import respell_quantity


@pytest.mark.parametrize(
    ("text", "unit", "wanted"),
    [
        ("4.2V", "V", "4.2 V"),
        ("4.20 volts", "V", "4.20 V"),  # a nought says how well a value is known
        ("4.2 V +/-5%", "V", "4.2 V ± 5 %"),
        ("4.2V±0.2V", "V", "4.2 V ± 0.2 V"),
        ("4.0 to 4.6V", "V", "4.0 .. 4.6 V"),
        ("4.0V...4.6V", "V", "4.0 V .. 4.6 V"),
        ("Min. 4V Typ 4.3V MAX 4.8V", "V", "min 4 V typ 4.3 V max 4.8 V"),
        ("450 mV p-p", "Vpp", "450 mVpp"),
        ("64us", "s", "64 µs"),
        ("10 Kohms", "Ω", "10 kΩ"),
        ("4k7", "Ω", "4k7"),  # as printed on the part
        ("104", "F", "104"),
        ("10uF +80/-20%", "F", "10 µF +80/-20 %"),
        ("4.433619MHz ± 50ppm", "Hz", "4.433619 MHz ± 50 ppm"),
        ("75%", "%", "75 %"),
        ("135 deg", "°", "135°"),
        ("nonsense", "V", "nonsense"),
        ("4,2 V", "V", "4,2 V"),
    ],
)
def test_one_spelling(text: str, unit: str, wanted: str) -> None:
    assert respell_quantity(text, unit) == wanted


spaces = st.sampled_from(["", " ", "  "])
numbers = st.decimals(0, 999, places=2, allow_nan=False, allow_infinity=False).map(str)
prefixes = st.sampled_from(["", "m", "u", "µ", "k", "K", "M"])
tolerances = st.sampled_from(["", "±5%", " +/- 10 %", " ± 50ppm", "+80/-20%"])


@given(numbers, spaces, prefixes, st.sampled_from(["V", "Hz", "s", "Ω", "A"]), tolerances)
def test_the_value_and_the_digits_stay(
    number: str, space: str, prefix: str, unit: str, tolerance: str
) -> None:
    text = f"{number}{space}{prefix}{unit}{tolerance}"
    once = respell_quantity(text, unit)
    assert respell_quantity(once, unit) == once
    assert re.findall("[0-9.]+", once) == re.findall("[0-9.]+", normalise(text))
    try:
        meant = parse_quantity(text, unit)
    except QuantityError:
        assert once == text
    else:
        assert parse_quantity(once, unit) == meant


@given(st.text("0123456789 .,kKmµuVHzΩFR%±-+/top", max_size=20), st.sampled_from(sorted(UNITS)))
def test_no_text_is_respelt_into_another_value(text: str, unit: str) -> None:
    once = respell_quantity(text, unit)
    try:
        meant = parse_quantity(text, unit)
    except QuantityError:
        assert once == text
    else:
        assert parse_quantity(once, unit) == meant
        assert respell_quantity(once, unit) == once
