"""Tolerance intervals, means and spread against the handbook, printed tables and scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.plugins.readings.observed_range import compute_scaled_mad
from pinfolio.plugins.readings.tolerance_interval import compute_mean_bounds, compute_shop_interval
from scipy import stats


def compute_howe(readings: int, coverage: float, confidence: float) -> float:
    """Howe's formula, NIST/SEMATECH e-Handbook 7.2.6.3, from scipy's chi2 and norm."""
    z = stats.norm.ppf((1 + coverage) / 2)
    chi_squared = stats.chi2.ppf(1 - confidence, readings - 1)
    return float(z * math.sqrt((readings - 1) * (1 + 1 / readings) / chi_squared))


def compute_factor(readings: int, coverage: float, confidence: float) -> float:
    """Return (high - middle) / s of the interval of as many readings, each by another shop."""
    values = [float(n * n % 17) for n in range(readings)]
    low, high = compute_shop_interval([[value] for value in values], 0.0, coverage, confidence)
    assert (low + high) / 2 == pytest.approx(np.mean(values))
    return float((high - low) / 2 / np.std(values, ddof=1))


def test_the_worked_example_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.3: n = 43, 90 % with 99 %: k2 = 2.2173."""
    assert compute_factor(43, 0.90, 0.99) == pytest.approx(2.2173159, abs=1e-6)


@pytest.mark.parametrize(
    ("readings", "factors"),
    [
        # 90/95, 95/95, 99/95, 99/99; exact two-sided factors after the method of ISO 16269-6. Those
        # at 95 % confidence are, to two decimals, in Statistics for Environmental Engineers,
        # table 21.1; all from the library toleranceinterval 1.0.3, "exact".
        (5, (4.2906, 5.0769, 6.5980, 10.2201)),
        (6, (3.7326, 4.4222, 5.7577, 8.2915)),
        (10, (2.8563, 3.3934, 4.4369, 5.6102)),
        (20, (2.3188, 2.7603, 3.6210, 4.1747)),
        (50, (1.9990, 2.3816, 3.1288, 3.3897)),
        (100, (1.8748, 2.2339, 2.9355, 3.0976)),
    ],
)
def test_without_a_shop_effect_the_factors_are_the_published_ones(
    readings: int, factors: tuple[float, ...]
) -> None:
    """One reading a shop is a plain sample: Howe's approximation, within 1.5 % from 5 readings."""
    pairs = ((0.90, 0.95), (0.95, 0.95), (0.99, 0.95), (0.99, 0.99))
    found = [compute_factor(readings, *pair) for pair in pairs]
    assert found == pytest.approx(factors, rel=0.015)
    assert found == pytest.approx([compute_howe(readings, *pair) for pair in pairs], rel=1e-9)


def test_one_repeated_reading_leaves_the_bound_to_the_means_of_the_shops() -> None:
    """By hand: the means 3.05, 3.2 and 3.05 have the variance 0.0075, the repeats 0.005.

    With 2 degrees of freedom the lower 5 % of chi-squared is -2 ln 0.95; h = 3 / (1/2 + 1 + 1).
    """
    h, between, within = 1.2, 0.0075, 0.005
    bound = h * between * 2 / (-2 * math.log(0.95))
    total = between + (1 - 1 / h) * within
    reach = stats.norm.ppf(0.95) * math.sqrt(bound * (1 + between / (3 * total)))
    interval = compute_shop_interval([[3.0, 3.1], [3.2], [3.05]])
    assert interval == pytest.approx((3.1 - reach, 3.1 + reach), rel=1e-6)


@given(st.integers(2, 60), st.floats(0.5, 0.999))
def test_the_mean_of_the_shops_is_known_to_scipys_t(shops: int, confidence: float) -> None:
    means = [float(n * n % 17) for n in range(shops)]
    t = stats.t.ppf((1 + confidence) / 2, shops - 1)
    reach = t * np.std(means, ddof=1) / math.sqrt(shops)
    low, high = compute_mean_bounds([[mean] for mean in means], 0.0, confidence)
    assert (low, high) == pytest.approx((np.mean(means) - reach, np.mean(means) + reach), rel=1e-6)


def test_the_bound_of_the_whole_variance_computed_by_hand() -> None:
    """Three shops with two readings each, from scipy's chi2 and the formula of the docstring."""
    groups = [[1.0, 1.2], [1.4, 1.8], [0.9, 1.1]]
    between = np.var([1.1, 1.6, 1.0], ddof=1)
    within = (0.02 + 0.08 + 0.02) / 3
    whole = between + 0.5 * within
    excess = [2 / stats.chi2.ppf(0.05, 2) - 1, 3 / stats.chi2.ppf(0.05, 3) - 1]
    bound = whole + math.hypot(excess[0] * between, excess[1] * 0.5 * within)
    reach = stats.norm.ppf(0.95) * math.sqrt(bound * (1 + between / (3 * whole)))
    low, high = compute_shop_interval(groups)
    assert (low, high) == pytest.approx((3.7 / 3 - reach, 3.7 / 3 + reach))


def test_one_shop_has_no_interval() -> None:
    with pytest.raises(ValueError, match="one shop gives no interval"):
        compute_shop_interval([[1.0, 2.0, 3.0]])


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=50))
def test_spread_is_scipys_scaled_mad(values: list[float]) -> None:
    expected = float(stats.median_abs_deviation(values, scale="normal"))
    assert compute_scaled_mad(values) == pytest.approx(expected, rel=1e-7, abs=1e-9)
