"""Loading of a node, against closed forms of the voltage divider.

Source: Thevenin's theorem; Horowitz and Hill, The Art of Electronics, chapter 1.
"""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.schema.measuring.loading import (
    compute_loaded_v,
    compute_loading_gain,
    compute_unloaded_v,
)

resistances = st.floats(1.0, 1e8)
capacitances = st.floats(1e-13, 1e-8)
frequencies = st.floats(1.0, 1e8)


def test_an_equal_resistance_halves_the_voltage() -> None:
    assert compute_loaded_v(12.0, 1e6, 1e6) == 6.0
    assert compute_unloaded_v(6.0, 1e6, 1e6) == 12.0


@given(st.floats(-1e3, 1e3), resistances, resistances)
def test_taking_the_load_off_undoes_putting_it_on(
    true_v: float, source_ohm: float, load_ohm: float
) -> None:
    reading_v = compute_loaded_v(true_v, source_ohm, load_ohm)
    assert compute_unloaded_v(reading_v, source_ohm, load_ohm) == pytest.approx(true_v)
    assert abs(reading_v) <= abs(true_v)


@given(frequencies, resistances, capacitances, resistances, capacitances)
def test_a_probe_divides_as_impedances_do(
    frequency_hz: float, source_ohm: float, node_f: float, tip_ohm: float, tip_f: float
) -> None:
    """The node alone and with the probe, each as source and shunt in the complex plane."""
    s = 2j * math.pi * frequency_hz
    node_alone = 1 / (1 + s * source_ohm * node_f)
    shunt_ohm = 1 / (1 / tip_ohm + s * (node_f + tip_f))
    with_probe = shunt_ohm / (shunt_ohm + source_ohm)
    (gain,) = compute_loading_gain(np.array([frequency_hz]), source_ohm, node_f, tip_ohm, tip_f)
    assert cmath.isclose(gain, with_probe / node_alone, rel_tol=1e-9)


def test_the_capacitance_of_the_tip_takes_3_db_at_its_corner() -> None:
    """Behind 10 kΩ, 15 pF takes half of the power at 1 / (2 pi R C) = 1.061 MHz and lags 45°."""
    corner_hz = 1 / (2 * math.pi * 10e3 * 15e-12)
    (gain,) = compute_loading_gain(np.array([corner_hz]), 10e3, 0.0, 1e15, 15e-12)
    assert abs(gain) == pytest.approx(math.sqrt(0.5))
    assert math.degrees(cmath.phase(gain)) == pytest.approx(-45.0)


def test_at_dc_the_gain_of_a_probe_is_that_of_its_resistance() -> None:
    (gain,) = compute_loading_gain(np.array([0.0]), 1e6, 10e-12, 10e6, 15e-12)
    assert gain == pytest.approx(compute_loaded_v(1.0, 1e6, 10e6))
