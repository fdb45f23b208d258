"""Width, duty factor and transition times as IEC 60469 defines them, measured on the samples.

IEC 60469:2013: the duration of a pulse is taken at 50 % of its amplitude, transition times run
from 10 to 90 %; the duty factor is the duration over the period. From memory.
"""

import numpy as np
import pytest
from pinfolio.schema.waveforms import WAVEFORM_KINDS

SAMPLES = 400_000


def make_waveform(kind, **fields):
    return WAVEFORM_KINDS[kind].model_validate({"kind": kind, **fields})


def sample_period(signal, start_s=0.0):
    t_s = start_s + np.arange(SAMPLES) * signal.period_s / SAMPLES
    return t_s, signal.volts(t_s)


def measure_transition_s(t_s, v, low_v, high_v):
    """Time from 10 to 90 % of the one edge in the samples."""
    tenth_v = (high_v - low_v) / 10
    return np.ptp(t_s[(v >= low_v + tenth_v) & (v <= high_v - tenth_v)])


@pytest.mark.parametrize(("rise", "fall"), [("1 µs", "2 µs"), ("3 µs", "0.5 µs")])
def test_a_pulse_is_measured_at_half_and_its_edges_from_10_to_90_percent(rise, fall):
    shape = {"frequency": "10 kHz", "low": "-1 V", "high": "3 V", "width": "30 µs"}
    pulse = make_waveform("pulse", **shape, rise=rise, fall=fall)
    t_s, v = sample_period(pulse, start_s=-20e-6)
    high = v >= 1.0
    assert high.mean() == pytest.approx(0.3, abs=1e-4)
    rising, falling = t_s < 10e-6, t_s >= 10e-6
    rise_s = measure_transition_s(t_s[rising], v[rising], -1.0, 3.0)
    fall_s = measure_transition_s(t_s[falling], v[falling], -1.0, 3.0)
    assert rise_s == pytest.approx(float(rise.split()[0]) * 1e-6, abs=1e-9)
    assert fall_s == pytest.approx(float(fall.split()[0]) * 1e-6, abs=1e-9)


@pytest.mark.parametrize("duty", [5, 50, 92])
def test_the_duty_factor_is_the_share_of_the_period_at_the_high_level(duty):
    pulse = make_waveform("pulse", frequency="1 kHz", low="0 V", high="5 V", duty=f"{duty} %")
    _, v = sample_period(pulse)
    assert (v > 2.5).mean() == pytest.approx(duty / 100, abs=1e-5)
    assert pulse.mean_v == pytest.approx(5 * duty / 100)


@pytest.mark.parametrize("polarity", ["positive", "negative"])
@pytest.mark.parametrize(
    ("kind", "system", "period_s", "edge_s"),
    [
        ("line pulse", "PAL-B/G", 64e-6, 0.2e-6),  # ITU-R BT.470-6: lines and edges of sync
        ("line pulse", "NTSC-M", 63.5556e-6, 0.14e-6),
        ("field pulse", "PAL-B/G", 20e-3, 0.2e-6),
        ("field pulse", "NTSC-M", 16.6833e-3, 0.14e-6),
    ],
)
def test_a_gating_pulse_is_measured_at_half(kind, system, period_s, edge_s, polarity):
    levels = {"low": "1 V", "high": "6 V", "polarity": polarity}
    pulse = make_waveform(kind, system=system, width="12 µs", **levels)
    assert pulse.period_s == pytest.approx(period_s, rel=1e-5)
    t_s = np.linspace(-4e-6, 20e-6, SAMPLES)
    v = pulse.volts(t_s)
    in_pulse = v > 3.5 if polarity == "positive" else v < 3.5
    assert np.ptp(t_s[in_pulse]) == pytest.approx(12e-6, abs=1e-9)
    assert t_s[in_pulse][0] == pytest.approx(0.0, abs=1e-9)
    leading = t_s < 4e-6
    assert measure_transition_s(t_s[leading], v[leading], 1.0, 6.0) == pytest.approx(
        edge_s, abs=1e-9
    )


@pytest.mark.parametrize(("delay", "start_s"), [("4 µs", 4e-6), ("-1.5 µs", -1.5e-6)])
def test_a_line_pulse_starts_at_its_delay_from_0h(delay, start_s):
    shape = {"system": "PAL-B/G", "low": "0 V", "high": "5 V", "width": "5 µs"}
    pulse = make_waveform("line pulse", **shape, delay=delay)
    t_s = np.linspace(-10e-6, 15e-6, SAMPLES)
    assert t_s[pulse.volts(t_s) > 2.5][0] == pytest.approx(start_s, abs=1e-9)


def test_a_polyline_has_the_mean_of_the_trapezoidal_rule():
    """Through 0 V, 4 V at 10 µs and 1 V at 40 µs, and back to 0 V at 50 µs: 100 V µs."""
    points = [["0 µs", "0 V"], ["10 µs", "4 V"], ["40 µs", "1 V"]]
    shape = make_waveform("polyline", points=points, repeat="50 µs")
    t_s, v = sample_period(shape)
    assert shape.volts(np.array([5e-6, 25e-6, 45e-6])) == pytest.approx([2.0, 2.5, 0.5])
    assert np.trapezoid(v, t_s) / 50e-6 == pytest.approx(2.0, abs=1e-4)
    assert shape.mean_v == pytest.approx((20 + 75 + 5) / 50)


def test_a_steady_level_is_its_own_mean_and_has_no_frequency():
    level = make_waveform("steady", level="-4.7 V")
    assert level.volts(np.array([-1.0, 0.0, 1e-9])) == pytest.approx([-4.7] * 3)
    assert (level.mean_v, level.vpp_v, level.frequency_hz) == (-4.7, 0.0, 0.0)
