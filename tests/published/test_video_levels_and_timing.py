"""Levels and timing of the composite line, measured on the computed samples.

Figures: ITU-R BT.470-6 and SMPTE 170M-2004; 140 IRE is 1 V from sync tip to white.
"""

import numpy as np
import pytest
from pinfolio.schema.systems import SCANNING
from pinfolio.schema.waveforms.kinds.composite_video import CompositeVideo, Luminance
from scipy.signal import find_peaks

IRE = 1 / 140
STEP_S = 1e-9


def make_composite(system, bars="100 %", **more):
    return CompositeVideo.model_validate(
        {"kind": "composite video", "system": system, "bars": bars, "vpp": "1 Vpp", **more}
    )


def sample_luminance(system, bars="100 %"):
    return Luminance.model_validate(
        {"kind": "luminance", "system": system, "bars": bars, "vpp": "1 Vpp"}
    )


def sample_volts(waveform, t_us):
    return float(waveform.volts(np.array([t_us * 1e-6]))[0])


def find_crossings_us(waveform, level_v, from_us, to_us):
    """Times at which the signal crosses a level, by straight line between samples of 1 ns."""
    t_s = np.arange(from_us * 1e-6, to_us * 1e-6, STEP_S)
    above = waveform.volts(t_s) - level_v
    at = np.nonzero(np.diff(np.signbit(above)))[0]
    return (t_s[at] + STEP_S * above[at] / (above[at] - above[at + 1])) * 1e6


@pytest.mark.parametrize(
    ("system", "sync_v", "black_v", "white_v"),
    [
        ("NTSC-M", -40 * IRE, 7.5 * IRE, 100 * IRE),
        ("NTSC-J", -40 * IRE, 0.0, 100 * IRE),
        ("PAL-M", -40 * IRE, 7.5 * IRE, 100 * IRE),
        ("PAL-B/G", -0.300, 0.0, 0.700),
        ("PAL-I", -0.300, 0.0, 0.700),
        ("PAL-N", -0.300, 0.0, 0.700),
    ],
)
def test_sync_blanking_black_and_white(system, sync_v, black_v, white_v):
    waveform = sample_luminance(system)
    line_us = 1e6 / float(SCANNING[system].line_hz)
    picture_us = line_us - 1.5 - (9.4 if line_us < 64 else 10.5)
    assert sample_volts(waveform, 2.3) == pytest.approx(sync_v, abs=1e-6)
    assert sample_volts(waveform, 5.2) == pytest.approx(0.0, abs=1e-6)  # back porch
    assert sample_volts(waveform, line_us - 0.7) == pytest.approx(0.0, abs=1e-6)  # front porch
    assert sample_volts(waveform, line_us - 1.5 - picture_us / 16) == pytest.approx(
        black_v, abs=1e-6
    )
    assert sample_volts(waveform, line_us - 1.5 - picture_us * 15 / 16) == pytest.approx(
        white_v, abs=1e-6
    )


@pytest.mark.parametrize(
    ("system", "width_us", "tolerance_us"),
    [("NTSC-M", 4.7, 0.1), ("PAL-M", 4.7, 0.1), ("PAL-B/G", 4.7, 0.2), ("PAL-I", 4.7, 0.2)],
)
def test_line_sync_width_at_half_amplitude(system, width_us, tolerance_us):
    waveform = make_composite(system)
    half_v = waveform.extremes_v[0] / 2
    falls, rises = find_crossings_us(waveform, half_v, -0.5, 5.2)
    assert falls == pytest.approx(0.0, abs=0.001)  # 0H
    assert rises - falls == pytest.approx(width_us, abs=tolerance_us)


@pytest.mark.parametrize(("system", "most_us"), [("NTSC-M", 0.25), ("PAL-B/G", 0.3)])
def test_sync_rise_time(system, most_us):
    """BT.470-6: 0.25 µs at most with 525 lines, 0.2 ± 0.1 µs with 625."""
    waveform = make_composite(system)
    sync_v = waveform.extremes_v[0]
    (at_10,) = find_crossings_us(waveform, 0.1 * sync_v, -0.5, 0.5)
    (at_90,) = find_crossings_us(waveform, 0.9 * sync_v, -0.5, 0.5)
    assert 0.1 <= at_90 - at_10 <= most_us


@pytest.mark.parametrize(
    ("system", "front_us", "start_us", "tolerance_us"),
    [("NTSC-M", 1.5, 9.4, 0.1), ("PAL-B/G", 1.5, 10.5, 0.3)],
)
def test_front_porch_and_start_of_the_picture(system, front_us, start_us, tolerance_us):
    """NTSC front porch 1.5 µs, picture from 9.4 µs; PAL 1.5 ± 0.3 µs and 10.5 µs.

    The setup of NTSC blue-to-black ends the picture, so half of the black level is looked for.
    """
    waveform = sample_luminance(system)
    line_us = 1e6 / float(SCANNING[system].line_hz)
    white_v = waveform.extremes_v[1]
    starts = find_crossings_us(waveform, white_v / 2, 5.0, 15.0)
    assert starts == pytest.approx([start_us], abs=tolerance_us)
    if system == "NTSC-M":
        ends = find_crossings_us(waveform, 3.75 * IRE, line_us - 5, line_us - 0.5)
        assert line_us - ends == pytest.approx([front_us], abs=tolerance_us)


@pytest.mark.parametrize(
    ("system", "start_us", "tolerance_us", "cycles"),
    [
        ("NTSC-M", 19 / 3.579545, 0.1, 9),  # 19 cycles: SMPTE 170M, from memory
        ("PAL-B/G", 5.6, 0.1, 10),
        ("PAL-M", 5.8, 0.1, 9),  # a published table; another prints 5.3
        ("PAL-N", 5.6, 0.1, 9),
    ],
)
def test_burst_start_and_cycles(system, start_us, tolerance_us, cycles):
    """Cycles are those above half amplitude; the first begins a quarter cycle before its peak."""
    waveform = make_composite(system)
    t_s = np.arange(4.9e-6, 9.3e-6, STEP_S)
    v = waveform.volts(t_s)
    half_v = (0.3 if system == "PAL-B/G" else 0.28) / 4
    peaks = find_peaks(np.abs(v), height=half_v)[0]
    assert len(peaks) == 2 * cycles
    cycle_us = 1e6 / float(SCANNING[system].subcarrier_hz[0])
    assert t_s[peaks[0]] * 1e6 - cycle_us / 4 == pytest.approx(start_us, abs=tolerance_us)


@pytest.mark.parametrize(
    ("system", "burst_vpp"), [("NTSC-M", 40 * IRE), ("PAL-B/G", 0.300), ("PAL-N", 0.300)]
)
def test_burst_amplitude(system, burst_vpp):
    """NTSC 40 ± 4 IRE; PAL 300 mV (3/7 of black to white)."""
    v = make_composite(system).volts(np.arange(6.4e-6, 7.2e-6, STEP_S))
    assert np.ptp(v) == pytest.approx(burst_vpp, rel=1e-3)


def test_100_percent_bars_reach_a_third_above_white():
    """BT.470-6: 133 % of black to white in PAL; 131 IRE in NTSC with setup (100 % bar table)."""
    assert make_composite("PAL-B/G").extremes_v[1] == pytest.approx(0.9333, abs=0.0005)
    assert make_composite("NTSC-M").extremes_v[1] == pytest.approx(130.833 * IRE, abs=0.01 * IRE)


def test_75_percent_bars_stay_at_white():
    """The purpose of 75 % bars: chroma peaks at 100 IRE, at 700 mV (EIA-189-A, EBU)."""
    assert make_composite("NTSC-M", "75 %").extremes_v[1] == pytest.approx(
        100 * IRE, abs=0.01 * IRE
    )
    assert make_composite("PAL-B/G", "75 %").extremes_v[1] == pytest.approx(0.700, abs=1e-4)


def test_sync_up_is_the_same_signal_upside_down():
    t_s = np.linspace(0, 128e-6, 1000)
    upright, upside_down = make_composite("PAL-B/G"), make_composite("PAL-B/G", sync="up")
    assert upside_down.volts(t_s) == pytest.approx(-upright.volts(t_s))
    assert upside_down.mean_v == pytest.approx(-upright.mean_v)
