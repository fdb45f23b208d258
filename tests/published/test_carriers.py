"""Modulated carriers against the Bessel functions, the analytic signal and the broadcast levels."""

import numpy as np
import pytest
from pinfolio.schema.waveforms import WAVEFORM_KINDS
from scipy import signal, special


def read(kind, **fields):
    return WAVEFORM_KINDS[kind].model_validate({"kind": kind, **fields})


def measure_amplitudes(v):
    """Amplitude of each harmonic of a whole period."""
    return np.abs(np.fft.rfft(v)) * 2 / len(v)


# Fractions of the carrier by Recommendation ITU-R BT.470-6: blanking 72.5 to 77.5 % of the sync
# tip in B, G, D, K, M and N, 76 ± 2 % in I; white 10 to 12.5 % (M 10 to 15 %), in I 20 ± 2 %.
# 47 CFR 73.682 gives M blanking 75 ± 2.5 % and reference white 12.5 ± 2.5 %. All from memory.
@pytest.mark.parametrize(
    ("system", "residual", "blanking"),
    [
        ("PAL-B/G", "10 %", (0.725, 0.775)),
        ("PAL-B/G", "12.5 %", (0.725, 0.775)),
        ("PAL-I", "20 %", (0.74, 0.78)),
        ("NTSC-M", "12.5 %", (0.725, 0.775)),
    ],
)
def test_vision_carrier_levels(system, residual, blanking):
    """Envelope found by the Hilbert transform; the middle of sync, and the front porch."""
    wave = read("modulated IF", system=system, carrier="38.9 MHz", vpp="2 Vpp", residual=residual)
    t_s = np.arange(-2e-6, 4e-6, 1e-9)
    envelope = np.abs(signal.hilbert(wave.volts(t_s)))
    tip, porch = (np.abs(t_s - at_s) < 0.3e-6 for at_s in (2e-6, -0.8e-6))
    assert envelope[tip].mean() == pytest.approx(1.0, abs=0.01)
    assert blanking[0] < envelope[porch].mean() < blanking[1]


@pytest.mark.parametrize("residual", [10.0, 12.5])
def test_vision_carrier_is_weakest_at_white(residual):
    """Reference white leaves the residual carrier, and chroma of 75 % bars never goes below it."""
    wave = read(
        "modulated IF",
        system="PAL-B/G",
        carrier="38.9 MHz",
        vpp="2 Vpp",
        residual=f"{residual} %",
    )
    bars = wave.envelope(np.arange(10.5e-6, 62.4e-6, 1e-9))
    assert wave.envelope(np.array([13e-6]))[0] == pytest.approx(residual / 100)
    assert bars.min() == pytest.approx(residual / 100, abs=5e-4)


@pytest.mark.parametrize("index", [0.5, 2.0, 2.404825557695773, 5.0])
def test_sidebands_of_an_fm_carrier(index):
    """|Jn(b)| at carrier ± n tones (Carson); scipy.special.jv. None of it at b = 2.4048."""
    wave = read(
        "FM carrier",
        carrier="500 kHz",
        vpp="2 Vpp",
        deviation=f"{index * 5:.12f} kHz",
        tone="5 kHz",
    )
    found = measure_amplitudes(wave.volts(np.arange(4000) / 4000 * wave.period_s))
    orders = np.arange(-12, 13)
    assert found[100 + orders] == pytest.approx(np.abs(special.jv(orders, index)), abs=1e-6)


def test_instantaneous_frequency_of_an_fm_carrier():
    """Deviation ±50 kHz of television sound (Recommendation ITU-R BT.470-6), by Hilbert."""
    wave = read("FM carrier", carrier="5.5 MHz", vpp="1 Vpp", deviation="50 kHz", tone="1 kHz")
    rate_hz = 50e6
    t_s = np.arange(0, 2e-3, 1 / rate_hz)
    phase = np.unwrap(np.angle(signal.hilbert(wave.volts(t_s))))
    found_hz = np.diff(phase)[1000:-1000] * rate_hz / 2 / np.pi
    assert (found_hz.min(), found_hz.max()) == pytest.approx((5.45e6, 5.55e6), abs=100)


@pytest.mark.parametrize("tone_hz", [117.5, 274.1])
def test_pilot_of_two_carrier_stereo(tone_hz):
    """54.6875 kHz is 3.5 lines; sidebands of m/2 beside it (Recommendation ITU-R BS.707: 50 %)."""
    wave = read(
        "pilot",
        frequency="54.6875 kHz",
        vpp="3 Vpp",
        identification=f"{tone_hz} Hz",
        depth="50 %",
    )
    assert wave.frequency_hz == pytest.approx(3.5 * 15_625)
    seconds, rate_hz = 10, 200_000  # a whole number of cycles of both
    found = measure_amplitudes(wave.volts(np.arange(seconds * rate_hz) / rate_hz))
    middle = round(wave.frequency_hz * seconds)
    beside = found[middle + round(tone_hz * seconds)]
    assert found[middle] == pytest.approx(1.0)  # 3 Vpp with the tone on it, 2 Vpp without
    assert beside / found[middle] == pytest.approx(0.25)


def test_bare_pilot_is_a_sine():
    """19 kHz of FM radio (47 CFR 73.322)."""
    wave = read("pilot", frequency="19 kHz", vpp="2 Vpp")
    t_s = np.linspace(0, 1e-3, 1000)
    assert wave.volts(t_s) == pytest.approx(np.sin(2 * np.pi * 19e3 * t_s))
