"""A sine that the instrument cuts off, and one that is sampled at few places of its cycle."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.readings.video.figure import Record
from pinfolio.plugins.readings.video.instrument_marks import find_clipped_carrier

STEP_V = 0.01


def sample(samples_a_cycle: float, limit_v: float = 2.0, count: int = 4000) -> Record:
    sine = np.sin(2 * np.pi * np.arange(count) / samples_a_cycle)
    noise_v = np.random.default_rng(1).normal(0, STEP_V, count)
    codes = np.round(np.minimum(sine + noise_v, limit_v) / STEP_V)
    return Record(codes * STEP_V, 1.0)


@pytest.mark.parametrize(("limit_v", "side"), [(2.0, None), (0.8, "top")])
def test_a_sine_cut_off(limit_v: float, side: str | None) -> None:
    record = sample(11.37, limit_v)
    assert find_clipped_carrier(record, 1 / 11.37) == side


def test_sampling_locked_to_the_sine_tells_nothing() -> None:
    """Eight samples a cycle: one of them is at the top of every cycle, none near it."""
    assert find_clipped_carrier(sample(8.0, 0.98), 1 / 8.0) is None
