"""Volts drawn segment by segment are those of the sines, computed one by one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.schema.systems import SCANNING
from pinfolio.schema.waveforms.video_signal import (
    draw_chrominance_lines,
    draw_luminance_line,
    draw_sync_line,
    modulate_subcarrier,
    tabulate_bars,
)


def compute_bars(system: str, t_s: np.ndarray) -> np.ndarray:
    u, v = (line(t_s) for line in draw_chrominance_lines(system, 75.0))
    grey = draw_luminance_line(system, 75.0)(t_s) + draw_sync_line(system)(t_s)
    return grey + modulate_subcarrier(system, u, v, t_s)


@given(
    system=st.sampled_from(["PAL-B/G", "NTSC-M", "PAL-M", "PAL-N"]),
    start_s=st.floats(-0.05, 0.05),
    interval_s=st.floats(1e-9, 1e-6),
    count=st.integers(1, 70_000),
)
def test_even_times(system: str, start_s: float, interval_s: float, count: int) -> None:
    t_s = start_s + interval_s * np.arange(count)
    volts = tabulate_bars(system, 75.0, 1.0, 1.0)(t_s)
    # The carrier is kept in single precision: 6e-8 of its amplitude, and as much of each factor.
    assert volts == pytest.approx(compute_bars(system, t_s), abs=2e-7)


def test_uneven_times_and_other_shapes() -> None:
    t_s = np.random.default_rng(1).uniform(0, 20e-3, (50, 40))
    volts = tabulate_bars("PAL-B/G", 75.0, 1.0, 1.0)(t_s)
    assert volts == pytest.approx(compute_bars("PAL-B/G", t_s), abs=1e-12)


def test_no_sample_is_lost_at_four_times_the_subcarrier() -> None:
    """A whole frame: 625 lines of 1135 samples, and four more."""
    t_s = np.arange(709_379) / (4 * float(SCANNING["PAL-B/G"].subcarrier_hz[0]))
    volts = tabulate_bars("PAL-B/G", 75.0, 1.0, 0.0)(t_s)
    expected = draw_luminance_line("PAL-B/G", 75.0)(t_s) + draw_sync_line("PAL-B/G")(t_s)
    assert volts == pytest.approx(expected, abs=1e-9)
