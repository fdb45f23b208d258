"""Chroma against luminance: its delay, and how it changes with level."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.readings.video.composite import measure_composite
from pinfolio.plugins.readings.video.figure import Figure, Record

from .composite_signal import Signal

INTERVAL_S = 40e-9


def measure(volts: np.ndarray) -> dict[str, Figure]:
    return measure_composite(Record(volts, INTERVAL_S), "PAL-B/G", 75.0).figures


@pytest.mark.parametrize("delay_s", [0.0, 50e-9, -120e-9, 250e-9])
def test_the_delay_of_chroma_is_measured(delay_s: float) -> None:
    volts = Signal(chroma_delay_s=delay_s).samples(50_000, INTERVAL_S)
    found = measure(volts)["chroma to luminance delay"]
    assert found.value == pytest.approx(delay_s, abs=max(4 * found.uncertainty, 4e-9))
    assert found.uncertainty < 5e-9


def test_a_linear_path_has_no_differential_gain_and_phase() -> None:
    figures = measure(Signal().samples(50_000, INTERVAL_S))
    for name in ("differential gain", "differential phase"):
        assert figures[name].value == pytest.approx(0, abs=4 * figures[name].uncertainty)
        assert figures[name].uncertainty < 0.5


def test_a_bent_transfer_curve_has_differential_gain() -> None:
    """Of y = x - b x², the slope falls from 1 at black to 1 - 2 b w at white, w = 0.7 V."""
    volts = Signal(noise_v=0.002).samples(50_000, INTERVAL_S)
    found = measure(volts - 0.15 * volts**2)["differential gain"]
    expected = -100 * 2 * 0.15 * 0.7 / (1 - 2 * 0.15 * 0.262)
    assert found.value == pytest.approx(expected, abs=1.5)
