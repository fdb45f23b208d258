"""Settings of the oscilloscope: steps, how much of the screen is filled, coupling, probe."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.plugins.drawing.scope_settings import (
    ScopeSettings,
    choose_scope_settings,
    round_up_to_step,
)
from pinfolio.schema import Expectation


def make_expectation(**shows: Any) -> Expectation:
    fields = {"condition": "colour bars", "source": {"id": "sheet"}, **shows}
    return Expectation.model_validate(fields)


def choose_settings(**shows: Any) -> ScopeSettings:
    found = choose_scope_settings(make_expectation(**shows))
    assert found is not None
    return found


def make_pulse(low_v: float, high_v: float, frequency: str = "15.625 kHz") -> dict[str, str]:
    levels = {"low": f"{low_v:.6f} V", "high": f"{high_v:.6f} V"}
    return {"kind": "pulse", "frequency": frequency, "duty": "50 %", **levels}


@given(st.floats(1e-12, 1e12))
def test_steps_are_1_2_5_and_the_next_one_up(least: float) -> None:
    step = round_up_to_step(least)
    digits, _, power = f"{step:e}".partition("e")
    assert float(digits) in (1, 2, 5)
    assert float(f"{float(digits):g}e{int(power)}") == step
    assert step >= least * (1 - 1e-9)
    assert step < least * 2.5 * (1 + 1e-9)  # the widest gap is from 2 to 5


def test_an_exact_fit_takes_its_own_step() -> None:
    """20 ms over ten divisions is 2 ms, although 0.02 / 10 is not quite 0.002 in binary."""
    assert [
        round_up_to_step(0.02 / 10),
        round_up_to_step(0.3 / 3),
        round_up_to_step(7 * 0.1 / 7),
    ] == [2e-3, 0.1, 0.1]


@given(st.floats(-60, 60), st.floats(0.36, 300))
def test_the_signal_is_about_three_to_seven_divisions_high(low_v: float, vpp_v: float) -> None:
    found = choose_settings(waveform=make_pulse(low_v, low_v + vpp_v))
    assert 2.79 <= vpp_v / found.volts_per_div <= 7.01


@given(st.floats(-60, 60), st.floats(0.36, 300))
def test_dc_coupling_keeps_zero_on_the_screen(low_v: float, vpp_v: float) -> None:
    """The rule: DC as long as zero volts fits beside three divisions of signal."""
    found = choose_settings(waveform=make_pulse(low_v, low_v + vpp_v))
    with_zero_v = max(low_v + vpp_v, 0) - min(low_v, 0)
    if found.coupling == "DC":
        assert with_zero_v / found.volts_per_div <= 7.01
        assert vpp_v / found.volts_per_div >= 2.99
    else:
        assert vpp_v < 3.01 * round_up_to_step(with_zero_v / 7)


@given(st.floats(1, 1e7))
def test_the_span_worth_seeing_fits_the_screen(frequency_hz: float) -> None:
    waveform = {"kind": "sine", "frequency": f"{frequency_hz:.3f} Hz", "vpp": "1 Vpp"}
    expectation = make_expectation(dc="3 V", waveform=waveform)
    found = choose_scope_settings(expectation)
    assert found is not None
    assert expectation.waveform is not None
    filled = expectation.waveform.view_s / found.time_per_div_s
    assert 4 * (1 - 1e-6) <= filled <= 10 * (1 + 1e-6)


@pytest.mark.parametrize(
    ("shows", "volts_per_div", "time_per_div_s", "coupling"),
    [
        # A small signal on a big DC; two PAL lines are 128 µs.
        (
            {
                "dc": "3.4 V",
                "waveform": {
                    "kind": "composite video",
                    "system": "PAL-B/G",
                    "bars": "75 %",
                    "vpp": "1 Vpp",
                },
            },
            0.2,
            20e-6,
            "AC",
        ),
        # A pulse from about zero; two lines again.
        ({"waveform": make_pulse(0.2, 5.0)}, 1.0, 20e-6, "DC"),
        # Two periods of the PAL colour subcarrier are 451 ns.
        (
            {
                "dc": "2.6 V",
                "waveform": {"kind": "sine", "frequency": "4.43361875 MHz", "vpp": "500 mVpp"},
            },
            0.1,
            50e-9,
            "AC",
        ),
        # Two fields are 40 ms.
        (
            {
                "dc": "1.6 V",
                "waveform": {"kind": "sawtooth", "frequency": "50 Hz", "vpp": "3 Vpp"},
            },
            0.5,
            5e-3,
            "DC",
        ),
    ],
)
def test_settings_worked_by_hand(
    shows: dict[str, Any], volts_per_div: float, time_per_div_s: float, coupling: str
) -> None:
    found = choose_settings(**shows)
    assert (found.volts_per_div, found.time_per_div_s) == (volts_per_div, time_per_div_s)
    assert (found.coupling, found.probe) == (coupling, "x10")


def test_x1_only_for_a_small_and_slow_signal() -> None:
    """A x10 probe on 5 mV per division shows 50 mV per division, and no less."""
    small, slow, fast = "60 mVpp", "15.625 kHz", "4.43361875 MHz"
    on_x1 = choose_settings(dc="3.6 V", waveform={"kind": "sine", "frequency": slow, "vpp": small})
    assert (on_x1.probe, on_x1.volts_per_div, on_x1.coupling) == ("x1", 0.01, "AC")
    on_x10 = choose_settings(dc="3.6 V", waveform={"kind": "sine", "frequency": fast, "vpp": small})
    assert (on_x10.probe, on_x10.volts_per_div) == ("x10", 0.05)
    assert on_x10.input_volts_per_div == pytest.approx(0.005)


def test_dc_alone_is_seen_as_a_level_off_zero() -> None:
    for shows in ({"dc": "5.2 V"}, {"waveform": {"kind": "steady", "level": "5.2 V"}}):
        found = choose_settings(**shows)
        assert (found.volts_per_div, found.coupling) == (1.0, "DC")
        assert found.trigger == "none needed: free-running sweep"
    assert choose_settings(dc="0 V").volts_per_div == 0.05
    assert choose_settings(dc="-12 V").volts_per_div == 2.0


def test_a_resistance_alone_needs_no_oscilloscope() -> None:
    assert choose_scope_settings(make_expectation(resistance={"red_on_pin": "12 kΩ"})) is None


def test_words() -> None:
    found = choose_settings(waveform=make_pulse(0.2, 5.0))
    assert found.sentence == (
        "1 V and 20 µs per division, DC coupled, x10 probe; "
        "trigger: the signal itself, rising edge."
    )
    assert found.lines == (
        ("Volts", "1 V per division (knob at 100 mV if it ignores the probe)"),
        ("Time", "20 µs per division"),
        ("Coupling", "DC"),
        ("Trigger", "the signal itself, rising edge"),
        ("Probe", "x10"),
    )
    assert math.isclose(found.input_volts_per_div, 0.1)


@pytest.mark.parametrize(("peak", "probe"), [("100 V", "x10"), ("390 V", "x10"), ("900 V", "x100")])
def test_no_probe_is_suggested_beyond_its_rating(peak: str, probe: str) -> None:
    """An ordinary x10 probe is rated 400 V peak. Common practice."""
    flyback = {"kind": "flyback pulse", "system": "PAL-B/G", "peak": peak, "width": "12 µs"}
    expectation = Expectation.model_validate(
        {"condition": "colour bars", "waveform": flyback, "source": {"id": "sheet"}}
    )
    settings = choose_scope_settings(expectation)
    assert settings is not None
    assert settings.probe == probe
