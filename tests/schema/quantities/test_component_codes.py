"""Reading the short codes on parts: the meaning of each letter, and texts that are no code."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.schema.quantities.component_codes import (
    MULTIPLIER_LETTERS,
    TOLERANCE_LETTERS,
    Marked,
    read_capacitor_mark,
    read_letter_code,
)


@pytest.mark.parametrize(
    ("code", "unit", "value"),
    [
        ("4k7", "Ω", "4700"),
        ("4K7", "Ω", "4700"),
        ("R47", "Ω", "0.47"),
        ("47R", "Ω", "47"),
        ("2M2", "Ω", "2.2e6"),
        ("4L7", "Ω", "0.0047"),
        ("8p2", "F", "8.2e-12"),
        ("p33", "F", "0.33e-12"),
        ("2u2", "F", "2.2e-6"),
        ("2µ2", "F", "2.2e-6"),
        ("10n", "F", "10e-9"),
        ("4u7", "H", "4.7e-6"),
    ],
)
def test_the_letter_stands_in_the_place_of_the_decimal_point(
    code: str, unit: str, value: str
) -> None:
    assert read_letter_code(code, unit) == Marked(Decimal(value))


def test_the_tolerance_letter_comes_last_even_when_it_looks_like_a_multiplier() -> None:
    ten_percent = Marked(Decimal(4700), Decimal(4230), Decimal(5170))
    assert read_letter_code("4K7K", "Ω") == ten_percent
    assert read_letter_code("4M7M", "Ω") == Marked(
        Decimal("4.7e6"), Decimal("3.76e6"), Decimal("5.64e6")
    )


@pytest.mark.parametrize(
    ("mark", "picofarad", "low", "high"),
    [
        ("104", "1e5", None, None),
        ("100", "10", None, None),
        ("473J", "47000", "44650", "49350"),
        ("473K", "47000", "42300", "51700"),
        ("103Z", "10000", "8000", "18000"),
        ("479", "4.7", None, None),
        ("479C", "4.7", "4.45", "4.95"),
        ("828D", "0.82", "0.32", "1.32"),
    ],
)
def test_three_digits_count_picofarad(
    mark: str, picofarad: str, low: str | None, high: str | None
) -> None:
    """Below 10 pF the letters B to G give picofarad, from there on percent."""
    expected = (None if pf is None else Decimal(pf).scaleb(-12) for pf in (picofarad, low, high))
    assert read_capacitor_mark(mark) == Marked(*expected)


@pytest.mark.parametrize("code", ["", "k", "47", "4k7k7", "4x7", "4k7Y", "-4k7", "4 k7", "٤k7"])
def test_what_is_no_letter_code(code: str) -> None:
    assert read_letter_code(code, "Ω") is None


@pytest.mark.parametrize("mark", ["", "47", "4730", "047", "473Y", "4.7", "-104"])
def test_what_is_no_capacitor_mark(mark: str) -> None:
    assert read_capacitor_mark(mark) is None


def test_volts_have_no_code() -> None:
    assert read_letter_code("4k7", "V") is None


digits = st.integers(1, 999)


@given(st.sampled_from(sorted(MULTIPLIER_LETTERS["Ω"])), digits, digits)
def test_moving_the_letter_is_moving_the_point(letter: str, whole: int, part: int) -> None:
    coded = read_letter_code(f"{whole}{letter}{part}", "Ω")
    unscaled = read_letter_code(f"{whole}R{part}", "Ω")
    assert coded is not None
    assert unscaled is not None
    assert coded.value == unscaled.value.scaleb(MULTIPLIER_LETTERS["Ω"][letter])


@given(st.integers(10, 99), st.integers(0, 9), st.sampled_from(sorted(TOLERANCE_LETTERS)))
def test_limits_lie_around_the_marked_value(figures: int, zeros: int, letter: str) -> None:
    marked = read_capacitor_mark(f"{figures}{zeros}{letter}")
    assert marked is not None
    assert marked.low is not None
    assert marked.high is not None
    assert marked.low < marked.value < marked.high


@given(st.text(max_size=12), st.sampled_from([*MULTIPLIER_LETTERS, "V"]))
def test_any_text_is_a_mark_or_none(text: str, unit: str) -> None:
    for marked in (read_letter_code(text, unit), read_capacitor_mark(text)):
        assert marked is None or marked.value.is_finite()
