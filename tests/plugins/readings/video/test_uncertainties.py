"""The estimators' own part in an uncertainty, on closed formulas."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.readings.video.composite import measure_composite
from pinfolio.plugins.readings.video.figure import Figure, Record

from .composite_signal import Signal


def measure(count: int, interval_s: float, lines: int = 625, from_line: float = 60.1) -> dict:
    signal = Signal(lines=lines, noise_v=0.003, from_line=from_line)
    record = Record(signal.samples(count, interval_s), interval_s)
    return measure_composite(record, "PAL-B/G" if lines == 625 else "NTSC-M", 75.0).figures


@pytest.mark.parametrize("shape", [3.2, 3.249])
def test_the_rise_holds_for_straight_and_for_sine_squared_edges(shape: float) -> None:
    """Sampled finely, the doubt of the shape is left; both are within twice its uncertainty.

    Rise over area: 0.8 w over 2 (w/8) of a straight edge of duration w; 2 asin(0.8) w / pi over
    w (1/2 - 1/pi) of half a sine wave.
    """
    exact = {3.2: 0.8 / 0.25, 3.249: 2 * np.arcsin(0.8) / np.pi / (0.5 - 1 / np.pi)}[shape]
    assert exact == pytest.approx(shape, abs=1e-3)
    rise: Figure = measure(40_000, 10e-9)["sync rise time"]
    area_s = 0.2e-6 / 3.2
    assert abs(rise.value - shape * area_s) < 2 * rise.uncertainty + 1e-9
    assert rise.uncertainty < 0.01 * rise.value


def test_the_rise_is_read_on_lines_with_an_edge_of_their_own() -> None:
    """One whole line of 525 and parts of two: where these begin is not measured."""
    rise = measure(1_600, 80e-9, lines=525, from_line=60.6)["sync rise time"]
    assert abs(rise.value - 0.14e-6) < 2 * rise.uncertainty


def test_sampling_that_is_not_locked_to_the_lines_tells_more() -> None:
    """64 µs hold a whole number of samples at 80 ns, all lines alike; not at 79 ns."""
    locked, free = (
        measure(40_000, interval_s)["sync width"].uncertainty for interval_s in (80e-9, 79e-9)
    )
    assert free < 0.6 * locked


LEVELS = np.random.default_rng(5).uniform(-0.5, 0.5, 400)  # between two codes, in steps


def make_record(step_v: float = 0.01) -> Record:
    return Record(step_v * np.tile(np.arange(20.0), 5), 1e-6)


@pytest.mark.parametrize("noise_steps", [0.0, 0.15, 0.3, 0.5])
def test_rounding_that_noise_does_not_average_out(noise_steps: float) -> None:
    """Against levels that are rounded one by one: the root mean square error of their means."""
    chance = np.random.default_rng(6)
    samples = LEVELS[:, None] + noise_steps * chance.normal(size=(len(LEVELS), 4000))
    errors = np.round(samples).mean(axis=1) - LEVELS
    scatter = np.hypot(noise_steps, 12**-0.5)
    record = make_record()
    found = record.mean_error_v(scatter * record.step_v) / record.step_v
    assert found == pytest.approx(np.sqrt(np.mean(errors**2)), abs=0.02)


@pytest.mark.parametrize("noise_steps", [0.0, 0.2])
@pytest.mark.parametrize("carrier_steps", [3.0, 12.0])
def test_rounding_of_a_carrier(carrier_steps: float, noise_steps: float) -> None:
    """Level and amplitude of sines that are rounded sample by sample, all phases alike."""
    chance = np.random.default_rng(7)
    angle = 2 * np.pi * np.arange(5000) / 5000
    sizes = carrier_steps + LEVELS
    waves = LEVELS[::-1, None] + sizes[:, None] * np.sin(angle)
    codes = np.round(waves + noise_steps * chance.normal(size=waves.shape))
    level_errors = codes.mean(axis=1) - LEVELS[::-1]
    size_errors = 2 * (codes * np.sin(angle)).mean(axis=1) - sizes
    record, scatter = make_record(), float(np.hypot(noise_steps, 12**-0.5))
    found = [
        work(scatter * record.step_v, carrier_steps * record.step_v) / record.step_v
        for work in (record.mean_error_v, record.carrier_error_v)
    ]
    seen = [float(np.sqrt(np.mean(one**2))) for one in (level_errors, size_errors)]
    assert found == pytest.approx(seen, rel=0.3, abs=3e-3)
