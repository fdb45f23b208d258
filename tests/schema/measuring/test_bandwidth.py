"""Bandwidth and rise time of one pole, and of stages in cascade."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.schema.measuring.bandwidth import (
    combine_rise_times_s,
    compute_one_pole_gain,
    compute_rise_time_s,
)


@pytest.mark.parametrize(
    ("ratio", "decibels"), [(0.0, 0.0), (0.1, -0.0432), (1.0, -3.0103), (10.0, -20.0432)]
)
def test_one_pole_falls_by_20_db_in_a_decade(ratio: float, decibels: float) -> None:
    """10 log10(1 + (f / fc)²), tabulated in any circuit textbook."""
    assert 20 * math.log10(compute_one_pole_gain(ratio * 20e6, 20e6)) == pytest.approx(
        decibels, abs=1e-4
    )


def test_rise_time_times_bandwidth_is_0_35() -> None:
    assert compute_rise_time_s(20e6) * 20e6 == pytest.approx(0.35, abs=0.0005)
    assert compute_rise_time_s(100e6) == pytest.approx(3.5e-9, rel=0.002)


def test_rise_times_add_as_the_sides_of_a_right_angle() -> None:
    assert combine_rise_times_s(5e-9, 12e-9) == pytest.approx(13e-9)
    assert combine_rise_times_s(2e-9, 3e-9, 6e-9) == pytest.approx(7e-9)


@given(st.lists(st.floats(1e-10, 1e-6), min_size=1, max_size=4))
def test_a_cascade_is_slower_than_its_slowest_stage(rise_times_s: list[float]) -> None:
    combined_s = combine_rise_times_s(*rise_times_s)
    assert max(rise_times_s) * (1 - 1e-12) <= combined_s <= sum(rise_times_s) * (1 + 1e-12)
