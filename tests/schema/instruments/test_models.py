"""Instruments: choosing them by name, and a meter's uncertainty by its specification."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.schema.instruments import Meter, Probe, Scope, UnknownInstrument, find_full_scale
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.measuring.bandwidth import combine_rise_times_s, compute_rise_time_s
from pinfolio.schema.measuring.ratings import find_exceeded_rating
from pydantic import ValidationError

DIGITAL, POINTER = BUILT_IN.meters["digital meter"], BUILT_IN.meters["pointer meter"]
volts = st.floats(0.1, 1999.0)


def test_the_first_of_each_sort_where_none_is_named() -> None:
    chosen = BUILT_IN.choose()
    names = (chosen.meter.name, chosen.probe.name, chosen.scope.name)
    assert names == ("digital meter", "x10 probe", "analogue 20 MHz")


def test_a_name_counts_without_capitals_and_spaces_around_it() -> None:
    assert BUILT_IN.choose(probe=" X1 Probe ").probe.factor == 1
    assert BUILT_IN.choose(probe="  ").probe.factor == 10


def test_an_unknown_name_names_those_there_are() -> None:
    said = "no scope 'big one'; there are: analogue 20 MHz, digitising 50 MHz, pocket 200 kHz"
    with pytest.raises(UnknownInstrument, match=said):
        BUILT_IN.choose(scope="big one")


def test_probe_and_scope_together_are_as_slow_as_their_rise_times_together() -> None:
    chosen = BUILT_IN.choose(probe="x1 probe")
    slow_s = combine_rise_times_s(compute_rise_time_s(6e6), compute_rise_time_s(20e6))
    assert compute_rise_time_s(chosen.bandwidth_hz) == pytest.approx(slow_s)


@pytest.mark.parametrize(
    ("dc_v", "scale_v"),
    [(0.0, 0.1), (0.1, 0.1), (0.11, 0.25), (2.5, 2.5), (2.6, 5), (-7, 10), (12, 25), (240, 250)],
)
def test_a_pointer_meter_goes_to_the_next_range(dc_v: float, scale_v: float) -> None:
    assert find_full_scale(dc_v) == pytest.approx(scale_v)
    assert POINTER.find_input_ohm(dc_v) == pytest.approx(20e3 * scale_v)
    assert POINTER.compute_dc_half_width_v(dc_v) == pytest.approx(0.025 * scale_v)


@given(volts)
def test_a_range_holds_the_voltage_and_the_pointer_stands_in_its_upper_part(dc_v: float) -> None:
    assert dc_v * (1 - 1e-9) <= find_full_scale(dc_v) <= dc_v * 2.5 * (1 + 1e-9)


@pytest.mark.parametrize(
    ("dc_v", "step_v"),
    [(0.0, 1e-4), (0.15, 1e-4), (0.25, 1e-3), (1.999, 1e-3), (2.1, 1e-2), (-3.3, 1e-2), (100, 0.1)],
)
def test_one_count_of_a_meter_that_shows_up_to_1999(dc_v: float, step_v: float) -> None:
    assert DIGITAL.find_step_v(dc_v) == pytest.approx(step_v)


@given(volts)
def test_the_display_is_never_too_short_and_never_wastes_a_digit(dc_v: float) -> None:
    shown = dc_v / DIGITAL.find_step_v(dc_v)
    assert shown <= DIGITAL.counts * (1 + 1e-6)
    assert shown > DIGITAL.counts / 10 * (1 - 1e-6) or DIGITAL.find_step_v(dc_v) == 1e-4


def test_percent_of_the_reading_and_counts_of_the_last_digit() -> None:
    assert DIGITAL.compute_dc_half_width_v(5.0) == pytest.approx(0.005 * 5.0 + 2 * 0.01)
    assert DIGITAL.compute_dc_half_width_v(-5.0) == DIGITAL.compute_dc_half_width_v(5.0)
    assert DIGITAL.find_input_ohm(5.0) == 10e6


METER = {
    "name": "m",
    "describes": "a meter",
    "input_resistance": "10 MΩ",
    "dc_percent": "0.5 %",
    "ohms_percent": "1 %",
    "ac_bandwidth": "400 Hz",
    "ac_percent": "1 %",
}
PROBE = BUILT_IN.probes["x10 probe"].model_dump(mode="json")
SCOPE = BUILT_IN.scopes["digitising 50 MHz"].model_dump(mode="json")


@pytest.mark.parametrize(
    ("model", "fields"),
    [
        (Meter, METER | {"input_resistance": None}),
        (Meter, METER | {"ohms_per_volt": "20 kΩ"}),
        (Meter, METER | {"counts": 0}),
        (Meter, METER | {"dc_percent": "-1 %"}),
        (Meter, METER | {"input_resistance": "0 Ω"}),
        (Probe, PROBE | {"factor": 0}),
        (Probe, PROBE | {"bandwidth": "0 Hz"}),
        (Probe, PROBE | {"rating": "-400 V"}),
        (Scope, SCOPE | {"bits": None}),
        (Scope, SCOPE | {"bits": 99}),
        (Scope, SCOPE | {"record_length": 0}),
        (Scope, SCOPE | {"fastest": "0 s"}),
    ],
)
def test_what_cannot_be_an_instrument(model: type[Meter], fields: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        model.model_validate(fields)


def test_a_percentage_may_be_nought() -> None:
    assert Meter.model_validate(METER | {"dc_percent": "0 %"}).compute_dc_half_width_v(5.0) == 0


@pytest.mark.parametrize(
    ("probe", "signal", "where"),
    [
        ("x10 probe", (390.0, 50.0, 15_625.0), None),
        ("x10 probe", (410.0, 50.0, 15_625.0), "the probe's tip"),
        ("x10 probe", (100.0, 50.0, 5e6), "the probe's tip"),  # 400 V is 40 V at ten times 500 kHz
        ("x1 probe", (200.0, 10.0, 50.0), None),
    ],
)
def test_ratings(probe: str, signal: tuple[float, float, float], where: str | None) -> None:
    chosen = BUILT_IN.choose(probe=probe)
    found = find_exceeded_rating(*signal, chosen.probe, chosen.scope)
    assert (found.where if found else None) == where


def test_the_input_behind_a_x1_probe_has_a_rating_too() -> None:
    chosen = BUILT_IN.choose(probe="x1 probe", scope="pocket 200 kHz")
    found = find_exceeded_rating(-110.0, 0.0, 0.0, chosen.probe, chosen.scope)
    assert found is not None
    assert (found.where, found.peak_v, found.allowed_v) == ("the oscilloscope's input", 110, 50)


@pytest.mark.parametrize("dc_v", [0.0, 5e-324, 1e-9, 0.2])
def test_no_count_is_finer_than_a_tenth_of_a_millivolt(dc_v: float) -> None:
    assert BUILT_IN.meters["digital meter"].find_step_v(dc_v) == 1e-4
