"""Resonators and their shift by a probe, against the formulas for small changes of load.

Source: the pulling sensitivity of IEC 60122-1, df / f = -C1 / (2 (C0 + CL)²) dCL.
"""

from __future__ import annotations

import pytest
from pinfolio.schema.measuring.crystal import (
    compute_frequency_shift_hz,
    compute_series_capacitance_f,
    typical_resonator,
)

PAL_HZ = 4.43361875e6


def test_a_resonator_is_on_its_nominal_frequency_with_its_load() -> None:
    crystal = typical_resonator("crystal", PAL_HZ)
    assert crystal.loaded_hz(crystal.load_f) == pytest.approx(PAL_HZ, rel=1e-12)
    assert crystal.series_hz < PAL_HZ


def test_the_series_resonance_is_below_by_half_the_ratio_of_capacitances() -> None:
    """16 fF over 2 (5 + 20) pF: 320 ppm, 1.42 kHz at the PAL subcarrier."""
    crystal = typical_resonator("crystal", PAL_HZ)
    assert 1 - crystal.series_hz / PAL_HZ == pytest.approx(320e-6, rel=0.001)


def test_a_small_load_pulls_by_the_sensitivity_of_the_standard() -> None:
    crystal = typical_resonator("crystal", PAL_HZ)
    pin_f = other_f = 40e-12
    probe_f = 0.01e-12
    load_change_f = probe_f / 4  # of two equal capacitors in series, one is changed
    sensitivity = -16e-15 / (2 * (5e-12 + 20e-12) ** 2)
    shift_hz = compute_frequency_shift_hz(crystal, pin_f, other_f, probe_f)
    assert shift_hz == pytest.approx(PAL_HZ * sensitivity * load_change_f, rel=0.001)


def test_a_ceramic_resonator_is_scaled_by_its_frequency() -> None:
    at_500_khz, at_250_khz = (typical_resonator("ceramic resonator", hz) for hz in (500e3, 250e3))
    assert at_500_khz.holder_f == pytest.approx(250e-12)
    assert at_250_khz.holder_f == pytest.approx(500e-12)
    assert at_250_khz.motional_f == pytest.approx(2 * at_500_khz.motional_f)
    assert at_250_khz.load_f == pytest.approx(2 * at_500_khz.load_f)


def test_a_probe_pulls_a_ceramic_resonator_down_more_than_a_crystal() -> None:
    shifts = {
        kind: compute_frequency_shift_hz(typical_resonator(kind, 500e3), 100e-12, 100e-12, 15e-12)
        / 500e3
        for kind in ("crystal", "ceramic resonator")
    }
    assert shifts["ceramic resonator"] < shifts["crystal"] < 0


def test_two_capacitors_in_series() -> None:
    assert compute_series_capacitance_f(30e-12, 60e-12) == pytest.approx(20e-12)
