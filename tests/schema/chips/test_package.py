"""The package: refused descriptions, and the positions of the pins."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.schema import Package
from pinfolio.schema.chips.package import compute_body_size_mm, place_pins
from pydantic import ValidationError

ROWS = {"SIP": 1, "ZIP": 1, "DIP": 2, "SDIP": 2, "SO": 2, "SSOP": 2, "QFP": 4}


def make_package(**fields: Any) -> Package:
    return Package.model_validate(fields)


packages = st.sampled_from(sorted(ROWS)).flatmap(
    lambda family: (
        st.integers(2, 304 // ROWS[family])
        .map(lambda per_row: per_row * ROWS[family])
        .map(lambda pins: make_package(family=family, pins=pins))
    )
)


def test_stated_dimensions_come_before_the_usual_ones() -> None:
    stated = make_package(family="DIP", pins="24", pitch="2.5 mm", row_spacing="7.62 mm")
    assert (stated.pitch_mm, stated.row_spacing_mm) == pytest.approx((2.5, 7.62))
    assert stated.name == "DIP-24"


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"family": "DIP", "pins": 15}, "a DIP cannot have 15 pins; give a multiple of 2"),
        ({"family": "QFP", "pins": 42}, "a QFP cannot have 42 pins; give a multiple of 4"),
        ({"family": "SIP", "pins": 1}, "a package cannot have 1 pins; give 2 to 304"),
        ({"family": "SIP", "pins": 305}, "a package cannot have 305 pins; give 2 to 304"),
        ({"family": "DIP", "pins": 8, "pitch": "0 mm"}, "pitch 0 mm"),
        (
            {"family": "DIP", "pins": 8, "pitch": "-2.54 mm"},
            "give 0.1 mm to 10 mm",
        ),
        (
            {"family": "DIP", "pins": 8, "row_spacing": "7.62 m"},
            "7.62 m is on no package",
        ),
        ({"family": "DIL", "pins": 8}, "'DIP', 'SDIP'"),
    ],
)
def test_refusals(fields: dict[str, Any], message: str) -> None:
    with pytest.raises(ValidationError) as refused:
        make_package(**fields)
    assert message in str(refused.value)


@given(packages)
def test_every_pin_has_its_own_place_in_order(package: Package) -> None:
    feet = place_pins(package)
    assert [number for number, _, _ in feet] == list(range(1, package.pins + 1))
    assert len({(round(x, 6), round(y, 6)) for _, x, y in feet}) == package.pins
    assert sum(x for _, x, _ in feet) == pytest.approx(0, abs=1e-6)


@given(packages)
def test_the_body_is_between_the_rows_and_as_long_as_they_are(package: Package) -> None:
    width_mm, height_mm = compute_body_size_mm(package)
    span_mm = (package.pins // ROWS[package.family] - 1) * package.pitch_mm
    if ROWS[package.family] == 1:
        assert width_mm >= span_mm
    else:
        assert 0 < width_mm < package.row_spacing_mm
        assert height_mm >= span_mm


def test_a_single_row_runs_left_to_right() -> None:
    feet = place_pins(make_package(family="SIP", pins=9))
    assert {y for _, _, y in feet} == {0.0}
    assert [after[1] - before[1] for before, after in pairwise(feet)] == pytest.approx([2.54] * 8)


def test_a_zip_is_staggered_odd_pins_nearer() -> None:
    feet = place_pins(make_package(family="ZIP", pins=15, row_spacing="5.08 mm"))
    assert {y for number, _, y in feet if number % 2} == {2.54}
    assert {y for number, _, y in feet if not number % 2} == {-2.54}


def test_a_flat_pack_has_its_pins_on_four_sides() -> None:
    flat = make_package(family="QFP", pins=32)
    half_mm = flat.row_spacing_mm / 2
    sides = [
        {n for n, x, _ in place_pins(flat) if x == -half_mm},
        {n for n, _, y in place_pins(flat) if y == half_mm},
        {n for n, x, _ in place_pins(flat) if x == half_mm},
        {n for n, _, y in place_pins(flat) if y == -half_mm},
    ]
    assert sides == [set(range(i, i + 8)) for i in (1, 9, 17, 25)]
