"""Tone and noise against their spectra and against the Gaussian distribution."""

import numpy as np
import pytest
from pinfolio.schema.waveforms.kinds.audio import AudioTone, Noise
from scipy import signal, stats


@pytest.mark.parametrize("percent", [0.5, 3.0, 25.0])
def test_second_harmonic_of_a_tone(percent):
    """Distortion of order 2 is the second harmonic over the fundamental (IEC 60268-3)."""
    tone = AudioTone.model_validate(
        {"kind": "audio tone", "frequency": "1 kHz", "vpp": "2 Vpp", "distortion": f"{percent} %"}
    )
    harmonics = np.abs(np.fft.rfft(tone.volts(np.arange(1024) / 1024e3))) / 512
    assert harmonics[1:5] == pytest.approx([1, percent / 100, 0, 0], abs=1e-9)
    assert harmonics[0] == pytest.approx(0, abs=1e-9)


def test_a_square_law_makes_that_tone():
    """y = x + k x² of a sine: k/2 (1 - cos 2x) more, so d = k/2 and nothing above (Taylor)."""
    x = np.sin(2 * np.pi * np.arange(500) / 500)
    bent = x + 0.2 * x**2
    tone = AudioTone.model_validate(
        {"kind": "audio tone", "frequency": "1 kHz", "vpp": "2 Vpp", "distortion": "10 %"}
    )
    assert tone.volts(np.arange(500) / 500e3) == pytest.approx(bent - bent.mean())


@pytest.fixture
def noise():
    return Noise.model_validate({"kind": "noise", "vpp": "1 Vpp", "bandwidth": "15 kHz"})


def test_noise_is_flat_up_to_its_bandwidth(noise):
    """Power spectral density by Welch's method (scipy.signal.welch)."""
    rate_hz = 120_000
    v = noise.volts(np.arange(round(noise.period_s * rate_hz)) / rate_hz)
    f_hz, density = signal.welch(v, rate_hz, nperseg=512)
    level = density[(f_hz > 1000) & (f_hz < 14_000)]
    assert level.std() < 0.35 * level.mean()
    assert density[f_hz > 17_000].max() < 0.01 * level.mean()
    assert np.sum(level) * f_hz[1] == pytest.approx(v.var() * 13 / 15, rel=0.05)


def test_noise_is_nearly_gaussian(noise):
    """Skewness 0 and kurtosis 3; peak to peak about six to eight times the RMS, as scopes show it.

    The factor of six to eight is common practice for reading RMS noise off a screen.
    """
    v = noise.volts(np.arange(8192) / 8192 * noise.period_s)
    assert stats.skew(v) == pytest.approx(0, abs=0.15)
    assert stats.kurtosis(v, fisher=False) == pytest.approx(3, abs=0.3)
    assert 6 < 1 / v.std() < 8


def test_noise_is_the_same_every_time(noise):
    again = Noise.model_validate(noise.model_dump(mode="json"))
    t_s = np.linspace(0, 0.02, 777)
    assert np.array_equal(noise.volts(t_s), again.volts(t_s))
