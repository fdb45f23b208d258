"""Textbook shapes against scipy.signal and closed formulas."""

import numpy as np
import pytest
from pinfolio.schema.waveforms.kinds.basic_shapes import Parabola, Pulse, Sawtooth, Sine
from scipy import signal

T_S = np.linspace(-0.05, 0.05, 4001) + 1.3e-6  # off the jumps


@pytest.mark.parametrize(("direction", "sign"), [("rising", 1), ("falling", -1)])
@pytest.mark.parametrize("retrace", ["0 %", "6 %", "25 %"])
def test_sawtooth(direction, sign, retrace):
    """scipy.signal.sawtooth: ``width`` is the share of the period that rises."""
    ours = Sawtooth.model_validate(
        {"kind": "sawtooth", "frequency": "50 Hz", "vpp": "1.6 Vpp"}
        | {"direction": direction, "retrace": retrace}
    )
    width = 1 - float(retrace.split()[0]) / 100
    theirs = sign * 0.8 * signal.sawtooth(2 * np.pi * 50 * T_S, width=width)
    assert ours.volts(T_S) == pytest.approx(theirs, abs=1e-9)


@pytest.mark.parametrize("duty", [10, 50, 87.5])
def test_pulse(duty):
    """scipy.signal.square: high for ``duty`` of the period from t = 0."""
    ours = Pulse.model_validate(
        {"kind": "pulse", "frequency": "50 Hz", "low": "0 V", "high": "2 V", "duty": f"{duty} %"}
    )
    assert ours.volts(T_S) == pytest.approx(
        1 + signal.square(2 * np.pi * 50 * T_S, duty=duty / 100)
    )
    assert ours.mean_v == pytest.approx(2 * duty / 100)


def test_pulse_edges_from_10_to_90_percent():
    """Rise and fall as data sheets measure them; the width is at half height (IEC 60469)."""
    pulse = Pulse.model_validate(
        {"kind": "pulse", "frequency": "15.625 kHz", "low": "0 V", "high": "10 V"}
        | {"width": "12 µs", "rise": "0.4 µs", "fall": "0.8 µs"}
    )
    rise_us, fall_us = np.array([-0.2, 0.0, 0.2]), 12 + np.array([-0.4, 0.0, 0.4])
    assert pulse.volts(rise_us * 1e-6) == pytest.approx([1, 5, 9])
    assert pulse.volts(fall_us * 1e-6) == pytest.approx([9, 5, 1])


def test_sine_has_one_line_in_its_spectrum():
    sine = Sine.model_validate({"kind": "sine", "frequency": "3 kHz", "vpp": "2 Vpp"})
    t_s = np.arange(1000) / 100_000
    spectrum = np.abs(np.fft.rfft(sine.volts(t_s))) / 500
    assert np.flatnonzero(spectrum > 1e-9).tolist() == [30]  # 30 cycles in 10 ms
    assert spectrum[30] == pytest.approx(1.0)


@pytest.mark.parametrize(("direction", "sign"), [("upward", 1), ("downward", -1)])
def test_parabola_harmonics(direction, sign):
    """Fourier series of (2x-1)^2 - 1/3 on 0 to 1: cosines of 4/(pi n)^2, no mean."""
    parabola = Parabola.model_validate(
        {"kind": "parabola", "frequency": "50 Hz", "vpp": "1 Vpp", "direction": direction}
    )
    v = parabola.volts(np.arange(4096) / 4096 * 0.02)
    harmonics = np.fft.rfft(v).real / 2048
    expected = sign * 4 / (np.pi * np.arange(1, 6)) ** 2
    assert harmonics[1:6] == pytest.approx(expected, abs=1e-6)
    assert harmonics[0] == pytest.approx(0, abs=1e-6)
