"""Draws are spread as they say, against scipy's normal distribution."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.diagnosis.board.severities import (
    DRIFTED_DOWN_BY,
    DRIFTED_UP_BY,
    LEAK_OHM,
    LOST_CAPACITANCE,
    LOST_TO,
    LOW_RAIL_AT,
    LOW_SIGNAL_AT,
    SHORTED_TURNS_LOSE,
    TOLERANCE_OF,
    WEAK_STAGE_AT,
    Draws,
    find_leak_span_ohm,
)
from scipy import stats

MANY = Draws(4000, 7)


def test_even_draws_fill_their_range_and_leave_no_gaps() -> None:
    drawn = np.sort(MANY.draw_uniform("level", 2.0, 6.0))
    assert drawn[0] == pytest.approx(2.0, abs=0.002)
    assert drawn[-1] == pytest.approx(6.0, abs=0.002)
    assert np.diff(drawn).max() < 2 * 4.0 / MANY.count


def test_logarithmic_draws_have_the_geometric_mean_in_their_middle() -> None:
    drawn = MANY.draw_log_uniform("ohm", 10.0, 1000.0)
    assert np.median(drawn) == pytest.approx(100.0, rel=0.01)
    assert np.quantile(drawn, [0.25, 0.75]) == pytest.approx([31.6, 316], rel=0.01)


def test_deviations_are_even_in_the_logarithm_of_their_size() -> None:
    """As many drift by 8 to 80 % as by 80 to 800 %; a part that loses keeps some."""
    up = MANY.draw_deviation("drift", 0.08, 8.0)
    assert np.median(up) == pytest.approx(1.8, rel=0.01)
    assert (up.min(), up.max()) == (pytest.approx(1.08, abs=1e-3), pytest.approx(9.0, rel=1e-3))
    down = MANY.draw_deviation("loss", -0.1, -0.9)
    assert np.median(down) == pytest.approx(0.7, rel=0.01)
    assert down.min() > 0.09


def test_drifts_are_half_near_and_half_far() -> None:
    """Up to ten times: of the near half 54 % lie below 2.1, of the far half 30 %."""
    drifted = MANY.draw_drift("drift", 0.09, 9.0)
    near, far = np.log(1.1 / 0.09) / np.log(100), np.log(2.1 / 1.09) / np.log(10 / 1.09)
    assert (drifted < 2.1).mean() == pytest.approx((near + far) / 2, abs=0.02)
    assert drifted.min() >= 1.09
    assert drifted.max() <= 10


def test_a_spread_is_lognormal_and_none_beyond_two_and_a_half_deviations() -> None:
    logarithm = np.log(MANY.spread("value", 0.1)) / 0.1
    assert np.median(logarithm) == pytest.approx(0.0, abs=0.01)
    known = stats.norm.ppf([0.05, 0.25, 0.6, 0.75, 0.95])
    assert np.quantile(logarithm, [0.05, 0.25, 0.6, 0.75, 0.95]) == pytest.approx(known, abs=2e-3)
    assert logarithm.max() == pytest.approx(stats.norm.ppf(0.994), abs=1e-3)
    assert logarithm.min() == pytest.approx(stats.norm.ppf(0.006), abs=1e-3)


@pytest.mark.parametrize("chance", [0.1, 0.75])
def test_a_chance_happens_as_often_as_it_says(chance: float) -> None:
    assert MANY.draw_event("fault", chance).mean() == pytest.approx(chance, abs=1 / MANY.count)


def test_one_name_is_drawn_once_and_two_are_apart() -> None:
    assert np.array_equal(MANY.draw_uniform("a", 0, 1), MANY.draw_uniform("a", 0, 1))
    assert np.array_equal(
        Draws(50, 3).draw_uniform("a", 0, 1), Draws(50, 3).draw_uniform("a", 0, 1)
    )
    other = Draws(50, 4).draw_uniform("a", 0, 1)
    assert not np.array_equal(Draws(50, 3).draw_uniform("a", 0, 1), other)
    assert abs(np.corrcoef(MANY.draw_uniform("a", 0, 1), MANY.draw_uniform("b", 0, 1))[0, 1]) < 0.05


@pytest.mark.parametrize(
    ("kind", "percent", "share"),
    [
        ("resistor", None, 0.025),
        ("resistor", 1.0, 0.005),  # a marked tolerance is about two deviations
        ("resistor", 20.0, 0.025),
        ("electrolytic capacitor", None, 0.12),
        ("relay", None, 0.05),
    ],
)
def test_a_part_is_near_what_is_marked_on_it(
    kind: str, percent: float | None, share: float
) -> None:
    values = MANY.draw_part_value("R1", kind, percent)
    assert np.log(values).std() == pytest.approx(share, rel=0.03)
    assert np.median(values) == pytest.approx(1.0, rel=0.01)


def test_tolerances_are_ordered_as_parts_are_made() -> None:
    """Crystals to parts in a million, then ceramic ones, resistors, capacitors, electrolytics."""
    kinds = ("crystal", "ceramic resonator", "resistor", "capacitor", "electrolytic capacitor")
    shares = [TOLERANCE_OF[kind] for kind in kinds]
    assert shares == sorted(shares)
    assert TOLERANCE_OF["crystal"] == pytest.approx(5e-6)


@pytest.mark.parametrize("across_ohm", [5.0, 50.0, 10e3, 1e6])
def test_a_leak_is_looked_for_where_it_moves_a_voltage(across_ohm: float) -> None:
    """Two resistances divide a voltage; the board's own against the leak's (Ohm)."""
    low, high = find_leak_span_ohm(LEAK_OHM, across_ohm)
    assert low < high
    assert low / (low + across_ohm) < 0.6  # the worst pulls it down by nearly half at least
    assert high / (high + across_ohm) < 0.97  # the least by some per cent
    assert high <= LEAK_OHM[1]


@pytest.mark.parametrize("kept", [LOST_TO, LOW_RAIL_AT, LOW_SIGNAL_AT, WEAK_STAGE_AT])
def test_what_loses_keeps_some_and_less_than_all(kept: tuple[float, float]) -> None:
    low, high = kept
    assert 0 < low < high < 0.95, "five per cent less is a tolerance, no fault"


def test_a_drift_is_beyond_a_tolerance_and_leaves_a_resistance() -> None:
    assert 0.05 < DRIFTED_UP_BY[0] < DRIFTED_UP_BY[1]
    for least, most in (DRIFTED_DOWN_BY, LOST_CAPACITANCE, SHORTED_TURNS_LOSE):
        assert -1 < most < least < -0.05
