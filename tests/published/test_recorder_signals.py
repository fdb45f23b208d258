"""Signals of a recorder against demodulation and mixing done with scipy.

VHS figures (IEC 60774-1, from memory): luminance 3.8 to 4.8 MHz with 625 lines and 3.4 to 4.4 MHz
with 525; colour at 626.953 kHz = (40 + 1/8) lines, 629.371 kHz = 40 lines.
"""

import numpy as np
import pytest
from pinfolio.schema.systems import SCANNING, VIDEO_LEVELS
from pinfolio.schema.waveforms import WAVEFORM_KINDS
from scipy import signal

RATE_HZ = 100e6


def read(kind, **fields):
    return WAVEFORM_KINDS[kind].model_validate({"kind": kind, **fields})


@pytest.mark.parametrize(
    ("system", "tip_mhz", "white_mhz"), [("PAL-B/G", 3.8, 4.8), ("NTSC-M", 3.4, 4.4)]
)
def test_frequencies_of_recorded_luminance(system, tip_mhz, white_mhz):
    """Instantaneous frequency by the Hilbert transform: sync tip, blanking and white bar."""
    wave = read(
        "FM luminance",
        system=system,
        bars="100 %",
        vpp="1 Vpp",
        sync_tip=f"{tip_mhz} MHz",
        white=f"{white_mhz} MHz",
    )
    t_s = np.arange(-20e-6, 40e-6, 1 / RATE_HZ)
    phase = np.unwrap(np.angle(signal.hilbert(wave.volts(t_s))))

    def mean_mhz(start_us, end_us):
        first, last = np.searchsorted(t_s, (start_us * 1e-6, end_us * 1e-6))
        return (phase[last] - phase[first]) / (t_s[last] - t_s[first]) / 2e6 / np.pi

    blanking_mhz = tip_mhz - float(VIDEO_LEVELS[system].sync) * (white_mhz - tip_mhz)
    assert mean_mhz(1.5, 3.5) == pytest.approx(tip_mhz, abs=0.02)
    assert mean_mhz(6.5, 8.0) == pytest.approx(blanking_mhz, abs=0.02)
    assert mean_mhz(12.0, 15.5) == pytest.approx(white_mhz, abs=0.02)


def test_what_a_counter_reads_on_recorded_luminance():
    """Rising crossings of zero counted over ten lines."""
    wave = read(
        "FM luminance",
        system="PAL-B/G",
        bars="75 %",
        vpp="1 Vpp",
        sync_tip="3.8 MHz",
        white="4.8 MHz",
    )
    v = wave.volts(np.arange(0, 640e-6, 1 / RATE_HZ))
    crossings = np.count_nonzero((v[:-1] < 0) & (v[1:] >= 0))
    assert crossings / 640e-6 == pytest.approx(wave.frequency_hz, abs=2 / 640e-6)


@pytest.mark.parametrize(
    ("system", "under", "lines"),
    [("PAL-B/G", "626.953125 kHz", 40.125), ("NTSC-M", "629.370629 kHz", 40.0)],
)
@pytest.mark.parametrize("step_deg", [-90, 0, 90])
def test_colour_under_is_the_chrominance_mixed_down(system, under, lines, step_deg):
    """Chrominance times a carrier at subcarrier + f, turned line by line; the sum filtered off.

    Compared where the bars are flat, since the filter and the edges of the two differ.
    """
    scanning = SCANNING[system]
    given = {"system": system, "bars": "75 %", "burst": "300 mVpp"}
    ours = read("colour-under", **given, frequency=under, phase_step=f"{step_deg}°")
    assert ours.frequency_hz / float(scanning.line_hz) == pytest.approx(lines, rel=1e-6)
    t_s = np.arange(-0.5, 4.5, 1 / (RATE_HZ * ours.line_s)) * ours.line_s
    turned = np.deg2rad(step_deg) * np.floor(t_s / ours.line_s)
    mixer_hz = float(scanning.subcarrier_hz[0]) + ours.frequency_hz
    product = (
        read("chrominance", **given).volts(t_s) * 2 * np.cos(2 * np.pi * mixer_hz * t_s + turned)
    )
    filtered = signal.sosfiltfilt(signal.butter(4, 3e6, output="sos", fs=RATE_HZ), product)
    starts_s = np.linspace(ours.timing.picture_start_s, ours.line_s - 1.5e-6, 9)
    middle_s = (starts_s[:-1] + starts_s[1:]) / 2
    in_line_s = np.mod(t_s, ours.line_s)[:, None]
    flat = (np.abs(in_line_s - middle_s) < 2e-6).any(axis=1) & (t_s > 0) & (t_s < 4 * ours.line_s)
    assert ours.volts(t_s[flat]) == pytest.approx(filtered[flat], abs=0.01 * ours.vpp_v)


@pytest.mark.parametrize(
    ("system", "under", "step", "lines"),
    [("PAL-B/G", "626.953125 kHz", "-90°", 8), ("NTSC-J", "629.370629371 kHz", "90°", 4)],
)
def test_colour_under_comes_again(system, under, step, lines):
    """40 1/8 cycles a line close after eight lines, four quarter turns after four."""
    wave = read(
        "colour-under",
        system=system,
        bars="75 %",
        burst="300 mVpp",
        frequency=under,
        phase_step=step,
    )
    t_s = (np.arange(4000) + 0.3) / 4000 * wave.line_s
    again = wave.volts(t_s + lines * wave.line_s)
    assert wave.volts(t_s) == pytest.approx(again, abs=1e-5 * wave.vpp_v)


def test_servo_pulses_are_scipys_squares():
    """scipy.signal.square twice: six pulses a turn, and the square that switches the heads."""
    wave = read(
        "servo pulse",
        frequency="150 Hz",
        low="0 V",
        high="4 V",
        width="1 ms",
        head_switch="25 Hz",
    )
    t_s = np.linspace(0, 0.12, 5000) + 1.3e-6
    pulses = signal.square(2 * np.pi * 150 * t_s, duty=0.15) > 0
    heads = 1 + signal.square(2 * np.pi * 25 * t_s)
    assert wave.volts(t_s) == pytest.approx(np.where(pulses, 4.0, heads))
