"""Where measuring a trace changes its mind: the last spike, the quietest rise, the shortest hum."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.readings.trace_measurements import TraceMeasurements, measure_trace
from pinfolio.schema.waveforms import Samples

INTERVAL_S = 2.0**-14  # a sum of such steps is exact in floating point


def measure_samples(volts: Samples, mains_hz: float = 50.0) -> TraceMeasurements:
    return measure_trace(np.arange(len(volts)) * INTERVAL_S, volts, mains_hz)


def make_square(period: int = 500, count: int = 5000) -> Samples:
    return np.where(np.arange(count) % period < period / 2, 1.0, 0.0)


@pytest.mark.parametrize(("spikes", "high_v"), [(4, 1.0), (5, 9.0)])
def test_a_level_has_at_least_a_thousandth_of_the_samples(spikes: int, high_v: float) -> None:
    up, down = make_square(), make_square()
    up[100 : 100 + 50 * spikes : 50] = 9.0
    down[300 : 300 + 30 * spikes : 30] = -8.0
    assert measure_samples(up).high_v == pytest.approx(high_v)
    assert measure_samples(down).low_v == pytest.approx(1.0 - high_v)


def test_a_short_trace_has_the_levels_of_its_samples() -> None:
    volts = np.zeros(100)
    volts[[20, 60]] = 1.0, -2.0
    found = measure_samples(volts)
    assert (found.low_v, found.high_v) == pytest.approx((-2.0, 1.0), abs=0.05)


@pytest.mark.parametrize(("noise_v", "told"), [(0.044, True), (0.056, False)])
def test_a_rise_time_needs_noise_below_a_twentieth_of_the_height(
    noise_v: float, told: bool
) -> None:
    ramp = np.clip(np.mod(np.arange(20_000), 1000) / 400, 0, 1)
    found = measure_samples(ramp + np.random.default_rng(8).normal(0, noise_v, len(ramp)))
    assert found.noise_v == pytest.approx(noise_v, rel=0.05)
    assert (found.rise_s is not None) == told


@pytest.mark.parametrize(("samples", "told"), [(1024, True), (1023, False)])
def test_hum_is_told_from_one_period_of_the_mains(samples: int, told: bool) -> None:
    """A mains of 16 Hz, which some railways have: 1024 samples are one period to the last bit."""
    volts = np.sin(2 * np.pi * np.arange(samples) / 1024)
    hum_vpp = measure_samples(volts, mains_hz=16.0).hum_vpp
    assert (hum_vpp is not None) == told
    if hum_vpp is not None:
        assert hum_vpp == pytest.approx((2.0, 0.0), abs=1e-3)


def test_hum_of_a_sparse_trace_is_fitted_to_its_samples() -> None:
    """Twenty samples to a period of the mains."""
    angle = 2 * np.pi * np.arange(200) / 20
    found = measure_trace(np.arange(200) / 1000, 3 + np.cos(angle) - 0.5 * np.sin(2 * angle))
    assert found.hum_vpp == pytest.approx((2.0, 1.0), rel=1e-6)


@pytest.mark.parametrize(("step_v", "level"), [(5e-10, True), (2e-9, False)])
def test_a_height_of_a_billionth_of_the_mean_is_rounding(step_v: float, level: bool) -> None:
    found = measure_samples(1.0 + step_v * make_square())
    assert (found.why_no_frequency == "the trace is level") == level


def test_whole_periods_count_for_mean_and_duty() -> None:
    """Ten and a half periods, of which the half is all high."""
    volts = make_square(500, 5250)
    found = measure_samples(volts)
    assert found.frequency_hz == pytest.approx(1 / (500 * INTERVAL_S), rel=1e-6)
    assert found.dc_v == pytest.approx(0.5, abs=1e-9)
    assert found.duty == pytest.approx(0.5, abs=1e-9)


def test_less_than_a_period_is_averaged_as_it_is() -> None:
    volts = np.linspace(0.0, 1.0, 400) ** 2
    found = measure_samples(volts)
    assert found.frequency_hz is None
    assert found.dc_v == pytest.approx(float(volts.mean()))
    assert found.duty is None


@pytest.mark.parametrize(("count", "share"), [(40, 0.25), (130, 0.4)])
def test_noise_of_few_samples_is_their_second_difference(count: int, share: float) -> None:
    """Von Neumann et al. (1941): 1 + 4 + 1 times the variance of white noise."""
    ramp = np.linspace(0, 50, count)
    found = measure_samples(ramp + np.random.default_rng(6).normal(0, 0.1, count))
    assert found.noise_v == pytest.approx(0.1, rel=share)


@pytest.mark.parametrize("noise_v", [0.05, 0.2])
def test_levels_are_corrected_for_the_noise_on_them(noise_v: float) -> None:
    """Bare, the highest of ten thousand samples on a level is 3.7 deviations above it."""
    chance = np.random.default_rng(12)
    errors = []
    for _ in range(20):
        volts = 4 * make_square(1000, 20_000) + chance.normal(0, noise_v, 20_000)
        found = measure_samples(volts)
        errors += [found.low_v / noise_v, (found.high_v - 4) / noise_v]
    low, high = np.array(errors[::2]), np.array(errors[1::2])
    assert abs(low.mean()) < 0.06
    assert abs(high.mean()) < 0.06
