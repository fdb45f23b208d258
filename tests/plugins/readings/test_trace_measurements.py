"""Measurements on captured traces whose figures are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pinfolio.plugins.readings.trace_measurements import TraceMeasurements, measure_trace
from pinfolio.schema.waveforms import WAVEFORM_KINDS, Samples, Waveform

LINE_HZ = 15_625.0
LINE_S = 64e-6


def make_waveform(kind: str, **fields: str) -> Waveform:
    return WAVEFORM_KINDS[kind].model_validate({"kind": kind, **fields})


VIDEO = {"system": "PAL-B/G", "bars": "75 %"}
LINE_RATE = {
    "sine": make_waveform("sine", frequency="15.625 kHz", vpp="8 Vpp"),
    "sawtooth": make_waveform("sawtooth", frequency="15.625 kHz", vpp="8 Vpp", retrace="6 %"),
    "parabola": make_waveform("parabola", frequency="15.625 kHz", vpp="8 Vpp"),
    "pulse": make_waveform("pulse", frequency="15.625 kHz", low="0 V", high="8 V", duty="18 %"),
    "narrow pulse": make_waveform(
        "pulse", frequency="15.625 kHz", low="0 V", high="8 V", duty="3 %"
    ),
    "sandcastle": make_waveform(
        "sandcastle", system="PAL-B/G", burst_key="8 V", line_blanking="4.5 V", base="0.2 V"
    ),
    "luminance": make_waveform("luminance", vpp="8 Vpp", **VIDEO),
    "composite video": make_waveform("composite video", vpp="8 Vpp", **VIDEO),
    "two pulses a line": make_waveform("RGB bars", colour="red", vpp="8 Vpp", **VIDEO),
    "four pulses a line": make_waveform("RGB bars", colour="blue", vpp="8 Vpp", **VIDEO),
    "colour difference": make_waveform("colour difference", axis="R-Y", vpp="8 Vpp", **VIDEO),
}


def make_times(span_s: float, count: int = 2500) -> Samples:
    return np.arange(count) * (span_s / count)


def make_noise(count: int, deviation_v: float, seed: int = 1) -> Samples:
    return np.random.default_rng(seed).normal(0, deviation_v, count)


def measure_waveform(
    of: Waveform, span_s: float, deviation_v: float = 0.0, start_s: float = 10e-6
) -> TraceMeasurements:
    t_s = make_times(span_s)
    return measure_trace(t_s, of.volts(t_s + start_s) + make_noise(len(t_s), deviation_v))


@pytest.mark.parametrize("lines", [2, 2.5, 5, 20])
@pytest.mark.parametrize("of", LINE_RATE.values(), ids=LINE_RATE)
def test_the_line_frequency_within_its_uncertainty(of: Waveform, lines: float) -> None:
    found = measure_waveform(of, lines * LINE_S, deviation_v=0.04)
    assert found.frequency_hz is not None, found.why_no_frequency
    assert found.frequency_uncertainty_hz is not None
    assert abs(found.frequency_hz - LINE_HZ) < 4 * found.frequency_uncertainty_hz
    assert found.frequency_uncertainty_hz < 0.01 * LINE_HZ


@pytest.mark.parametrize("of", LINE_RATE.values(), ids=LINE_RATE)
@pytest.mark.parametrize("deviation_v", [0.0, 0.02, 0.1])
def test_peak_to_peak_without_the_noise(of: Waveform, deviation_v: float) -> None:
    """To three deviations for both ends; bare, 2500 samples are up to seven too far apart."""
    low_v, high_v, _ = of.extremes_v
    far_v = 0.08 + 3 * deviation_v
    assert measure_waveform(of, 2 * LINE_S, deviation_v).vpp_v == pytest.approx(
        high_v - low_v, abs=far_v
    )


def test_peak_to_peak_of_a_flat_top_is_known_better() -> None:
    assert measure_waveform(LINE_RATE["pulse"], 2 * LINE_S, 0.1).vpp_v == pytest.approx(
        8.0, abs=0.05
    )


@pytest.mark.parametrize("deviation_v", [0.01, 0.1, 0.3])
@pytest.mark.parametrize("name", ["sine", "pulse", "sandcastle", "composite video"])
def test_the_noise_itself(name: str, deviation_v: float) -> None:
    """To an eighth or so; chroma leaves less than half of the trace to tell it from."""
    found = measure_waveform(LINE_RATE[name], 2 * LINE_S, deviation_v)
    share = 0.4 if name == "composite video" else 0.15
    assert found.noise_v == pytest.approx(deviation_v, rel=share)


def test_spikes_are_no_level() -> None:
    t_s = make_times(2 * LINE_S, 5000)
    volts = LINE_RATE["pulse"].volts(t_s)
    volts[[700, 3100]] = 40.0
    assert measure_trace(t_s, volts).vpp_v == pytest.approx(8.0)


@pytest.mark.parametrize("lines", [2, 2.3, 2.7, 20.4])
def test_dc_is_the_mean_over_whole_periods(lines: float) -> None:
    """A pulse of 18 % of 8 V is 1.44 V on a meter, wherever the record begins and ends."""
    for start_s in (0.0, 5e-6, 30e-6):
        found = measure_waveform(LINE_RATE["pulse"], lines * LINE_S, start_s=start_s)
        assert found.dc_v == pytest.approx(1.44, abs=0.01)


def test_duty_and_rise_of_a_pulse() -> None:
    pulse = make_waveform(
        "pulse", frequency="1 kHz", low="1 V", high="5 V", duty="30 %", rise="40 µs", fall="20 µs"
    )
    found = measure_waveform(pulse, 3e-3, deviation_v=0.02)
    assert found.duty == pytest.approx(0.30, abs=0.003)
    assert found.rise_s == pytest.approx(40e-6, rel=0.05)
    assert (found.low_v, found.high_v) == pytest.approx((1.0, 5.0), abs=0.02)


def test_rise_of_a_sine() -> None:
    """From 10 % to 90 %: 2 asin(0.8) of 2 pi."""
    assert measure_waveform(LINE_RATE["sine"], 2.5 * LINE_S).rise_s == pytest.approx(
        math.asin(0.8) / math.pi * LINE_S, rel=1e-3
    )


def test_no_rise_time_from_a_trace_that_is_mostly_noise() -> None:
    assert measure_waveform(LINE_RATE["pulse"], 2 * LINE_S, deviation_v=2.0).rise_s is None


def test_jitter_of_a_pulse() -> None:
    """Each of 400 pulses off its time by a normal deviate of 0.2 µs; the record has 20 ns steps."""
    off_s = np.random.default_rng(7).normal(0, 0.2e-6, 400)
    starts_s = np.arange(400) * LINE_S + off_s
    t_s = np.arange(int(400 * LINE_S / 20e-9)) * 20e-9
    since_s = t_s - starts_s[np.clip(np.searchsorted(starts_s, t_s) - 1, 0, None)]
    found = measure_trace(t_s, np.where((since_s >= 0) & (since_s < 12e-6), 5.0, 0.0))
    assert found.jitter_s == pytest.approx(float(off_s.std()), rel=0.05)
    assert found.frequency_hz is not None
    assert found.frequency_uncertainty_hz is not None
    assert abs(found.frequency_hz - LINE_HZ) < 4 * found.frequency_uncertainty_hz


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum_at_the_mains_and_at_twice(mains_hz: float) -> None:
    t_s = make_times(0.1, 50_000)
    angle = 2 * np.pi * mains_hz * t_s
    volts = LINE_RATE["sine"].volts(t_s) + 0.15 * np.sin(angle + 1) + 0.05 * np.sin(2 * angle + 2)
    found = measure_trace(t_s, volts + make_noise(len(t_s), 0.05), mains_hz)
    assert found.hum_vpp == pytest.approx((0.3, 0.1), abs=0.02)


def test_no_hum_is_told_from_less_than_a_period_of_the_mains() -> None:
    assert measure_waveform(LINE_RATE["sine"], 10e-3).hum_vpp is None


def test_a_field_of_composite_sync_has_the_line_frequency() -> None:
    """In spite of the pulses at half lines in field blanking."""
    t_s = make_times(20e-3, 200_000)
    sync = make_waveform("composite sync", system="PAL-B/G", vpp="4 Vpp")
    assert measure_trace(t_s, sync.volts(t_s)).frequency_hz == pytest.approx(LINE_HZ, rel=1e-4)


def test_why_there_is_no_frequency() -> None:
    t_s = make_times(2e-3)
    shifting = np.sin(2 * np.pi * (1e4 * t_s + 4e6 * t_s**2))
    reasons = {
        "the trace is level": np.full(len(t_s), 3.3),
        "no repeating signal rises above the noise": make_noise(len(t_s), 1.0, seed=3),
        "less than two periods were captured": np.sin(2 * np.pi * 500 * t_s),
        "it does not repeat evenly": shifting,
    }
    for why, volts in reasons.items():
        found = measure_trace(t_s, volts)
        assert found.frequency_hz is None
        assert found.why_no_frequency.startswith(why)


def test_eight_bits_are_enough() -> None:
    t_s = make_times(5 * LINE_S)
    step_v = 10 / 256
    volts = np.round(LINE_RATE["sandcastle"].volts(t_s) / step_v) * step_v
    found = measure_trace(t_s, volts)
    assert found.vpp_v == pytest.approx(7.8, abs=step_v)
    assert found.frequency_hz == pytest.approx(LINE_HZ, rel=1e-3)


@pytest.mark.parametrize("count", [2, 3, 5, 17, 60])
def test_a_handful_of_samples_is_measured_too(count: int) -> None:
    found = measure_trace(make_times(1e-3, count), np.linspace(0.0, 1.0, count))
    assert found.dc_v == pytest.approx(0.5)


@pytest.mark.parametrize("samples_a_period", [2.26, 3.1, 5.64, 9.3])
def test_few_samples_a_period_give_the_right_frequency_or_none(samples_a_period: float) -> None:
    t_s = make_times(1e-3, 20_000)
    hz = 20e6 / samples_a_period
    found = measure_trace(t_s, np.sin(2 * np.pi * hz * t_s) + make_noise(len(t_s), 0.05))
    assert found.frequency_hz is None or found.frequency_hz == pytest.approx(hz, rel=1e-5)


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum_is_measured_at_the_mains_frequency_and_at_twice_it(mains_hz: float) -> None:
    """Half-wave ripple is at the mains frequency, full-wave ripple at twice it (IEC 60038)."""
    t_s = np.arange(50_000) / 50_000 * 0.2
    turn = 2 * np.pi * mains_hz * t_s
    volts = 0.3 * np.sin(turn) + 0.05 * np.sin(2 * turn)
    found = measure_trace(t_s, volts, mains_hz)
    assert found.hum_vpp == pytest.approx((0.6, 0.1), rel=0.01)


def test_the_mains_has_fifty_hertz_unless_told_otherwise() -> None:
    t_s = np.arange(50_000) / 50_000 * 0.2
    found = measure_trace(t_s, 0.3 * np.sin(2 * np.pi * 50 * t_s))
    assert found.hum_vpp == pytest.approx((0.6, 0.0), abs=0.01)
