"""Sampling by a digitising oscilloscope at the edges of its range."""

from __future__ import annotations

import pytest
from pinfolio.schema.measuring.sampling import (
    SAMPLES_A_CYCLE,
    compute_aliased_frequency_hz,
    compute_quantisation_step_v,
    find_slowest_timebase_s,
    sample_rate_hz,
)


@pytest.mark.parametrize(
    ("time_per_div_s", "rate_hz"),
    [(1e-3, 250e3), (1e-6, 250e6), (0.5e-6, 500e6), (0.1e-6, 500e6)],
)
def test_the_record_covers_ten_divisions_up_to_the_highest_rate(
    time_per_div_s: float, rate_hz: float
) -> None:
    assert sample_rate_hz(time_per_div_s, 500e6, 2500) == pytest.approx(rate_hz)


@pytest.mark.parametrize(
    ("frequency_hz", "shown_hz"),
    [(0.0, 0.0), (400e3, 400e3), (500e3, 500e3), (600e3, 400e3), (1e6, 0.0), (1.6e6, 400e3)],
)
def test_a_sine_is_folded_below_half_the_rate(frequency_hz: float, shown_hz: float) -> None:
    assert compute_aliased_frequency_hz(frequency_hz, 1e6) == pytest.approx(shown_hz)


@pytest.mark.parametrize(
    ("frequency_hz", "timebase_s"),
    [
        (5_000.0, 5e-3),  # 2500 samples over ten divisions: exactly ten to a cycle
        (5_001.0, 2e-3),
        (12_500.0, 2e-3),
        (50e6, 0.5e-6),  # the highest rate gives exactly ten to a cycle
        (0.01, 50.0),  # the slowest timebase there is
    ],
)
def test_the_slowest_timebase_leaves_ten_samples_to_a_cycle(
    frequency_hz: float, timebase_s: float
) -> None:
    assert SAMPLES_A_CYCLE == 10
    assert find_slowest_timebase_s(frequency_hz, 500e6, 2500) == pytest.approx(timebase_s)


def test_no_timebase_shows_a_signal_beyond_a_tenth_of_the_highest_rate() -> None:
    assert find_slowest_timebase_s(50.1e6, 500e6, 2500) is None


def test_eight_bits_cut_the_screen_into_256_steps() -> None:
    assert 256 * compute_quantisation_step_v(0.5, 8) == 8 * 0.5
    assert 4096 * compute_quantisation_step_v(2.0, 12) == 8 * 2.0


def test_no_timebase_is_faster_than_a_nanosecond_per_division() -> None:
    """Common practice. A record of 100 samples has one cycle of ten on each division."""
    assert find_slowest_timebase_s(250e6, 1e12, 100) == pytest.approx(2e-9)
    assert find_slowest_timebase_s(1e9, 1e12, 100) == pytest.approx(1e-9)
    assert find_slowest_timebase_s(1.6e9, 1e12, 100) is None
