"""The normal distribution against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.diagnosis.weighing.normal import (
    compute_interval_probability,
    compute_normal_density,
)
from scipy import stats

MEANS = np.array([-1.0, 0.0, 2.5])
SIGMAS = np.array([0.5, 1.0, 3.0])


@pytest.mark.parametrize("value", [-4.0, 0.0, 0.7, 3.0])
def test_density(value: float) -> None:
    known = stats.norm.pdf(value, MEANS, SIGMAS)
    assert compute_normal_density(value, MEANS, SIGMAS) == pytest.approx(known, rel=1e-9)
    assert compute_normal_density(value, MEANS, 2.0) == pytest.approx(
        stats.norm.pdf(value, MEANS, 2.0), rel=1e-9
    )


@pytest.mark.parametrize(("low", "high"), [(-9.0, 0.0), (-0.5, 0.5), (0.3, 2.0), (2.0, 40.0)])
def test_interval(low: float, high: float) -> None:
    """By a logistic approximation, each end at most 1.41e-4 off (Page, 1977)."""
    known = stats.norm.cdf(high, MEANS, SIGMAS) - stats.norm.cdf(low, MEANS, SIGMAS)
    assert compute_interval_probability(low, high, MEANS, SIGMAS) == pytest.approx(
        known, abs=2.9e-4
    )


def test_far_away_nothing_is_left_and_nothing_overflows() -> None:
    far = np.array([1e6, -1e6])
    assert compute_interval_probability(-1.0, 1.0, far, np.ones(2)) == pytest.approx(0.0, abs=1e-9)
    assert compute_interval_probability(-1e9, 1e9, far, np.ones(2)) == pytest.approx(1.0)
