"""Every kind of waveform: read as a chip file writes it, refused with the fix, put into words."""

import numpy as np
import pytest
from pinfolio.schema.waveforms import WAVEFORM_KINDS
from pydantic import ValidationError


def make(kind, **changes):
    fields = {"kind": kind, **WAVEFORM_KINDS[kind].example, **changes}
    given = {key: value for key, value in fields.items() if value is not None}
    return WAVEFORM_KINDS[kind].model_validate(given)


@pytest.mark.parametrize("kind", WAVEFORM_KINDS)
def test_reads_back_what_it_writes(kind):
    waveform = make(kind)
    assert WAVEFORM_KINDS[kind].model_validate(waveform.model_dump(mode="json")) == waveform


@pytest.mark.parametrize("kind", WAVEFORM_KINDS)
def test_volts_keep_the_shape_of_the_times(kind):
    waveform = make(kind)
    assert waveform.volts(np.zeros((3, 4))).shape == (3, 4)
    assert waveform.volts(np.array([])).shape == (0,)


@pytest.mark.parametrize("kind", WAVEFORM_KINDS)
def test_the_figures_are_those_of_the_waveform(kind):
    waveform = make(kind)
    low_v, high_v, mean_v = waveform.extremes_v
    figures = waveform.figures
    assert (figures.low_v, figures.high_v, figures.mean_v) == (low_v, high_v, mean_v)
    assert figures.vpp_v == waveform.vpp_v == high_v - low_v
    assert (figures.frequency_hz, waveform.mean_v) == (waveform.frequency_hz, mean_v)


@pytest.mark.parametrize("kind", sorted(set(WAVEFORM_KINDS) - {"steady"}))
def test_the_view_is_fine_enough_to_show_and_long_enough_to_repeat(kind):
    waveform = make(kind)
    assert waveform.fastest_hz >= waveform.frequency_hz > 0
    assert waveform.view_s > 0
    assert waveform.trigger


def test_what_repeats_with_the_line_shows_two_lines_and_with_the_field_two_fields():
    two_lines = {"composite video", "chrominance", "RGB bars", "sandcastle", "line pulse"}
    assert {make(kind).view_s for kind in two_lines} == {128e-6}
    assert {make(kind).view_s for kind in ("composite sync", "field pulse")} == {0.04}


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("steady", "A steady 5 V, no signal on it."),
        ("sine", "A sine wave of 450 mVpp at 4.43361875 MHz."),
        ("pulse", "Pulses from 200 mV to 5 V at 15.625 kHz, each 12 µs wide."),
        ("sawtooth", "A rising sawtooth of 1.6 Vpp at 50 Hz, retrace 6 % of the period."),
        (
            "composite video",
            "PAL-B/G composite video with 75 % colour bars: 1 Vpp from sync tip to white, sync "
            "down, lines at 15.625 kHz, burst of 300 mVpp at 4.433619 MHz.",
        ),
        (
            "modulated IF",
            "PAL-B/G vision carrier at 38.9 MHz with negative modulation by 75 % colour bars: "
            "200 mVpp at the sync tip, 10 % of it left at white, lines at 15.625 kHz.",
        ),
        (
            "flyback pulse",
            "PAL-B/G flyback pulse, half a sine wave up to 60 V to ground and 12 µs wide, "
            "lines at 15.625 kHz.",
        ),
        (
            "control voltage",
            "A control voltage of 3.2 V, between 1 V and 6 V as the control needs it, with "
            "40 mVpp of ripple at 50 Hz on it.",
        ),
        (
            "servo pulse",
            "Servo pulses from 0 V to 5 V at 150 Hz, each 600 µs wide, on a head-switching "
            "square wave of 2.5 Vpp at 25 Hz.",
        ),
        (
            "sandcastle",
            "Three-level sandcastle pulse, PAL-B/G: burst key 8 V, line blanking 4.5 V, "
            "field blanking 2.5 V, base 0 V, lines at 15.625 kHz.",
        ),
        ("parabola", "A parabola of 1.2 Vpp at 50 Hz, rising towards both ends."),
        (
            "line pulse",
            "PAL-B/G line pulse from low to high (0 V and 5 V), 12 µs wide, starting at line "
            "sync, at 15.625 kHz.",
        ),
    ],
)
def test_describes(kind, words):
    assert make(kind).describe() == words


@pytest.mark.parametrize(
    ("kind", "changes", "message"),
    [
        ("sine", {"frequency": "0 Hz"}, "'0 Hz': expected a frequency above zero"),
        ("sine", {"frequency": "-50 Hz"}, "'-50 Hz': expected a frequency above zero"),
        ("sine", {"vpp": "0 Vpp"}, "expected a peak-to-peak voltage above zero"),
        ("pulse", {"duty": "50 %"}, "both width and duty: expected exactly one"),
        ("pulse", {"width": None}, "neither width nor duty: expected exactly one"),
        ("pulse", {"low": "6 V"}, "low 6 V and high 5 V: expected low below high"),
        ("pulse", {"width": "65 µs"}, "expected a pulse shorter than its period of 64 µs"),
        ("pulse", {"rise": "20 µs"}, "expected edges that fit in 12 µs"),
        ("pulse", {"fall": "-1 µs"}, "expected edges that fit in 12 µs"),
        ("sawtooth", {"retrace": "60 %"}, "expected from 0 % to below 50 %; write 'retrace: 6 %'"),
        ("composite video", {"bars": "80 %"}, "80 % bars: expected bars of 75 % or 100 %"),
        ("composite video", {"system": "SECAM-L"}, "expected one of NTSC-M, NTSC-J, PAL-B/G"),
        ("chrominance", {"system": "SECAM-L"}, "expected one of NTSC-M, NTSC-J, PAL-B/G"),
        (
            "sandcastle",
            {"line_blanking": "2 V"},
            "write 'base: 0 V, field_blanking: 2 V, line_blanking: 2.5 V, burst_key: 8 V'",
        ),
        ("line pulse", {"high": "-1 V"}, "write 'low: -1 V, high: 0 V'"),
        ("line pulse", {"width": "64 µs"}, "width 64 µs: expected from 250 ns to"),
        ("line pulse", {"delay": "70 µs"}, "expected less than a line of 64 µs"),
        ("bus activity", {"high": "0 V"}, "write 'kind: steady, level: 0 V'"),
        (
            "modulated IF",
            {"carrier": "5.5 MHz"},
            "expected an IF of 10 MHz or more; write '38.9 MHz'",
        ),
        ("modulated IF", {"system": "SECAM-L"}, "expected one of NTSC-M, NTSC-J, PAL-B/G"),
        ("modulated IF", {"residual": "100 %"}, "expected from 0 % to below 100 %"),
        ("FM carrier", {"deviation": "6 MHz"}, "expected both below the carrier of 5.5 MHz"),
        ("pilot", {"depth": None}, "an identification alone"),
        ("pilot", {"identification": None}, "a depth alone"),
        ("pilot", {"identification": "60 kHz"}, "a tone below the pilot of 54.6875 kHz"),
        ("audio tone", {"distortion": "30 %"}, "expected from 0 % to 25 %"),
        ("noise", {"bandwidth": "0 Hz"}, "expected a frequency above zero"),
        ("flyback pulse", {"peak": "0 V"}, "expected a pulse with a height"),
        ("flyback pulse", {"width": "64 µs"}, "expected less than a line of 64 µs"),
        ("east-west parabola", {"trapezium": "-120 %"}, "expected from -100 % to 100 %"),
        ("vertical drive", {"s_correction": "40 %"}, "expected from 0 % to 33 %"),
        ("vertical drive", {"retrace": "50 %"}, "expected from 0 % to below 50 %"),
        ("control voltage", {"ripple": None}, "ripple_frequency alone"),
        ("control voltage", {"high": None}, "low alone: expected low and high together"),
        ("control voltage", {"level": "7 V"}, "a level from 1 V to 6 V; write 'level: 3.5 V'"),
        ("FM luminance", {"white": "3 MHz"}, "write 'sync_tip: 3.8 MHz, white: 4.8 MHz'"),
        ("colour-under", {"phase_step": "45°"}, "expected -90°, 0° or 90°; write '-90°'"),
        ("colour-under", {"frequency": "4.43 MHz"}, "expected from 400 kHz to 1.5 MHz"),
        ("servo pulse", {"width": "7 ms"}, "a pulse shorter than its period of 6.67 ms"),
        ("servo pulse", {"frequency": "155 Hz"}, "whole pulses to a turn of the drum"),
        ("SECAM video", {"system": "PAL-I"}, "expected one of SECAM-B/G, SECAM-D/K, SECAM-L"),
        ("staircase", {"steps": "7"}, "7 steps: expected 5 or 10 steps; write 'steps: 5'"),
        ("red field", {"bars": "50 %"}, "expected bars of 75 % or 100 %"),
        (
            "polyline",
            {"points": [["5 µs", "0 V"], ["4 µs", "1 V"]]},
            "5 µs before 4 µs: expected points in order of time; write '4 µs before 5 µs'",
        ),
        ("polyline", {"points": [["-1 µs", "0 V"], ["4 µs", "1 V"]]}, "expected times from 0 s on"),
        ("polyline", {"repeat": "60 µs"}, "expected all points within one repeat"),
        ("polyline", {"points": [["0 µs", "0 V"]]}, "at least 2 items"),
    ],
)
def test_refuses_what_cannot_be_and_says_the_fix(kind, changes, message):
    with pytest.raises(ValidationError) as refused:
        make(kind, **changes)
    assert message in str(refused.value)


def test_secam_has_luminance_but_no_composite_here():
    assert make("luminance", system="SECAM-L").vpp_v == pytest.approx(1.0)


def test_negative_line_pulse_goes_down_and_may_start_before_sync():
    pulse = make("line pulse", polarity="negative", delay="-1 µs")
    assert pulse.volts(np.array([-2e-6, 5e-6, 12e-6])).tolist() == [5.0, 0.0, 5.0]


def test_two_level_sandcastle_has_no_field_blanking():
    pulse = make("sandcastle", field_blanking=None)
    assert pulse.describe().startswith("Two-level sandcastle")
    assert pulse.period_s == 64e-6
    in_picture_s = np.arange(625) * 64e-6 + 30e-6
    assert set(pulse.volts(in_picture_s)) == {0.0}


def test_bus_data_starts_and_stops_while_the_clock_is_high():
    """Start and stop conditions and changes of data, as the I2C-bus specification sets them."""
    clock, data = make("bus activity"), make("bus activity", line="data")
    t_s = np.linspace(-20e-6, 370e-6, 39_001)
    clock_high, data_high = clock.volts(t_s) > 2.5, data.volts(t_s) > 2.5
    changes = np.flatnonzero(np.diff(data_high.astype(int)))
    while_high = changes[clock_high[changes]]
    assert len(while_high) == 2  # start, stop
    assert (data_high[while_high[0]], data_high[while_high[1]]) == (True, False)
    assert np.count_nonzero(np.diff(clock_high.astype(int)) > 0) == 28  # 27 bits and the stop


def test_a_clean_control_voltage_does_not_move():
    clean = make("control voltage", ripple=None, ripple_frequency=None)
    assert (clean.period_s, clean.frequency_hz, clean.vpp_v, clean.mean_v) == (0, 0, 0, 3.2)
    assert clean.volts(np.array([0.0, 1.0])).tolist() == [3.2, 3.2]


def test_servo_pulses_stand_on_the_head_switching_square():
    """Six pulses to a turn of the drum, every 6.67 ms; the square is up for the first 20 ms."""
    pulses = make("servo pulse")
    t_s = np.array([0.3e-3, 3e-3, 6.9e-3, 19e-3, 21e-3, 25e-3, 27e-3, 39e-3])
    assert pulses.volts(t_s).tolist() == [5, 2.5, 5, 2.5, 0, 0, 5, 0]


def test_a_negative_flyback_pulse_goes_below_ground():
    pulse = make("flyback pulse", peak="-60 V")
    assert pulse.volts(np.array([0.0, 6e-6, 30e-6])).tolist() == pytest.approx([0, -60, 0])
    assert pulse.trigger.endswith("falling edge")
