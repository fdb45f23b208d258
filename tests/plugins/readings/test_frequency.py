"""Frequency of a trace where spectrum and crossings must agree, and of pulses in groups."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.readings.frequency import Frequency, estimate_frequency
from pinfolio.plugins.readings.spectrum import NoFrequency, Spectrum
from pinfolio.schema.waveforms import Samples

PERIOD = 1000  # samples
INTERVAL_S = 1e-6
HZ = 1e3


def estimate(volts: Samples, noise_v: float = 0.0) -> Frequency:
    centred = volts - volts.mean()
    spectrum = Spectrum.compute(centred, INTERVAL_S)
    return estimate_frequency(centred, spectrum, centred.min(), centred.max(), noise_v)


def group(*heights_v: float, cycles: float = 40, width: float = 0.04) -> Samples:
    """Pulses evenly spaced over each period, of these heights."""
    share = np.mod(np.arange(int(cycles * PERIOD)) / PERIOD + 0.05, 1.0)
    number = (share * len(heights_v)).astype(int)
    is_up = np.mod(share * len(heights_v), 1.0) < width * len(heights_v)
    return np.where(is_up, np.array(heights_v)[number], 0.0)


@pytest.mark.parametrize("cycles", [2.0, 3.3, 6.0, 8.5, 12.0, 40.0])
def test_a_sine_of_few_periods_or_many(cycles: float) -> None:
    t = np.arange(int(cycles * PERIOD))
    found = estimate(np.sin(2 * np.pi * t / PERIOD + 0.7))
    assert found.hz == pytest.approx(HZ, rel=2e-3 if cycles < 9 else 1e-6)
    assert found.jitter_s < 1e-8
    assert 0 <= found.uncertainty_hz < 0.02 * HZ


@pytest.mark.parametrize(
    "heights_v", [(1.0, 0.6), (1.0, 0.6, 0.6), (1.0, 0.4, 0.4, 0.4), (1.0, 0.3, 0.6, 0.3)]
)
def test_pulses_in_groups_repeat_with_the_group(heights_v: tuple[float, ...]) -> None:
    """The strongest line of some is that of all pulses; the tallest comes once a group."""
    assert estimate(group(*heights_v)).hz == pytest.approx(HZ, rel=1e-3)


@pytest.mark.parametrize("cycles", [2.0, 2.2, 2.4])
@pytest.mark.parametrize(
    "heights_v",
    [(1.0, 0.3, 0.3, 0.3), (1.0, 0.0, 0.6, 0.6, 0.6), (1.0, *[0.4] * 5)],
)
def test_two_groups_are_enough_where_they_are_the_same_again(
    heights_v: tuple[float, ...], cycles: float
) -> None:
    """So few that the group has no line of its own beside zero: only the trace can tell."""
    assert estimate(group(*heights_v, cycles=cycles)).hz == pytest.approx(HZ, rel=0.01)


def test_even_pulses_are_no_group() -> None:
    assert estimate(group(1.0, 1.0)).hz == pytest.approx(2 * HZ, rel=1e-3)


def test_the_more_exact_of_spectrum_and_crossings_counts() -> None:
    """A noisy sine is known better by its phase, a clean steep pulse by its edges."""
    noisy = np.sin(2 * np.pi * np.arange(40 * PERIOD) / PERIOD)
    noisy += np.random.default_rng(4).normal(0, 0.1, len(noisy))
    assert estimate(noisy, 0.1).hz == pytest.approx(HZ, abs=4 * estimate(noisy, 0.1).uncertainty_hz)
    assert estimate(group(1.0)).uncertainty_hz < 0.01


def test_jitter_that_noise_does_not_explain_makes_the_frequency_less_sure() -> None:
    chance = np.random.default_rng(2)
    starts = (np.arange(40) + 0.3 + chance.normal(0, 0.004, 40)) * PERIOD
    volts = np.zeros(40 * PERIOD)
    for start in starts.astype(int):
        volts[start : start + 200] = 1.0
    found = estimate(volts)
    assert found.jitter_s == pytest.approx(0.004e-3, rel=0.25)
    slope_s = np.sqrt(40 * (40**2 - 1) / 12)
    assert found.uncertainty_hz >= found.jitter_s * HZ**2 / slope_s * 0.99
    assert found.uncertainty_hz <= found.jitter_s * HZ**2 / slope_s * 1.5


@pytest.mark.parametrize("cycles", [3, 8])
def test_few_periods_must_be_the_same_again(cycles: int) -> None:
    """A sine whose periods bring other noise of its own size each time."""
    t = np.arange(cycles * PERIOD)
    slow = np.repeat(np.random.default_rng(1).normal(0, 1.0, cycles * 8), PERIOD // 8)
    with pytest.raises(NoFrequency):
        estimate(np.sin(2 * np.pi * t / PERIOD) + 1.2 * slow)


def test_a_sweep_has_no_frequency() -> None:
    t = np.arange(20 * PERIOD) / PERIOD
    with pytest.raises(NoFrequency):
        estimate(np.sin(2 * np.pi * (t + t**2 / 15)))


def make_pairs(first: int, second: int, pairs: int = 60, level_pairs: int = 0) -> Samples:
    """Return pulses of one sample, ``first`` and ``second`` samples apart by turns, 1 V and 0.8 V.

    The first ``level_pairs`` pairs are left out.
    """
    volts = np.zeros((first + second) * pairs)
    starts = np.arange(level_pairs, pairs) * (first + second) + 1
    volts[starts], volts[starts + first] = 1.0, 0.8
    return volts


def test_pulses_of_eight_samples_and_more_repeat_in_pairs() -> None:
    """Every second one comes early and is lower: the line of the pairs is weak, the trace tells."""
    assert estimate(make_pairs(9, 10)).hz == pytest.approx(1 / (19 * INTERVAL_S), rel=1e-3)


def test_pulses_that_begin_late_in_the_record_repeat_in_pairs_all_the_same() -> None:
    """A trace that is level has no correlation with anything, whatever comes later."""
    late = make_pairs(9, 10, level_pairs=15)
    assert estimate(late).hz == pytest.approx(1 / (19 * INTERVAL_S), rel=1e-3)
