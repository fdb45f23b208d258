"""A probe's tip in parallel with a pin: resistance decides at DC, capacitance at high frequency.

Source of the limits: the voltage divider, any circuit textbook (Horowitz and Hill, The Art of
Electronics, chapter 1).
"""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.instruments.probe_tip import compute_tip_gain
from pinfolio.schema import Pin
from pinfolio.schema.instruments import Probe
from pinfolio.schema.instruments.ordinary import BUILT_IN

TEN_MEGOHM_15_PF = BUILT_IN.probes["x10 probe"]
FAR_ABOVE_EVERY_CORNER_HZ = 1e12


def output(**fields: str) -> Pin:
    return Pin.model_validate(
        {"number": 1, "symbol": "OUT", "function": "video output", "role": "output", **fields}
    )


def share_left(frequency_hz: float, pin: Pin, beside_f: float = 0.0) -> float:
    gain = compute_tip_gain(np.array([frequency_hz]), pin, TEN_MEGOHM_15_PF, beside_f)
    return float(abs(gain[0]))


def test_at_dc_the_resistances_divide() -> None:
    assert share_left(0.0, output(resistance="1 MΩ")) == pytest.approx(10 / 11)


def test_at_high_frequency_the_capacitances_divide() -> None:
    """20 pF of the pin and 30 pF beside it keep their charge; the tip adds 15 pF."""
    pin = output(resistance="10 kΩ", capacitance="20 pF")
    left = share_left(FAR_ABOVE_EVERY_CORNER_HZ, pin, beside_f=30e-12)
    assert left == pytest.approx(50 / 65, rel=1e-6)


def test_a_pin_of_unknown_capacitance_has_five_picofarad() -> None:
    """Common practice: an IC pin and its track."""
    left = share_left(FAR_ABOVE_EVERY_CORNER_HZ, output(resistance="10 kΩ"))
    assert left == pytest.approx(5 / 20, rel=1e-6)


def test_in_between_the_tip_makes_one_pole() -> None:
    """Where 5 pF has a reactance of 10 kΩ the admittances are 1 + j, and 0.001 + 3j of the tip."""
    corner_hz = 1 / (2 * np.pi * 10e3 * 5e-12)
    left = share_left(corner_hz, output(resistance="10 kΩ"))
    assert left == pytest.approx(abs((1 + 1j) / (1 + 1j + 0.001 + 3j)), rel=1e-9)


def test_a_source_of_one_ohm_is_loaded_too() -> None:
    """Where 20 pF have a reactance of 1 Ω the admittances are 1 + j / 4, and of the tip 3 j / 4."""
    corner_hz = 1 / (2 * np.pi * 1.0 * 20e-12)
    left = share_left(corner_hz, output(resistance="1 Ω"))
    assert left == pytest.approx(abs((1 + 0.25j) / (1 + 1j)), rel=1e-6)


@pytest.mark.parametrize("fields", [{}, {"resistance": "1 MΩ", "role": "input"}])
def test_a_source_that_is_not_known_is_taken_to_lose_nothing(fields: dict[str, str]) -> None:
    assert share_left(1e6, output(**fields)) == 1.0


def test_each_frequency_has_its_own_share() -> None:
    frequencies_hz = np.array([0.0, 1e3, 1e6, 1e9])
    gains = abs(compute_tip_gain(frequencies_hz, output(resistance="1 MΩ"), TEN_MEGOHM_15_PF))
    assert gains.shape == frequencies_hz.shape
    assert all(np.diff(gains) < 0)


def test_a_probe_with_more_capacitance_leaves_less() -> None:
    pin, frequency_hz = output(resistance="1 kΩ"), np.array([4.43e6])
    plain: Probe = BUILT_IN.probes["x1 probe"]
    assert abs(compute_tip_gain(frequency_hz, pin, plain)) < abs(
        compute_tip_gain(frequency_hz, pin, TEN_MEGOHM_15_PF)
    )
