"""Corrections for load and bandwidth, and standard uncertainties, worked by hand.

Sources: the voltage divider; JCGM 100:2008 (GUM), 4.3.7 (a half-width a has the standard
uncertainty a / sqrt(3)) and 5.1.2 (independent contributions add as squares).
"""

from __future__ import annotations

import math

import pytest
from pinfolio.plugins.readings.correction import (
    CorrectedValue,
    correct_dc,
    correct_frequency,
    correct_resistance,
    correct_vpp,
)
from pinfolio.plugins.readings.verdict import FigureVerdict
from pinfolio.schema import Expectation, Pin
from pinfolio.schema.chips.limits import Limits
from pinfolio.schema.instruments.ordinary import BUILT_IN

ORDINARY = BUILT_IN.choose()
DIGITISING = BUILT_IN.choose(scope="digitising 50 MHz")
ROOT_3 = math.sqrt(3)


def make_pin(resistance: str | None = None) -> Pin:
    return Pin.model_validate(
        {
            "number": 1, "symbol": "OUT", "function": "output", "role": "output",
            "resistance": resistance,
        }
    )  # fmt: skip


def make_sine(vpp: str, frequency: str) -> Expectation:
    waveform = {"kind": "sine", "vpp": vpp, "frequency": frequency}
    return Expectation.model_validate(
        {"condition": "bars", "dc": "3 V", "waveform": waveform, "source": {"id": "sheet"}}
    )


def test_a_reading_of_nothing_is_as_uncertain_as_the_meter_alone() -> None:
    """A load takes nothing from 0 V, so only the meter's own error is left."""
    assert correct_dc(0.0, make_pin("1 MΩ"), ORDINARY) == correct_dc(0.0, make_pin(), ORDINARY)


def test_a_voltage_behind_a_known_resistance_is_unloaded() -> None:
    """10 MΩ on 1 MΩ read ten elevenths; the pin's resistance is known to 30 %."""
    half_width_v = ORDINARY.meter.compute_dc_half_width_v(3.0)
    corrected = correct_dc(3.0, make_pin("1 MΩ"), ORDINARY)
    assert corrected.value == pytest.approx(3.3)
    expected_v = math.hypot(1.1 * half_width_v / ROOT_3, 0.3 * 0.3 / ROOT_3)
    assert corrected.uncertainty == pytest.approx(expected_v)


def test_without_a_known_resistance_the_reading_is_left_as_it_is() -> None:
    corrected = correct_dc(3.0, make_pin(), ORDINARY)
    half_width_v = ORDINARY.meter.compute_dc_half_width_v(3.0)
    assert corrected == CorrectedValue(3.0, pytest.approx(half_width_v / ROOT_3))


def test_no_volts_are_no_volts_behind_any_resistance() -> None:
    assert correct_dc(0.0, make_pin("1 MΩ"), ORDINARY).value == 0.0


def test_a_height_on_a_slow_signal_is_uncertain_by_gain_and_reading() -> None:
    """1 Vpp at 0.2 V a division, read to a tenth of a division."""
    scope = ORDINARY.scope
    corrected = correct_vpp(1.0, make_pin(), make_sine("1 Vpp", "1 kHz"), ORDINARY)
    assert corrected.value == pytest.approx(1.0, rel=1e-6)
    share = scope.gain_percent.nominal / 100
    assert corrected.uncertainty == pytest.approx(math.hypot(share, 0.1 * 0.2) / ROOT_3, rel=1e-3)


def test_a_digitising_oscilloscope_reads_finer() -> None:
    """Eight bits make steps of 1/32 division; cursors are good to 0.04 division."""
    corrected = correct_vpp(1.0, make_pin(), make_sine("1 Vpp", "1 kHz"), DIGITISING)
    share = DIGITISING.scope.gain_percent.nominal / 100
    assert corrected.uncertainty == pytest.approx(math.hypot(share, 0.04 * 0.2) / ROOT_3, rel=1e-3)


def test_a_fast_signal_is_taken_up_to_its_height_before_the_probe() -> None:
    """At the bandwidth of probe and oscilloscope together the sine is down by 3 dB."""
    corrected = correct_vpp(
        1.0, make_pin(), make_sine("1 Vpp", f"{ORDINARY.bandwidth_hz} Hz"), ORDINARY
    )
    assert corrected.value == pytest.approx(math.sqrt(2), rel=1e-3)


def test_capacitors_beside_the_pin_keep_the_signal() -> None:
    fast = make_sine("1 Vpp", "4.43361875 MHz")
    alone = correct_vpp(1.0, make_pin("10 kΩ"), fast, ORDINARY)
    beside = correct_vpp(1.0, make_pin("10 kΩ"), fast, ORDINARY, beside_f=1e-9)
    assert 1.0 < beside.value < alone.value


def test_a_frequency_from_an_analogue_screen_is_read_over_eight_divisions() -> None:
    share = ORDINARY.scope.timebase_percent.nominal / 100
    corrected = correct_frequency(15625.0, ORDINARY)
    assert corrected.value == 15625.0
    expected_hz = 15625.0 * math.hypot(share / ROOT_3, 0.1 / 8 / ROOT_3)
    assert corrected.uncertainty == pytest.approx(expected_hz)


def test_a_frequency_from_a_digitising_screen_has_the_error_of_its_timebase() -> None:
    share = DIGITISING.scope.timebase_percent.nominal / 100
    corrected = correct_frequency(15625.0, DIGITISING)
    assert corrected.uncertainty == pytest.approx(15625.0 * share / ROOT_3)


def test_a_resistance_has_the_error_of_the_meter() -> None:
    share = ORDINARY.meter.ohms_percent.nominal / 100
    corrected = correct_resistance(4700.0, ORDINARY)
    assert corrected == CorrectedValue(4700.0, pytest.approx(4700.0 * share / ROOT_3))


def test_the_printed_interval_is_twice_the_standard_uncertainty() -> None:
    """GUM, 6.2 and 6.3: an expanded uncertainty with the coverage factor 2."""
    limits = Limits("dc", "V", 3.4, 3.06, 3.74, True)
    figure = FigureVerdict(limits, 3.3, CorrectedValue(3.4, 0.1), 0.9, "cannot tell", "")
    assert figure.corrected_words == "3.4 V ± 200 mV"


def test_a_counter_has_the_error_of_its_timebase_whatever_the_screen() -> None:
    counted = BUILT_IN.choose(counter="counter")
    assert counted.counter is not None
    share = counted.counter.timebase_percent.nominal / 100
    assert share == pytest.approx(10e-6)
    corrected = correct_frequency(4.43361875e6, counted)
    assert corrected.uncertainty == pytest.approx(4.43361875e6 * share / ROOT_3)
