"""Ratings of a probe and of the input behind it, at their limits."""

from __future__ import annotations

import pytest
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.measuring.ratings import (
    ExceededRating,
    derate_rating_v,
    find_exceeded_rating,
)

X10, X1 = BUILT_IN.probes["x10 probe"], BUILT_IN.probes["x1 probe"]
SCOPE = BUILT_IN.scopes["analogue 20 MHz"]


@pytest.mark.parametrize(
    ("frequency_hz", "rating_v"),
    [(0.0, 400.0), (500e3, 400.0), (1e6, 200.0), (4.43e6, 45.147)],
)
def test_a_rating_falls_with_frequency_above_its_corner(
    frequency_hz: float, rating_v: float
) -> None:
    assert derate_rating_v(400.0, 500e3, frequency_hz) == pytest.approx(rating_v, rel=1e-4)


@pytest.mark.parametrize("sign", [1, -1])
def test_a_peak_at_the_rating_is_allowed_and_one_beyond_it_is_not(sign: int) -> None:
    assert find_exceeded_rating(sign * 400.0, 0.0, 0.0, X10, SCOPE) is None
    exceeded = find_exceeded_rating(sign * 400.5, 0.0, 0.0, X10, SCOPE)
    assert exceeded == ExceededRating("the probe's tip", 400.5, 400.0)


def test_the_swing_is_judged_by_the_derated_rating() -> None:
    """At 4 MHz the x10 probe is good for 50 V of swing, though for 400 V of DC."""
    assert find_exceeded_rating(100.0, 50.0, 4e6, X10, SCOPE) is None
    exceeded = find_exceeded_rating(100.0, 51.0, 4e6, X10, SCOPE)
    assert exceeded == ExceededRating("the probe's tip", 51.0, 50.0)


def test_the_input_sees_the_peak_divided_by_the_probe() -> None:
    weak = SCOPE.model_copy(update={"rating": BUILT_IN.scopes["pocket 200 kHz"].rating})
    assert find_exceeded_rating(400.0, 0.0, 0.0, X10, weak) is None  # 40 V of 50 V
    exceeded = find_exceeded_rating(-60.0, 0.0, 0.0, X1, weak)
    assert exceeded == ExceededRating("the oscilloscope's input", 60.0, 50.0)
    assert find_exceeded_rating(50.0, 0.0, 0.0, X1, weak) is None
