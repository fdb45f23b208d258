"""Noise and jitter of a signal that is no composite video."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.readings.trace_defects import find_trace_defects
from pinfolio.plugins.readings.trace_measurements import measure_trace
from pinfolio.schema import Expectation

INTERVAL_S = 40e-9
PULSE = Expectation.model_validate(
    {
        "condition": "colour bars",
        "waveform": {
            "kind": "sandcastle",
            "system": "PAL-B/G",
            "burst_key": "8 V",
            "line_blanking": "4.5 V",
        },
        "source": {"id": "sheet"},
    }
)


def draw_key(noise_v: float = 0.02, jitter_s: float = 0.0) -> np.ndarray:
    """Forty lines of a blanking pulse with edges of 0.25 µs, shifted line by line."""
    rng = np.random.default_rng(1)
    t_s = np.arange(64_000) * INTERVAL_S
    line = (t_s / 64e-6).astype(int)
    after_s = t_s - line * 64e-6 - rng.normal(0, jitter_s, line.max() + 1)[line]
    up = np.clip((after_s - 20e-6) / 0.25e-6, 0, 1) - np.clip((after_s - 32e-6) / 0.25e-6, 0, 1)
    return 8 * up + rng.normal(0, noise_v, len(t_s))


@pytest.mark.parametrize(
    ("volts", "names"),
    [
        (draw_key(), []),
        (draw_key(noise_v=0.9), ["noisy"]),
        (draw_key(jitter_s=0.5e-6), ["line jitter"]),
    ],
)
def test_noise_and_jitter_are_named(volts: np.ndarray, names: list[str]) -> None:
    t_s = np.arange(len(volts)) * INTERVAL_S
    found = find_trace_defects(PULSE, measure_trace(t_s, volts), INTERVAL_S)
    assert [defect.name for defect in found] == names


@pytest.mark.parametrize(("noise_v", "names"), [(0.02, []), (0.9, ["noisy"])])
def test_noise_is_told_from_few_samples_of_level_parts(noise_v: float, names: list[str]) -> None:
    """Sampled at 2.5 MHz, an edge of 0.25 µs is less than a sample."""
    volts, interval_s = draw_key(noise_v)[::10], 10 * INTERVAL_S
    measured = measure_trace(np.arange(len(volts)) * interval_s, volts)
    assert measured.noise_v == pytest.approx(noise_v, rel=0.15)
    found = find_trace_defects(PULSE, measured, interval_s)
    assert [defect.name for defect in found] == names
