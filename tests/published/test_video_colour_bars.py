"""Each colour bar of the computed signal, demodulated and compared with published tables.

NTSC 100 %: a published table printed to four decimals; NTSC 75 % luminance: a magazine article
(10-bit levels) and SMPTE EG 1; PAL 75 %: EBU bars, amplitude ratios and phases as printed in an
encyclopedia, figures to 0.01 computed from the BT.601 matrix; no-setup peaks: published NTSC notes.
"""

import numpy as np
import pytest
from pinfolio.schema.systems import SCANNING, VIDEO_TIMING
from pinfolio.schema.waveforms.kinds.colour_difference import ColourDifference, RgbBars
from pinfolio.schema.waveforms.kinds.composite_video import Chrominance, CompositeVideo

COLOURS = ("white", "yellow", "cyan", "green", "magenta", "red", "blue", "black")
PHASES_DEG = (None, 167.0812, 283.4558, 240.7098, 60.7098, 103.4558, 347.0812, None)
MV_PER_IRE = 1000 / 140

# Luminance and chroma peak to peak in IRE.
NTSC_100 = (
    (100.0, 0),
    (89.4550, 82.7567),
    (72.3425, 116.9816),
    (61.7975, 109.2338),
    (45.7025, 109.2338),
    (35.1575, 116.9816),
    (18.0450, 82.7567),
    (7.5, 0),
)
NTSC_75 = (
    (76.8750, 0),
    (68.9663, 62.0675),
    (56.1319, 87.7362),
    (48.2231, 81.9253),
    (36.1519, 81.9253),
    (28.2431, 87.7362),
    (15.4088, 62.0675),
    (7.5, 0),
)
NTSC_J_75 = (
    (75.0, 0),
    (66.450, 67.100),
    (52.575, 94.850),
    (44.025, 88.568),
    (30.975, 88.568),
    (22.425, 94.850),
    (8.550, 67.100),
    (0.0, 0),
)
# Luminance and chroma peak to peak in mV.
PAL_75 = (
    (700.00, 0),
    (465.15, 469.70),
    (368.02, 663.95),
    (308.17, 619.98),
    (216.83, 619.98),
    (156.97, 663.95),
    (59.85, 469.70),
    (0.0, 0),
)
PAL_100 = (
    (700.0, 0),
    (620.20, 626.27),
    (490.70, 885.27),
    (410.90, 826.63),
    (289.10, 826.63),
    (209.30, 885.27),
    (79.80, 626.27),
    (0.0, 0),
)


def make_composite(system, bars):
    return CompositeVideo.model_validate(
        {"kind": "composite video", "system": system, "bars": bars, "vpp": "1 Vpp"}
    )


def list_bar_times_s(system, bar, line=0):
    """The middle of a bar, away from its edges."""
    timing, line_s = VIDEO_TIMING[system], float(1 / SCANNING[system].line_hz)
    bar_s = (line_s - timing.front_porch_s - timing.picture_start_s) / 8
    start_s = line * line_s + timing.picture_start_s + bar * bar_s
    return np.linspace(start_s + 0.2 * bar_s, start_s + 0.8 * bar_s, 2000)


def demodulate(waveform, t_s):
    """Mean level (mV), peak to peak (mV) and phase from +U (degrees), by least squares."""
    angle = 2 * np.pi * float(SCANNING[waveform.system].subcarrier_hz[0]) * t_s
    basis = np.column_stack([np.ones_like(t_s), np.sin(angle), np.cos(angle)])
    (level, u, v), *_ = np.linalg.lstsq(basis, waveform.volts(t_s), rcond=None)
    return 1000 * level, 2000 * np.hypot(u, v), np.degrees(np.arctan2(v, u)) % 360


@pytest.mark.parametrize(
    ("system", "bars", "table", "unit_mv", "tolerance_mv"),
    [
        ("NTSC-M", "100 %", NTSC_100, MV_PER_IRE, 0.01),
        ("NTSC-M", "75 %", NTSC_75, MV_PER_IRE, 0.01),
        ("NTSC-J", "75 %", NTSC_J_75, MV_PER_IRE, 0.02),
        ("PAL-B/G", "75 %", PAL_75, 1, 0.02),
        ("PAL-B/G", "100 %", PAL_100, 1, 0.02),
    ],
)
def test_luminance_chroma_and_phase(system, bars, table, unit_mv, tolerance_mv):
    waveform = make_composite(system, bars)
    for bar, (level, chroma) in enumerate(table):
        found = demodulate(waveform, list_bar_times_s(system, bar))
        assert found[0] == pytest.approx(level * unit_mv, abs=tolerance_mv), COLOURS[bar]
        assert found[1] == pytest.approx(chroma * unit_mv, abs=tolerance_mv), COLOURS[bar]
        if chroma:
            assert found[2] == pytest.approx(PHASES_DEG[bar], abs=0.01), COLOURS[bar]


@pytest.mark.parametrize("bar", range(1, 7))
def test_pal_phase_is_mirrored_on_every_second_line(bar):
    waveform = make_composite("PAL-B/G", "75 %")
    on_plus = demodulate(waveform, list_bar_times_s("PAL-B/G", bar, line=2))[2]
    on_minus = demodulate(waveform, list_bar_times_s("PAL-B/G", bar, line=3))[2]
    assert on_plus == pytest.approx(PHASES_DEG[bar], abs=0.01)
    assert on_minus == pytest.approx(360 - PHASES_DEG[bar], abs=0.01)


def test_burst_phase():
    """NTSC burst at 180° from +U; PAL at +135° on lines of positive V, -135° on the others."""
    inside_s = np.linspace(6.2e-6, 7.4e-6, 2000)
    ntsc, pal = make_composite("NTSC-M", "75 %"), make_composite("PAL-B/G", "75 %")
    assert demodulate(ntsc, inside_s)[2] == pytest.approx(180, abs=0.01)
    assert demodulate(pal, inside_s)[2] == pytest.approx(135, abs=0.01)
    assert demodulate(pal, inside_s + 64e-6)[2] == pytest.approx(225, abs=0.01)


def test_ntsc_subcarrier_turns_half_a_cycle_from_line_to_line():
    """455/2 cycles a line (SMPTE 170M): the chroma of the next line is upside down."""
    chroma = Chrominance.model_validate(
        {"kind": "chrominance", "system": "NTSC-M", "bars": "75 %", "burst": "286 mVpp"}
    )
    t_s = list_bar_times_s("NTSC-M", 5)
    assert chroma.volts(t_s + chroma.period_s) == pytest.approx(-chroma.volts(t_s), abs=1e-6)


@pytest.mark.parametrize(
    ("bar", "top", "bottom"),
    [
        (1, 4 / 3, None),
        (2, 4 / 3, None),
        (3, 1.177453, -0.003453),
        (4, 1.003453, -0.177453),
        (5, 0.931333, -1 / 3),
        (6, 0.561333, -1 / 3),
    ],
)
def test_peaks_of_100_percent_bars_without_setup(bar, top, bottom):
    """Published NTSC notes: excursions of each bar, white being 1."""
    level, chroma, _ = demodulate(
        make_composite("NTSC-J", "100 %"), list_bar_times_s("NTSC-J", bar)
    )
    white_mv = 100 * MV_PER_IRE
    assert (level + chroma / 2) / white_mv == pytest.approx(top, abs=1e-5)
    if bottom is not None:
        assert (level - chroma / 2) / white_mv == pytest.approx(bottom, abs=1e-5)


def test_75_percent_luminance_as_ten_bit_levels():
    """Magazine article: 240 is 0 IRE, 800 is 100 IRE; 671 white to 326 blue."""
    printed = (671, 626, 554, 510, 442, 398, 326)
    waveform = make_composite("NTSC-M", "75 %")
    for bar, code in enumerate(printed):
        level_ire = demodulate(waveform, list_bar_times_s("NTSC-M", bar))[0] / MV_PER_IRE
        assert 240 + 5.6 * level_ire == pytest.approx(code, abs=0.51)


@pytest.mark.parametrize("system", ["PAL-M", "PAL-N", "PAL-I", "PAL-D/K"])
def test_the_other_pal_systems_have_the_same_phases(system):
    for bar in range(1, 7):
        found = demodulate(make_composite(system, "100 %"), list_bar_times_s(system, bar))[2]
        assert found == pytest.approx(PHASES_DEG[bar], abs=0.01)


def test_chrominance_alone_is_the_chroma_of_composite():
    chroma = Chrominance.model_validate(
        {"kind": "chrominance", "system": "PAL-B/G", "bars": "75 %", "burst": "300 mVpp"}
    )
    for bar, (_, vpp_mv) in enumerate(PAL_75):
        level, amplitude, _ = demodulate(chroma, list_bar_times_s("PAL-B/G", bar))
        assert (level, amplitude) == pytest.approx((0, vpp_mv), abs=0.02)


def decode_bar(model, bar, **fields):
    """Level of one bar in a decoded signal, in volts about black."""
    waveform = model.model_validate({"system": "PAL-B/G", "bars": "75 %", **fields})
    return float(waveform.volts(list_bar_times_s("PAL-B/G", bar)).mean())


@pytest.mark.parametrize(
    ("axis", "vpp", "red", "green", "blue"),
    [
        # R-Y of saturated colours: 0.701, -0.587, -0.114 (BT.601); 1.05 Vpp for 75 % of 1 V.
        ("R-Y", "1.0515 Vpp", 0.75 * 0.701, 0.75 * -0.587, 0.75 * -0.114),
        ("G-Y", "619.5 mVpp", 0.75 * -0.299, 0.75 * 0.413, 0.75 * -0.114),
        ("B-Y", "1.329 Vpp", 0.75 * -0.299, 0.75 * -0.587, 0.75 * 0.886),
    ],
)
def test_colour_difference_signals(axis, vpp, red, green, blue):
    """The usual figures 1.05 and 1.33 Vpp (common practice) are 75 % bars of 1 V black to white."""
    fields = {"kind": "colour difference", "axis": axis, "vpp": vpp}
    levels = [decode_bar(ColourDifference, bar, **fields) for bar in (5, 3, 6)]
    assert levels == pytest.approx([red, green, blue], abs=1e-4)


@pytest.mark.parametrize(
    ("colour", "lit"),
    [
        ("red", "white yellow magenta red"),
        ("green", "white yellow cyan green"),
        ("blue", "white cyan magenta blue"),
    ],
)
def test_rgb_bars(colour, lit):
    """Each primary is on in four of eight bars; EBU white is at 100 %, the others at 75 %."""
    fields = {"kind": "RGB bars", "colour": colour, "vpp": "2 Vpp"}
    for bar, name in enumerate(COLOURS):
        share = (1.0 if name == "white" else 0.75) if name in lit.split() else 0.0
        assert decode_bar(RgbBars, bar, **fields) == pytest.approx(2 * share)


def test_a_burst_that_is_partly_lost_takes_the_colour_of_the_bars_with_it() -> None:
    """The peak to peak of each part is measured on the samples: burst, cyan bar, and sync.

    A roll-off weakens all chrominance alike; luminance and sync, far below it, stay.
    """
    fields = {"kind": "composite video", "system": "PAL-B/G", "bars": "75 %", "vpp": "1 Vpp"}
    whole, lost = (
        CompositeVideo.model_validate(fields | more) for more in ({}, {"burst": "60 mVpp"})
    )
    burst_s = np.linspace(6.2e-6, 7.2e-6, 4001)  # within 5.6 µs to 7.85 µs after 0H (BT.470)
    cyan_s = np.linspace(26.4e-6, 29.4e-6, 4001)  # the middle of the third of eight bars

    def swing(waveform: CompositeVideo, t_s: np.ndarray) -> float:
        return float(np.ptp(waveform.volts(t_s)))

    assert swing(whole, burst_s) == pytest.approx(0.300, rel=0.01)
    assert swing(lost, burst_s) == pytest.approx(0.060, rel=0.01)
    assert swing(lost, cyan_s) == pytest.approx(PAL_75[2][1] / 1000 * 60 / 300, rel=0.01)
    assert lost.volts(np.array([2e-6])) == pytest.approx(whole.volts(np.array([2e-6])))
    assert lost.parts_of_their_own == ((pytest.approx(4.43361875e6), pytest.approx(0.06)),)
    assert lost.extremes_v[1] < whole.extremes_v[1]
    assert "burst of 60 mVpp at 4.433619 MHz" in lost.describe()
