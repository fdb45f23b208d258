"""Aliases of undersampling, against the spectrum of the sampled sine by numpy's FFT."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pinfolio.schema.measuring.sampling import (
    SAMPLES_A_CYCLE,
    compute_aliased_frequency_hz,
    compute_quantisation_step_v,
    find_slowest_timebase_s,
    sample_rate_hz,
)

COUNT = 4096


def find_strongest_hz(frequency_hz: float, sampled_hz: float) -> float:
    """Frequency of the highest line in the spectrum of a sampled sine, to one line's width."""
    t_s = np.arange(COUNT) / sampled_hz
    taken = np.sin(2 * math.pi * frequency_hz * t_s + 0.4) * np.hanning(COUNT)
    lines = np.abs(np.fft.rfft(taken))
    return float(np.fft.rfftfreq(COUNT, 1 / sampled_hz)[np.argmax(lines)])


@pytest.mark.parametrize(
    ("frequency_hz", "sampled_hz"),
    [(4.43361875e6, 1e6), (3.579545e6, 1e6), (15_625, 10e3), (15_625, 1e6), (500e3, 625e3)],
)
def test_signals_of_the_trade(frequency_hz: float, sampled_hz: float) -> None:
    line_hz = sampled_hz / COUNT
    expected_hz = find_strongest_hz(frequency_hz, sampled_hz)
    assert compute_aliased_frequency_hz(frequency_hz, sampled_hz) == pytest.approx(
        expected_hz, abs=line_hz
    )


@given(st.floats(1e3, 40e6), st.floats(1e3, 1e6))
def test_any_sine(frequency_hz: float, sampled_hz: float) -> None:
    line_hz = sampled_hz / COUNT
    shown = compute_aliased_frequency_hz(frequency_hz, sampled_hz)
    assume(4 * line_hz < shown < sampled_hz / 2 - 4 * line_hz)  # clear of both ends of the spectrum
    assert shown == pytest.approx(find_strongest_hz(frequency_hz, sampled_hz), abs=line_hz)


@pytest.mark.parametrize(
    ("frequency_hz", "sampled_hz", "seen_hz"),
    [
        (1250, 1000, 250),  # the worked example in the manual of a USB oscilloscope
        (315e6 / 88, 1e6, 420_454.545),
        (315e6 / 88, 2e6, 420_454.545),
        (4.43361875e6, 1e6, 433_618.75),
        (4.5e6 / 286, 10e3, 4_265.734),
    ],
)
def test_worked_figures(frequency_hz: float, sampled_hz: float, seen_hz: float) -> None:
    assert compute_aliased_frequency_hz(frequency_hz, sampled_hz) == pytest.approx(
        seen_hz, rel=1e-7
    )


@given(st.floats(1, 50e6), st.sampled_from([(1e6, 1000), (500e6, 2500), (5e9, 10_000_000)]))
def test_the_slowest_safe_timebase_is_safe_and_the_next_one_is_not(
    frequency_hz: float, scope: tuple[float, int]
) -> None:
    highest_hz, record = scope
    safe_s = find_slowest_timebase_s(frequency_hz, highest_hz, record)
    if safe_s is None:
        assert highest_hz < SAMPLES_A_CYCLE * frequency_hz
        return
    sampled_hz = sample_rate_hz(safe_s, highest_hz, record)
    assert sampled_hz >= SAMPLES_A_CYCLE * frequency_hz * (1 - 1e-6)
    assert compute_aliased_frequency_hz(frequency_hz, sampled_hz) == pytest.approx(frequency_hz)
    slower_hz = sample_rate_hz(safe_s * 2.5, highest_hz, record)  # from 2 to 5; else further
    assert slower_hz < SAMPLES_A_CYCLE * frequency_hz or safe_s == 50


def test_steps_of_height_carry_the_noise_that_theory_says() -> None:
    """Rounding to steps leaves an error of step / sqrt(12): Widrow's rectangular distribution,
    and JCGM 100:2008, 4.3.7."""
    step = compute_quantisation_step_v(1.0, 8)
    taken = 3.5 * np.sin(np.linspace(0, 100, 100_003))
    error = np.round(taken / step) * step - taken
    assert error.std() == pytest.approx(step / math.sqrt(12), rel=0.02)
    assert np.unique(np.round(taken / step)).size <= 2**8
