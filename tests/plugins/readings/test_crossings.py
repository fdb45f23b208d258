"""Crossings of traces whose edges come at known times.

The uncertainty of a period is that of the slope of a straight line fitted through the times of N
even crossings: their standard deviation over sqrt(N (N² - 1) / 12), any text on least squares.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from pinfolio.plugins.readings.crossings import Crossings, find_crossings
from pinfolio.plugins.readings.spectrum import Line, NoFrequency
from pinfolio.schema.waveforms import Samples

PERIOD = 1000  # samples
INTERVAL_S = 1e-6
HZ = 1 / (PERIOD * INTERVAL_S)
NUMBER = 100


def make_line(cycles: float = NUMBER, hz: float = HZ) -> Line:
    return Line(hz, 0.5, cycles)


def make_pulses(
    late: Sequence[float] = (), missing: Sequence[int] = (), number: int = NUMBER
) -> Samples:
    """Pulses from 0 to 1 V of a quarter of the period, the first ones late by parts of it."""
    volts = np.zeros(number * PERIOD)
    for turn in range(number):
        if turn not in missing:
            off = late[turn] if turn < len(late) else 0.0
            start = int((turn + 0.3 + off) * PERIOD)
            volts[start : start + PERIOD // 4] = 1.0
    return volts


def make_triangle(number: int = NUMBER) -> Samples:
    """From 0 to 1 V and back: a slope of two volts a period."""
    turns = np.arange(number * PERIOD) / PERIOD
    return np.asarray(1 - 2 * np.abs(np.mod(turns, 1.0) - 0.5))


def find_in(volts: Samples, noise_v: float = 0.0, of: Line | None = None) -> Crossings:
    return find_crossings(volts, INTERVAL_S, of or make_line(), (0.0, 1.0), noise_v)


def count_per_period(number: int) -> float:
    """Uncertainty of the frequency in hertz for a second of deviation of each crossing."""
    return 1 / ((PERIOD * INTERVAL_S) ** 2 * math.sqrt(number * (number**2 - 1) / 12))


def test_even_pulses_have_their_frequency_and_no_jitter() -> None:
    found = find_in(make_pulses())
    assert found.hz == pytest.approx(HZ, rel=1e-6)
    assert found.jitter_s == pytest.approx(0.0, abs=2e-7)  # a fifth of a sample
    assert found.wander_hz == 0.0


def test_a_steep_edge_lies_anywhere_between_two_samples() -> None:
    """A rectangular deviation of interval / sqrt(12) (GUM, 4.3.7)."""
    found = find_in(make_pulses())
    expected_hz = INTERVAL_S / math.sqrt(12) * count_per_period(NUMBER)
    assert found.uncertainty_hz == pytest.approx(expected_hz, rel=1e-6)


@pytest.mark.parametrize(("noise_v", "share"), [(0.03, 1 / 50), (0.049, 1 / 50), (0.051, 1 / 12)])
def test_noise_moves_a_crossing_by_its_share_of_the_slope(noise_v: float, share: float) -> None:
    """A mean over a fiftieth of a period, a twelfth where noise is above 5 % of the height."""
    smoothed_v = noise_v / math.sqrt(int(share * PERIOD))
    slope = 2 * HZ
    expected_hz = smoothed_v / slope * count_per_period(NUMBER)
    assert find_in(make_triangle(), noise_v).uncertainty_hz == pytest.approx(expected_hz, rel=0.01)


@pytest.mark.parametrize(("step_v", "steep"), [(0.29, False), (0.31, True)])
def test_an_edge_is_steep_from_three_tenths_of_the_height(step_v: float, steep: bool) -> None:
    """A triangle with one jump in each period, at its top."""
    volts = np.clip(make_triangle() * (1 - step_v), 0, 1)
    volts[np.mod(np.arange(len(volts)), PERIOD) == PERIOD // 2] += step_v
    found = find_in(volts, 0.0)
    assert (found.uncertainty_hz > 1e-6) == steep


@pytest.mark.parametrize(("late", "counted"), [(0.0605, True), (0.064, False)])
def test_a_crossing_is_on_time_within_a_sixteenth_of_the_period(late: float, counted: bool) -> None:
    """One of a hundred pulses: its deviation is a tenth of itself in the root mean square."""
    found = find_in(make_pulses([0.0] * 50 + [late]))
    expected_s = late * PERIOD * INTERVAL_S / 10 if counted else 0.0
    assert found.jitter_s == pytest.approx(expected_s, rel=0.02, abs=2e-7)


def test_jitter_of_early_and_late_pulses_is_the_wander_of_the_frequency() -> None:
    """Half of them late by 2 %: a deviation of 1 %, all of it beyond the effect of noise."""
    found = find_in(make_pulses([0.0, 0.02, 0.02, 0.0] * 25))
    deviation_s = 0.01 * PERIOD * INTERVAL_S
    assert found.jitter_s == pytest.approx(deviation_s, rel=5e-3)
    assert found.uncertainty_hz == pytest.approx(deviation_s * count_per_period(NUMBER), rel=5e-3)
    beyond_s = math.sqrt(deviation_s**2 - INTERVAL_S**2 / 12)
    assert found.wander_hz == pytest.approx(beyond_s * count_per_period(NUMBER), rel=5e-3)


@pytest.mark.parametrize(("every", "repeats"), [(6, True), (4, False)])
def test_four_fifths_of_the_periods_must_have_a_crossing(every: int, repeats: bool) -> None:
    """One pulse in six is missing, or one in four."""
    volts = make_pulses(missing=range(2, NUMBER - 1, every))
    if repeats:
        assert find_in(volts).hz == pytest.approx(HZ, rel=1e-6)
    else:
        with pytest.raises(NoFrequency, match="it does not repeat evenly: strongest at 1 kHz"):
            find_in(volts)


@pytest.mark.parametrize(("doubled", "repeats"), [(8, True), (20, False)])
def test_one_period_in_ten_may_have_two_crossings(doubled: int, repeats: bool) -> None:
    """A gap of 3 % of the period near the start of a pulse makes a second rise."""
    volts = make_pulses()
    for turn in range(0, 2 * doubled, 2):
        start = int((turn + 0.3) * PERIOD)
        volts[start + 22 : start + 52] = 0.0
    if repeats:
        assert find_in(volts).hz == pytest.approx(HZ, rel=1e-3)
    else:
        with pytest.raises(NoFrequency, match=r"rises 1\.2 kHz on average"):
            find_in(volts)


@pytest.mark.parametrize(("depth", "repeats"), [(0.045, True), (0.055, False)])
def test_a_dip_within_a_twentieth_of_the_height_is_no_second_rise(
    depth: float, repeats: bool
) -> None:
    """After each of three rises the trace falls back below its level, then rises on."""
    volts = np.zeros(NUMBER * PERIOD)
    for turn in range(NUMBER):
        start = turn * PERIOD + 100
        for level in (0.2, 0.5, 0.8):
            volts[start : start + 27] = level + 0.1
            volts[start + 27 : start + 54] = level - depth
            volts[start + 54 : start + 250] = level + 0.1
            start += 250
        volts[start - 100 : start] = 1.0
    if repeats:
        assert find_in(volts).hz == pytest.approx(HZ, rel=1e-6)
    else:
        with pytest.raises(NoFrequency, match=r"rises 2\.0?1? ?kHz|rises 2 kHz on average"):
            find_in(volts)


def test_two_rises_are_the_fewest() -> None:
    assert find_in(make_pulses(number=2), of=make_line(2)).hz == pytest.approx(HZ, rel=1e-9)
    with pytest.raises(NoFrequency, match="less than two periods"):
        find_in(make_pulses(number=1), of=make_line(1))


@pytest.mark.parametrize("level", [0.5, 0.2, 0.8])
def test_a_trace_may_cross_evenly_at_one_level_only(level: float) -> None:
    """Even edges between half a tenth below and above one level; elsewhere edges come by chance."""
    chance = np.random.default_rng(5)
    volts = np.zeros(NUMBER * PERIOD)
    for turn in range(NUMBER):
        start = int((turn + 0.1) * PERIOD)
        volts[start : start + 700] = level + 0.1
        volts[start - 100 : start] = level - 0.1
        for low, high in ((0.0, level - 0.1), (level + 0.1, 1.0)):
            for place in chance.integers(100, 600, 4 if low else 0):
                volts[start + place : start + place + 40] = high
            for place in chance.integers(750, 850, 0 if low else 2):
                volts[start + place : start + place + 25] = high
    assert find_in(volts).hz == pytest.approx(HZ, rel=1e-6)


@pytest.mark.parametrize("off", [0.8, 1.2])
def test_few_periods_are_numbered_by_their_own_distance(off: float) -> None:
    """The frequency of the spectrum may be a quarter off in a record of few periods."""
    found = find_in(make_pulses(number=6), of=make_line(6 * off, HZ * off))
    assert found.hz == pytest.approx(HZ, rel=1e-9)
