"""Test signals on computed samples, against the figures of the standards they are taken from.

Multiburst and staircase: ITU-T J.63 insertion test lines 18 and 17 (625 lines), NTC-7 combination
signal (525 lines), read in the tables of an open-source video signal generator. Crosshatch: common
practice. Red: tables of colour bars.
"""

import numpy as np
import pytest
from pinfolio.schema.systems import SCANNING, VIDEO_LEVELS
from pinfolio.schema.waveforms import WAVEFORM_KINDS
from scipy.signal import periodogram

IRE = 1 / 140
STEP_S = 5e-9
PAL_BURST = slice(1200, 1480)  # 6 to 7.4 µs at 5 ns
J63_MHZ = (0.5, 1, 2, 4, 4.8, 5.8)
NTC7_MHZ = (0.5, 1, 2, 3, 3.58, 4.2)
GREY_KINDS = ("multiburst", "staircase", "crosshatch")


def make_signal(kind, system="PAL-B/G", **fields):
    return WAVEFORM_KINDS[kind].model_validate(
        {"kind": kind, "system": system, "vpp": "1 Vpp", **fields}
    )


def sample_line(waveform, line=0):
    """Times from 0H and volts."""
    t_s = np.arange(0, waveform.line_s, STEP_S)
    return t_s, waveform.volts(line * waveform.line_s + t_s)


@pytest.mark.parametrize(
    ("system", "starts_us", "lasts_us", "packets_mhz", "pedestal_v", "packet_vpp"),
    [
        ("PAL-B/G", range(24, 60, 6), 4, J63_MHZ, 0.350, 0.420),
        ("PAL-I", range(24, 60, 6), 4, J63_MHZ, 0.350, 0.420),
        ("PAL-N", range(24, 60, 6), 4, NTC7_MHZ, 0.350, 0.420),
        ("NTSC-M", range(18, 60, 7), 5, NTC7_MHZ, 50 * IRE, 50 * IRE),
        ("PAL-M", range(18, 60, 7), 5, NTC7_MHZ, 50 * IRE, 50 * IRE),
    ],
)
def test_packets_of_the_multiburst(
    system, starts_us, lasts_us, packets_mhz, pedestal_v, packet_vpp
):
    """The peak of each packet's spectrum, its size and its grey level."""
    t_s, v = sample_line(make_signal("multiburst", system))
    for start_us, mhz in zip(starts_us, packets_mhz, strict=True):
        inside = (t_s > start_us * 1e-6 + 0.3e-6) & (t_s < (start_us + lasts_us) * 1e-6 - 0.3e-6)
        hz, power = periodogram(v[inside], 1 / STEP_S, "hann", 1 << 16, "constant")
        assert hz[power.argmax()] / 1e6 == pytest.approx(mhz, abs=0.06)
        assert np.ptp(v[inside]) == pytest.approx(packet_vpp, rel=0.01)
        assert (v[inside].max() + v[inside].min()) / 2 == pytest.approx(pedestal_v, rel=0.01)


@pytest.mark.parametrize(
    ("system", "starts_us", "packets_mhz", "peak_v"),
    [
        ("PAL-B/G", range(24, 60, 6), J63_MHZ, 0.560),
        ("NTSC-M", range(18, 60, 7), NTC7_MHZ, 75 * IRE),
    ],
)
def test_packets_of_the_multiburst_begin_with_a_rise_from_grey(
    system, starts_us, packets_mhz, peak_v
):
    """The second crest is a period and a quarter behind the start. From memory of both signals."""
    crests_s = [(us + 1.25 / mhz) * 1e-6 for us, mhz in zip(starts_us, packets_mhz, strict=True)]
    volts = make_signal("multiburst", system).volts(np.array(crests_s))
    assert volts == pytest.approx(peak_v, abs=1e-3)


def test_flag_of_the_multiburst():
    """J.63: 80 % then 20 % of white, as far from the grey as packets go; NTC-7: 100 IRE."""
    t_s = np.array([14e-6, 18e-6])
    assert make_signal("multiburst").volts(t_s) == pytest.approx([0.560, 0.140])
    assert make_signal("multiburst", "NTSC-M").volts(t_s[:1]) == pytest.approx([100 * IRE])


@pytest.mark.parametrize(
    ("system", "steps", "step_v"),
    [
        ("PAL-B/G", 5, 0.140),  # J.63, line 17
        ("PAL-B/G", 10, 0.070),
        ("NTSC-J", 5, 20 * IRE),
        ("NTSC-M", 10, 9.25 * IRE),  # from setup: 92.5 IRE in ten
    ],
)
def test_steps_of_the_staircase(system, steps, step_v):
    waveform = make_signal("staircase", system, steps=steps)
    start_s, line_s = waveform.timing.picture_start_s, waveform.line_s
    tread_s = (line_s - 1.5e-6 - start_s) / (steps + 1)
    levels = waveform.volts(start_s + (np.arange(steps + 1) + 0.5) * tread_s)
    assert np.diff(levels) == pytest.approx(step_v)
    assert levels[-1] == pytest.approx(float(VIDEO_LEVELS[system].white))


@pytest.mark.parametrize(("system", "visible"), [("PAL-B/G", 288), ("NTSC-M", 240)])
def test_crosshatch_is_square_on_a_tube_of_4_to_3(system, visible):
    """Spots on one line and scan lines from level line to level line, of the picture's size.

    Active lines of a field as digital video has them: 288 and 240 (Recommendation BT.601).
    """
    waveform = make_signal("crosshatch", system)
    t_s, v = sample_line(waveform, line=3)
    white = v > float(VIDEO_LEVELS[system].white) / 2
    rises_s = t_s[1:][np.diff(white.astype(int)) == 1]
    rises_s = rises_s[rises_s > waveform.timing.picture_start_s]
    picture_s = waveform.line_s - waveform.timing.picture_start_s - waveform.timing.front_porch_s
    across = np.diff(rises_s).mean() / picture_s * 4 / 3
    in_picture_s = np.arange(200) * waveform.line_s + (rises_s[3] + rises_s[4]) / 2
    level_lines = np.flatnonzero(waveform.volts(in_picture_s) > 0.6)
    assert len(rises_s) == 16
    assert np.diff(level_lines) / visible == pytest.approx(across, rel=0.01)


@pytest.mark.parametrize(
    ("system", "bars", "level_mv", "chroma_mv"),
    [
        ("PAL-B/G", "75 %", 156.97, 663.95),
        ("PAL-B/G", "100 %", 209.30, 885.27),
        ("NTSC-M", "75 %", 201.74, 626.69),
        ("NTSC-M", "100 %", 251.12, 835.58),
        ("PAL-M", "100 %", 251.12, 835.58),
    ],
)
@pytest.mark.parametrize("line", [0, 1])
def test_red_field_is_the_red_bar_all_along(system, bars, level_mv, chroma_mv, line):
    """Level, amplitude and phase of red in published tables: 103.46° on lines of positive V."""
    waveform = make_signal("red field", system, bars=bars)
    t_s = line * waveform.line_s + np.linspace(15e-6, 55e-6, 20_000)
    angle = 2 * np.pi * float(SCANNING[system].subcarrier_hz[0]) * t_s
    basis = np.column_stack([np.ones_like(angle), np.sin(angle), np.cos(angle)])
    level, u, v = np.linalg.lstsq(basis, waveform.volts(t_s), rcond=None)[0]
    phase_deg = -103.4558 if system.startswith("PAL") and line == 1 else 103.4558
    assert (1000 * level, 2000 * np.hypot(u, v)) == pytest.approx((level_mv, chroma_mv), abs=0.02)
    assert np.degrees(np.arctan2(v, u)) == pytest.approx(phase_deg, abs=0.01)


@pytest.mark.parametrize("kind", [*GREY_KINDS, "red field"])
@pytest.mark.parametrize("system", VIDEO_LEVELS)
def test_every_test_signal_has_the_sync_and_burst_of_its_system(kind, system):
    bars = {"bars": "75 %"} if kind == "red field" else {}
    waveform = make_signal(kind, system, **bars)
    _, v = sample_line(waveform, line=2)
    levels = VIDEO_LEVELS[system]
    assert v[200:800] == pytest.approx(float(levels.sync))
    if system.startswith("SECAM"):
        assert np.ptp(v[PAL_BURST]) > 0.16  # the carrier without colour: 161 mV and more
    else:
        assert np.ptp(v[PAL_BURST]) == pytest.approx(float(levels.burst_pp), rel=0.01)


@pytest.mark.parametrize("kind", GREY_KINDS)
def test_sync_up_is_upside_down(kind):
    t_s = np.linspace(0, 2 * 64e-6, 5000)
    assert make_signal(kind, sync="up").volts(t_s) == pytest.approx(-make_signal(kind).volts(t_s))


@pytest.mark.parametrize(
    ("waveform", "words"),
    [
        (
            make_signal("multiburst", "NTSC-M"),
            "NTSC-M multiburst: a flag, then packets of 0.5, 1, 2, 3, 3.58 and 4.2 MHz, "
            "357 mVpp each on grey; 1 Vpp from sync tip to white, sync down, lines at 15.734 kHz.",
        ),
        (
            make_signal("staircase"),
            "PAL-B/G staircase of 5 steps from black to white, 140 mV each; 1 Vpp from sync tip "
            "to white, sync down, lines at 15.625 kHz.",
        ),
        (
            make_signal("red field", bars="75 %"),
            "PAL-B/G red field of 75 %: chroma of 664 mVpp on its luminance all along the line; "
            "1 Vpp from sync tip to white, sync down, lines at 15.625 kHz.",
        ),
    ],
)
def test_says_what_it_is(waveform, words):
    assert waveform.describe() == words


@pytest.mark.parametrize("system", ["PAL-B/G", "NTSC-M", "PAL-N"])
@pytest.mark.parametrize("line", [1, 4, 250])
def test_the_packets_of_a_multiburst_are_the_same_on_every_line(system, line):
    waveform = make_signal("multiburst", system)
    t_s = np.linspace(18e-6, 58e-6, 4001)
    later = waveform.volts(line * waveform.line_s + t_s)
    assert later == pytest.approx(waveform.volts(t_s), abs=1e-4)
