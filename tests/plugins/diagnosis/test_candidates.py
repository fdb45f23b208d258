"""Candidates from the scrap box: two parts together, and preferred values.

Sources: series and parallel, any circuit textbook; preferred values, IEC 60063, checked with the
reference library ``eseries``.
"""

from __future__ import annotations

from typing import Any

import pytest
from eseries import E12, E24, find_greater_than_or_equal, find_less_than_or_equal
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.plugins.diagnosis.substitution.candidates import (
    CannotSubstitute,
    combine_box,
    find_preferred,
    read_candidate,
)
from pinfolio.schema import Part, parse_quantity


def part(kind: str, value: str) -> Part:
    fields: dict[str, Any] = {"ref": "P1", "kind": kind, "value": value, "purpose": "test"}
    return Part.model_validate({**fields, "joins": ("pin 1", "ground")})


RESISTOR, CAPACITOR, COIL = (
    part("resistor", "1 kΩ"), part("capacitor", "10 nF"), part("coil", "10 µH"),
)  # fmt: skip


@pytest.mark.parametrize(
    ("of", "text", "value"),
    [
        (RESISTOR, "1k series 220R", 1220),
        (RESISTOR, "300R parallel 600R", 200),
        (COIL, "10u series 5u", 15e-6),
        (COIL, "30u parallel 60u", 20e-6),
        (CAPACITOR, "22n parallel 4n7", 26.7e-9),
        (CAPACITOR, "30n series 60n", 20e-9),
    ],
)
def test_two_parts_together(of: Part, text: str, value: float) -> None:
    found = read_candidate(text, of)
    assert (found.text, found.rating_v) == (text, None)
    assert found.value == pytest.approx(value)


def test_the_lower_rating_counts() -> None:
    assert read_candidate("22n 63V", CAPACITOR).rating_v == 63
    assert read_candidate("22n 63V parallel 22n 100V", CAPACITOR).rating_v == 63
    assert read_candidate("22n parallel 22n 100V", CAPACITOR).rating_v == 100
    with pytest.raises(CannotSubstitute):
        read_candidate("odd", CAPACITOR)


def test_a_box_gives_each_alone_and_every_two() -> None:
    found = {one.text: one.value for one in combine_box(["10n", "20n 63V"], CAPACITOR)}
    assert found == pytest.approx(
        {
            "10n": 10e-9,
            "20n 63V": 20e-9,
            "10n parallel 10n": 20e-9,
            "10n series 10n": 5e-9,
            "10n parallel 20n 63V": 30e-9,
            "10n series 20n 63V": 20e-9 / 3,
            "20n 63V parallel 20n 63V": 40e-9,
            "20n 63V series 20n 63V": 10e-9,
        }
    )
    ratings = {one.text: one.rating_v for one in combine_box(["10n", "20n 63V"], CAPACITOR)}
    assert ratings["10n series 20n 63V"] == 63
    assert ratings["10n series 10n"] is None


@pytest.mark.parametrize(("of", "series"), [(RESISTOR, E24), (CAPACITOR, E12), (COIL, E12)])
@given(share=st.floats(1.0, 9.99))
def test_the_nearest_preferred_value(of: Part, series: Any, share: float) -> None:
    unit = {"resistor": "Ω", "capacitor": "F", "coil": "H"}[of.kind]
    value = share * (1e3 if unit == "Ω" else 1e-8)
    below, above = find_less_than_or_equal(series, share), find_greater_than_or_equal(series, share)
    nearest = below if share / below < above / share else above  # in proportion
    told = find_preferred(value, of)
    if told:
        assert parse_quantity(told, unit).nominal / value == pytest.approx(nearest / share)
        assert abs(nearest / share - 1) > 0.0049
    else:
        assert abs(nearest / share - 1) < 0.0051


@pytest.mark.parametrize(
    ("value", "told"),
    [(1000.0, ""), (1004.0, ""), (1006.0, "1 kΩ"), (9600.0, "10 kΩ"), (1220.0, "1.2 kΩ")],
)
def test_a_value_of_the_series_needs_no_other(value: float, told: str) -> None:
    assert find_preferred(value, RESISTOR) == told
