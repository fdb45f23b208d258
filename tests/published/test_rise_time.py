"""Bandwidth and rise time against step responses computed by scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from pinfolio.schema.measuring.bandwidth import (
    combine_rise_times_s,
    compute_one_pole_gain,
    compute_rise_time_s,
)
from scipy import signal
from scipy.special import erf, erfinv


def measure_ten_to_ninety_s(t_s: NDArray[np.float64], step: NDArray[np.float64]) -> float:
    """Rise time of a rising step that ends at 1."""
    return float(np.interp(0.9, step, t_s) - np.interp(0.1, step, t_s))


def make_poles(*bandwidths_hz: float) -> signal.TransferFunction:
    """Poles one after another."""
    denominator = np.array([1.0])
    for bandwidth_hz in bandwidths_hz:
        denominator = np.polymul(denominator, [1 / (2 * math.pi * bandwidth_hz), 1])
    return signal.TransferFunction([1.0], denominator)


@pytest.mark.parametrize("bandwidth_hz", [200e3, 6e6, 20e6, 100e6])
def test_one_pole_rises_in_its_own_time(bandwidth_hz: float) -> None:
    t_s = np.linspace(0, 2 / bandwidth_hz, 20_001)
    _, step = signal.step(make_poles(bandwidth_hz), T=t_s)
    assert compute_rise_time_s(bandwidth_hz) == pytest.approx(
        measure_ten_to_ninety_s(t_s, step), rel=1e-5
    )


def test_the_rule_of_the_trade() -> None:
    """100 MHz rises in 3.5 ns: oscilloscope tutorials, rounding ln 9 / 2 pi to 0.35."""
    assert compute_rise_time_s(100e6) == pytest.approx(3.5e-9, rel=1e-3)
    assert compute_rise_time_s(350e6) == pytest.approx(1e-9, rel=1e-3)


def test_two_gaussian_stages_add_exactly() -> None:
    """A Gaussian of 3 after one of 4 is one of 5; edges by the error function."""
    sigma_3, sigma_4, sigma_5 = 3e-9, 4e-9, 5e-9
    t_s = np.linspace(-40e-9, 40e-9, 80_001)

    def rise_s(sigma_s: float) -> float:
        edge = (1 + erf(t_s / (sigma_s * math.sqrt(2)))) / 2
        return measure_ten_to_ninety_s(t_s, edge)

    assert rise_s(sigma_3) == pytest.approx(2 * math.sqrt(2) * erfinv(0.8) * sigma_3, rel=1e-6)
    assert combine_rise_times_s(rise_s(sigma_3), rise_s(sigma_4)) == pytest.approx(
        rise_s(sigma_5), rel=1e-6
    )


@pytest.mark.parametrize("ratio", [1.0, 2.0, 5.0, 16.7])
def test_two_poles_come_within_a_few_percent(ratio: float) -> None:
    """An x1 probe and an oscilloscope are not Gaussian: the rule is some percent off, no more."""
    first_hz, second_hz = 6e6, 6e6 * ratio
    t_s = np.linspace(0, 2 / first_hz, 20_001)
    _, step = signal.step(make_poles(first_hz, second_hz), T=t_s)
    both_s = combine_rise_times_s(compute_rise_time_s(first_hz), compute_rise_time_s(second_hz))
    assert both_s == pytest.approx(measure_ten_to_ninety_s(t_s, step), rel=0.08)


def test_a_published_sum() -> None:
    """3.5 ns and 3.5 ns make 4.950 ns: the usual rule as Hale et al. state it, Technisches
    Messen 2017, with the ratios computed from it."""
    assert combine_rise_times_s(3.5e-9, 3.5e-9) == pytest.approx(4.950e-9, rel=1e-4)
    for faster, stretched in ((1, 1.4142), (2, 1.1180), (3, 1.0541), (5, 1.0198), (10, 1.0050)):
        assert combine_rise_times_s(1.0, 1 / faster) == pytest.approx(stretched, abs=5e-5)


@pytest.mark.parametrize("share", [2.0, 3.0, 5.0, 10.0])
def test_amplitude_left_below_the_corner(share: float) -> None:
    _, response = signal.freqs([1.0], [1 / (2 * math.pi * 20e6), 1], [2 * math.pi * 20e6 / share])
    assert compute_one_pole_gain(20e6 / share, 20e6) == pytest.approx(abs(response[0]), rel=1e-12)


def test_chroma_through_a_x1_probe_reads_a_fifth_low() -> None:
    """Leaflets of x1 probes give about 6 MHz; one pole leaves 0.8043 of the subcarrier."""
    assert compute_one_pole_gain(4.43361875e6, 6e6) == pytest.approx(0.8043, abs=5e-5)
