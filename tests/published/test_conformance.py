"""The probability that a value is within its limits, against the examples of JCGM 106."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.plugins.readings.conformance import (
    compute_probability_below,
    compute_probability_within,
    convert_half_width,
)
from scipy import stats


@pytest.mark.parametrize(
    ("value", "uncertainty", "low", "high", "probability"),
    [
        (-5.47, 0.05, -math.inf, -5.40, 0.92),  # 7.3, example 1: breakdown of a zener diode
        (509.7, 8.6, 490.0, math.inf, 0.99),  # 7.3, example 2: burst strength of a container
        (13.6, 1.8, 12.5, 16.3, 0.66),  # 7.4: viscosity of an oil
    ],
)
def test_examples_of_the_guide(
    value: float, uncertainty: float, low: float, high: float, probability: float
) -> None:
    """JCGM 106:2012, examples of clause 7, to the two decimals printed; inputs from memory."""
    assert round(compute_probability_within(value, uncertainty, low, high), 2) == probability


def test_a_rectangular_half_width() -> None:
    """JCGM 100:2008 (GUM), 4.3.7; and the standard deviation of scipy's uniform distribution."""
    assert convert_half_width(1.0) == pytest.approx(0.5773503, abs=1e-7)
    assert convert_half_width(2.5) == pytest.approx(stats.uniform(-2.5, 5).std())


@given(st.floats(-10, 10), st.floats(0.01, 5), st.floats(-10, 10), st.floats(0, 10))
def test_agrees_with_scipy(value: float, uncertainty: float, low: float, width: float) -> None:
    """scipy.stats.norm is the outside reference."""
    known = stats.norm(value, uncertainty)
    expected = known.cdf(low + width) - known.cdf(low)
    found = compute_probability_within(value, uncertainty, low, low + width)
    assert found == pytest.approx(expected, abs=1e-12)
    assert compute_probability_below(low, value, uncertainty) == pytest.approx(
        known.cdf(low), abs=1e-12
    )


@pytest.mark.parametrize(
    ("z", "probability"), [(0.8416212, 0.80), (1.6448536, 0.95), (2.3263479, 0.99)]
)
def test_one_sided_factors(z: float, probability: float) -> None:
    """JCGM 106:2012, table 1."""
    assert compute_probability_below(z, 0.0, 1.0) == pytest.approx(probability, abs=1e-7)
