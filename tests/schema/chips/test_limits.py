"""Limits of an expectation: stated ones as they are, missing ones by the assumed tolerance."""

from __future__ import annotations

from typing import Any

import pytest
from pinfolio.schema import Expectation, Node, Pin
from pinfolio.schema.chips.limits import Limits, find_limits, print_figure

SINE = {"kind": "sine", "frequency": "4.433619 MHz", "vpp": "1 Vpp"}


def make_expectation(**values: Any) -> Expectation:
    given = {"condition": "colour bars", "source": {"id": "sheet"}, **values}
    return Expectation.model_validate(given)


def make_pin(role: str = "output") -> Pin:
    fields = {"number": 1, "symbol": "OUT", "function": "output", "role": role}
    return Pin.model_validate(fields)


def find_limits_of(quantity: str, place: Pin | Node | None = None, **values: Any) -> Limits:
    return find_limits(place or make_pin(), make_expectation(**values))[quantity]


def test_stated_limits_are_taken_as_they_are() -> None:
    found = find_limits_of("dc", dc="4 V ± 2 %")
    assert (found.low, found.typ, found.high) == (3.92, 4.0, 4.08)
    assert (found.stated, found.tolerance, found.unit) == (True, "stated", "V")


def test_a_typical_dc_is_good_within_ten_percent() -> None:
    """Common practice where a data sheet gives no tolerance."""
    found = find_limits_of("dc", dc="4 V")
    assert (found.low, found.high) == (3.6, 4.4)
    assert (found.stated, found.tolerance) == (False, "assumed")


@pytest.mark.parametrize(("dc", "low", "high"), [("0 V", -0.1, 0.1), ("0.5 V", 0.4, 0.6)])
def test_assumed_limits_of_dc_are_at_least_a_tenth_of_a_volt_wide(
    dc: str, low: float, high: float
) -> None:
    found = find_limits_of("dc", dc=dc)
    assert (found.low, found.high) == (pytest.approx(low), pytest.approx(high))


def test_a_size_is_good_within_twenty_percent() -> None:
    found = find_limits_of("vpp", waveform=SINE)
    assert (found.low, found.typ, found.high) == (0.8, 1.0, 1.2)


def test_a_size_that_the_chip_file_does_not_write_is_computed() -> None:
    pulse = {"kind": "pulse", "frequency": "50 Hz", "low": "1 V", "high": "6 V", "duty": "50 %"}
    found = find_limits_of("vpp", waveform=pulse)
    assert (found.low, found.typ, found.high) == pytest.approx((4.0, 5.0, 6.0))
    assert not found.stated


@pytest.mark.parametrize(("role", "percent"), [("output", 1.0), ("oscillator", 0.05)])
def test_a_crystal_keeps_its_frequency_better_than_a_locked_signal(
    role: str, percent: float
) -> None:
    found = find_limits_of("frequency", make_pin(role), waveform=SINE)
    assert found.high / found.typ - 1 == pytest.approx(percent / 100)
    assert 1 - found.low / found.typ == pytest.approx(percent / 100)


def test_the_frequency_of_a_system_is_good_within_a_percent() -> None:
    video = {"kind": "luminance", "system": "PAL-B/G", "bars": "75 %", "vpp": "1 Vpp"}
    found = find_limits_of("frequency", waveform=video)
    assert (found.low, found.typ, found.high) == pytest.approx((15468.75, 15625.0, 15781.25))


@pytest.mark.parametrize(
    "waveform",
    [
        {"kind": "steady", "level": "5 V"},
        {"kind": "noise", "vpp": "10 mVpp", "bandwidth": "15 kHz"},
    ],
)
def test_a_signal_without_a_period_of_its_own_has_no_frequency(waveform: dict[str, str]) -> None:
    assert "frequency" not in find_limits(make_pin(), make_expectation(waveform=waveform))


def test_resistance_covers_both_polarities_of_the_meter() -> None:
    found = find_limits_of("resistance", resistance={"red_on_pin": "10 kΩ", "black_on_pin": "4 kΩ"})
    assert (found.low, found.typ, found.high) == pytest.approx((2.8e3, 10e3, 13e3))
    assert not found.stated


def test_resistance_counts_as_stated_only_if_both_polarities_are() -> None:
    both = {"red_on_pin": "10 kΩ ± 5 %", "black_on_pin": "4 kΩ ± 5 %"}
    assert find_limits_of("resistance", resistance=both).stated
    assert not find_limits_of("resistance", resistance={**both, "black_on_pin": "4 kΩ"}).stated


def test_limits_are_printed_with_the_figures_that_a_frequency_needs() -> None:
    assert print_figure(4433618.75, "Hz") == "4.43362 MHz"
    assert print_figure(4.4336, "V") == "4.43 V"
    assert find_limits_of("dc", dc="12 V ± 5 %").span == "11.4 V to 12.6 V"
