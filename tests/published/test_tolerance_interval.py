"""Tolerance factors, median and spread against the handbook, printed tables and scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.plugins.readings.observed_range import compute_observed_ranges, compute_scaled_mad
from pinfolio.plugins.readings.tolerance_interval import compute_tolerance_factor
from pinfolio.schema.note import Note
from scipy import stats


def compute_howe(readings: int, coverage: float, confidence: float) -> float:
    """Howe's formula, NIST/SEMATECH e-Handbook 7.2.6.3, from scipy's chi2 and norm."""
    z = stats.norm.ppf((1 + coverage) / 2)
    chi_squared = stats.chi2.ppf(1 - confidence, readings - 1)
    return float(z * math.sqrt((readings - 1) * (1 + 1 / readings) / chi_squared))


def test_the_worked_example_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.3: n = 43, mean 97.07, s = 0.0268, 90 % with 99 %.

    The handbook takes Howe's formula; the exact factor is 0.25 % larger.
    """
    assert compute_howe(43, 0.90, 0.99) == pytest.approx(2.2173159, abs=1e-6)
    exact = compute_tolerance_factor(43, 0.90, 0.99)
    assert exact == pytest.approx(2.2228252, abs=1e-6)
    assert exact == pytest.approx(compute_howe(43, 0.90, 0.99), rel=0.003)
    assert 97.07 - exact * 0.0268 == pytest.approx(97.010576, abs=2e-4)
    assert 97.07 + exact * 0.0268 == pytest.approx(97.129424, abs=2e-4)


@pytest.mark.parametrize(
    ("readings", "factors"),
    [
        # 90/95, 95/95, 99/95, 99/99; exact two-sided factors after the method of ISO 16269-6. Those
        # at 95 % confidence are, to two decimals, in Statistics for Environmental Engineers,
        # table 21.1; all from the library toleranceinterval 1.0.3, "exact".
        (2, (31.0922, 36.5192, 46.9444, 234.8775)),
        (3, (8.3059, 9.7888, 12.6471, 28.5857)),
        (5, (4.2906, 5.0769, 6.5980, 10.2201)),
        (6, (3.7326, 4.4222, 5.7577, 8.2915)),
        (10, (2.8563, 3.3934, 4.4369, 5.6102)),
        (20, (2.3188, 2.7603, 3.6210, 4.1747)),
        (50, (1.9990, 2.3816, 3.1288, 3.3897)),
        (100, (1.8748, 2.2339, 2.9355, 3.0976)),
    ],
)
def test_exact_factors(readings: int, factors: tuple[float, ...]) -> None:
    pairs = ((0.90, 0.95), (0.95, 0.95), (0.99, 0.95), (0.99, 0.99))
    found = [compute_tolerance_factor(readings, *pair) for pair in pairs]
    assert found == pytest.approx(factors, abs=6e-5)


@given(st.integers(3, 400), st.floats(0.5, 0.99), st.floats(0.8, 0.99))
def test_howe_comes_near(readings: int, coverage: float, confidence: float) -> None:
    """Howe (1969) is an approximation, a few per cent off for the smallest samples."""
    exact = compute_tolerance_factor(readings, coverage, confidence)
    assert exact == pytest.approx(compute_howe(readings, coverage, confidence), rel=0.06)


def test_one_reading_has_no_interval() -> None:
    with pytest.raises(ValueError, match="take at least 2"):
        compute_tolerance_factor(1)


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=50))
def test_spread_is_scipys_scaled_mad(values: list[float]) -> None:
    expected = float(stats.median_abs_deviation(values, scale="normal"))
    assert compute_scaled_mad(values) == pytest.approx(expected, rel=1e-7, abs=1e-9)


def make_good_reading(number: int, dc: str) -> Note:
    letters = f"{number:016d}".translate(str.maketrans("0189", "abcd"))
    fields = {"id": letters, "kind": "known-good reading", "shop": "s", "author": "a"}
    fields |= {"date": "2026-01-01", "chip": "TQZ5752", "at": "pin 13", "condition": "no signal"}
    return Note.model_validate({**fields, "readings": {"dc": dc}})


@given(st.lists(st.integers(280, 340), min_size=6, max_size=30))
def test_the_observed_range_is_what_scipy_makes_of_the_same_readings(
    hundredths: list[int],
) -> None:
    """Centre, spread and, of the readings that lie within 3.5 modified z, mean ± k2·s."""
    texts = [f"{value / 100:.2f} V" for value in hundredths]
    found = compute_observed_ranges(map(make_good_reading, range(len(texts)), texts), "no signal")[
        "dc"
    ]
    volts = np.array(hundredths) / 100
    mad = float(stats.median_abs_deviation(volts, scale="normal"))
    assert found.centre == pytest.approx(np.median(volts))
    assert found.spread == pytest.approx(mad, abs=1e-9)
    rounding = 0.01 / math.sqrt(12)
    kept = np.array([sample.value for sample in found.kept])
    z = np.abs(volts - np.median(volts)) / max(mad, rounding)
    assert len(found.outliers) == np.sum(z > 3.5)
    if len(kept) >= 6:
        reach = compute_tolerance_factor(len(kept)) * max(float(np.std(kept, ddof=1)), rounding)
        assert (found.low, found.high) == pytest.approx((kept.mean() - reach, kept.mean() + reach))
    else:
        assert (found.low, found.high) == (None, None)
