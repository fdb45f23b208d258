"""Ratios that give a fault away. Common practice of the bench, except where a source is named."""

from __future__ import annotations

import pytest
from pinfolio.plugins.readings.telltale_ratios import (
    explain_alias,
    explain_amplitude_ratio,
    explain_frequency_ratio,
    is_near,
)
from pinfolio.schema.instruments.ordinary import BUILT_IN

ANALOGUE = BUILT_IN.scopes["analogue 20 MHz"]
DIGITISING = BUILT_IN.scopes["digitising 50 MHz"]
LINE_HZ = 15625.0
SUBCARRIER_HZ = 4.43361875e6


@pytest.mark.parametrize(("value", "near"), [(97.0, True), (103.0, True), (96.9, False)])
def test_two_figures_off_a_screen_agree_within_three_per_cent(value: float, near: bool) -> None:
    assert is_near(value, 100.0) == near


@pytest.mark.parametrize(
    ("vpp_v", "meaning"),
    [
        (0.5, "half the amplitude"),
        (0.535, "half the amplitude"),
        (0.55, None),
        (1.0, None),
        (2.0, "twice the amplitude"),
        (2.15, "twice the amplitude"),
        (2.2, None),
    ],
)
def test_half_and_twice_the_amplitude_are_telling(vpp_v: float, meaning: str | None) -> None:
    explained = explain_amplitude_ratio(vpp_v, 1.0)
    assert explained is None if meaning is None else (explained or "").startswith(meaning)


@pytest.mark.parametrize("mains_hz", [50, 60, 100, 120])
def test_the_mains_and_its_ripple_are_not_the_signal(mains_hz: int) -> None:
    """Mains of 50 Hz or 60 Hz (IEC 60038), and full-wave rectified at twice that."""
    assert explain_frequency_ratio(mains_hz, LINE_HZ) == (
        f"{mains_hz} Hz is the mains or its ripple, not the signal"
    )
    assert explain_frequency_ratio(1.05 * mains_hz, LINE_HZ) is None


def test_a_field_signal_may_well_have_the_frequency_of_the_mains() -> None:
    assert explain_frequency_ratio(50.0, 50.0) is None
    assert explain_frequency_ratio(50.0, 60.0) is None
    assert explain_frequency_ratio(50.0, 80.0) is not None


@pytest.mark.parametrize(("times", "name"), [(2, "half"), (3, "third"), (4, "quarter")])
def test_a_fraction_and_a_harmonic_are_telling(times: int, name: str) -> None:
    fraction = explain_frequency_ratio(LINE_HZ / times, LINE_HZ)
    assert fraction == f"a {name} of the right frequency: a divider or a trigger counts double"
    harmonic = explain_frequency_ratio(LINE_HZ * times, LINE_HZ)
    assert harmonic is not None
    assert harmonic.startswith(f"{times} times the right frequency: a harmonic")


@pytest.mark.parametrize("ratio", [0.51, 1.0, 1.5, 2.03, 5.0])
def test_other_ratios_tell_nothing(ratio: float) -> None:
    assert explain_frequency_ratio(LINE_HZ * ratio, LINE_HZ) is None


def test_an_undersampled_subcarrier_is_an_alias() -> None:
    """500 kS/s fold 4.43361875 MHz to 9 x 500 kHz - 4.43361875 MHz (sampling theorem)."""
    alias_hz = 9 * 500e3 - SUBCARRIER_HZ
    assert explain_alias(alias_hz, SUBCARRIER_HZ, DIGITISING) == (
        "at 500 µs per division the digitising 50 MHz shows the right 4.4336 MHz as 66.4 kHz"
    )
    assert explain_alias(1.05 * alias_hz, SUBCARRIER_HZ, DIGITISING) is None


def test_an_analogue_oscilloscope_has_no_aliases() -> None:
    assert explain_alias(66.4e3, SUBCARRIER_HZ, ANALOGUE) is None
