"""Signal to noise, differential gain and phase of composite video, on textbook constructions.

Differential gain and phase are the change of the colour carrier's amplitude and phase as the
luminance goes from blanking to white (ITU-T J.61 and any television textbook); here the analytic
signal of the chrominance (Hilbert transform) is multiplied by a straight line of the luminance.
"""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.readings.video.composite import measure_composite
from pinfolio.plugins.readings.video.figure import Figure, Record
from scipy.signal import hilbert

from ..plugins.readings.video.composite_signal import Signal

COUNT, INTERVAL_S, NOISE_V = 40_000, 40e-9, 0.002
WHITE_V = 0.7


def measure(volts: np.ndarray, interval_s: float = INTERVAL_S) -> dict[str, Figure]:
    return measure_composite(Record(volts, interval_s), "PAL-B/G", 75.0).figures


def distort(gain: float, phase_deg: float) -> np.ndarray:
    """Bars whose chroma grows by a share, and turns, from blanking to white."""
    luma = Signal(burst=0.0, chroma=0.0, noise_v=0.0).samples(COUNT, INTERVAL_S)
    chroma = Signal(luma=0.0, noise_v=0.0).samples(COUNT, INTERVAL_S)
    level = np.clip(luma, 0.0, None) / WHITE_V
    bent = hilbert(chroma) * (1 + gain * level) * np.exp(1j * np.deg2rad(phase_deg) * level)
    return luma + bent.real + np.random.default_rng(3).normal(0, NOISE_V, COUNT)


@pytest.mark.parametrize("gain", [-0.3, -0.05, 0.1])
def test_differential_gain(gain: float) -> None:
    """Over the mean of the six colours, whose luminance is 0.375 of white on average (BT.601)."""
    found = measure(distort(gain, 0.0))["differential gain"]
    expected = 100 * gain / (1 + gain * 0.75 * 0.5)
    assert found.value == pytest.approx(expected, abs=3 * found.uncertainty + 0.02 * abs(expected))


@pytest.mark.parametrize("phase_deg", [-12.0, 3.0])
def test_differential_phase(phase_deg: float) -> None:
    """On lines of positive V; on the others a mirrored vector turns the other way about."""
    found = measure(distort(0.0, phase_deg))["differential phase"]
    assert found.value == pytest.approx(phase_deg, abs=3 * found.uncertainty + 0.3)


@pytest.mark.parametrize("noise_v", [0.001, 0.01, 0.03])
def test_signal_to_noise(noise_v: float) -> None:
    """20 log of white over root mean square noise (ITU-R BT.1204 and textbooks: luminance)."""
    found = measure(Signal(noise_v=noise_v).samples(COUNT, INTERVAL_S))["signal to noise"]
    expected_db = 20 * np.log10(WHITE_V / noise_v)
    assert found.value == pytest.approx(expected_db, abs=3 * found.uncertainty)


def test_weighted_noise() -> None:
    """White noise up to 5 MHz counts 7.4 dB less through the unified weighting network.

    ITU-T J.61 (from memory); noise from 5 MHz to half the sampling rate does not count at all.
    """
    interval_s = 80e-9
    figures = measure(Signal(noise_v=0.01).samples(COUNT, interval_s), interval_s)
    weighted, plain = figures["signal to noise, weighted"], figures["signal to noise"]
    beyond_db = 10 * np.log10(0.5 / interval_s / 5e6)
    error_db = 3 * float(np.hypot(weighted.uncertainty, plain.uncertainty)) + 0.1
    assert weighted.value - plain.value == pytest.approx(7.4 + beyond_db, abs=error_db)
