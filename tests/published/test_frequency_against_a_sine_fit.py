"""Frequencies against the four-parameter sine fit of IEEE Std 1057, which the package does not use.

The fit is scipy.optimize.least_squares on amplitude, phase, level and frequency together: the
maximum-likelihood estimate in white noise. Both see the same records.
"""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.readings.trace_measurements import measure_trace
from scipy.optimize import least_squares

TRIALS = 25


def fit_hz(t_s: np.ndarray, volts: np.ndarray, near_hz: float) -> float:
    """Return the frequency of a sine with all four parameters free."""

    def rest(parts: np.ndarray) -> np.ndarray:
        angle = 2 * np.pi * near_hz * (1 + parts[3]) * t_s
        return parts[0] * np.sin(angle) + parts[1] * np.cos(angle) + parts[2] - volts

    angle = 2 * np.pi * near_hz * t_s
    start = [2 * np.mean(volts * np.sin(angle)), 2 * np.mean(volts * np.cos(angle)), 0.0, 0.0]
    scale = [1.0, 1.0, 1.0, 1 / (near_hz * (t_s[-1] - t_s[0]))]
    return near_hz * (1 + least_squares(rest, start, x_scale=scale).x[3])


@pytest.mark.parametrize(
    ("hz", "interval_s", "noise_v"),
    [(4_433_618.75, 40e-9, 0.05), (503_496.5, 0.2e-6, 0.02), (15_625.0, 2e-6, 0.1)],
)
def test_agrees_with_the_fit(hz: float, interval_s: float, noise_v: float) -> None:
    """As close to the truth as the fit, but for the windows, and to it within both scatters."""
    chance = np.random.default_rng(1057)
    t_s = np.arange(3000) * interval_s
    ours, fitted, stated = [], [], []
    for _ in range(TRIALS):
        wave = np.sin(2 * np.pi * hz * t_s + chance.uniform(0, 2 * np.pi))
        volts = wave + chance.normal(0, noise_v, len(t_s))
        found = measure_trace(t_s, volts)
        assert found.frequency_hz is not None
        assert found.frequency_uncertainty_hz is not None
        ours.append(found.frequency_hz - hz)
        fitted.append(fit_hz(t_s, volts, hz) - hz)
        stated.append(found.frequency_uncertainty_hz)
    off, best = np.array(ours), np.array(fitted)
    assert np.sqrt(np.mean(off**2)) < 1.6 * np.sqrt(np.mean(best**2))
    assert np.mean(np.abs(off - best) < 2 * np.array(stated)) > 0.9
