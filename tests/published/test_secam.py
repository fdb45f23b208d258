"""SECAM colour bars on computed samples: frequencies, amplitudes, alternation.

Figures: ITU-R BT.470-6 (rest frequencies, deviations, bell); a test-generator manual (161 mV at
4.286 MHz); a web page of composite parameters (166 mV without colour).
"""

import numpy as np
import pytest
from pinfolio.schema.waveforms import WAVEFORM_KINDS
from pinfolio.schema.waveforms.kinds.secam_video import SecamVideo
from pinfolio.schema.waveforms.secam_carrier import compute_bell_v
from scipy.signal import hilbert

STEP_S = 4e-9
BARS = ("white", "yellow", "cyan", "green", "magenta", "red", "blue", "black")
RED_LINE, BLUE_LINE = 0, 1


def make_secam(bars="75 %", system="SECAM-L"):
    return SecamVideo.model_validate(
        {"kind": "SECAM video", "system": system, "bars": bars, "vpp": "1 Vpp"}
    )


def sample_bar(waveform, line, bar):
    """The middle of a bar: 52 µs of picture from 10.5 µs after 0H, in eight equal bars."""
    start_s = line * 64e-6 + (10.5 + 6.5 * bar + 1) * 1e-6
    t_s = start_s + np.arange(0, 4.5e-6, STEP_S)
    return waveform.volts(t_s)


def demodulate_carrier(volts):
    """Frequency in hertz and peak to peak in volts of a carrier on a level.

    From its analytic signal (scipy), away from the ends, where that is not true.
    """
    analytic = hilbert((volts - volts.mean()) * np.hanning(len(volts)) ** 0.25)
    middle = slice(len(volts) // 4, -len(volts) // 4)
    phase = np.unwrap(np.angle(analytic[middle]))
    hz = np.polyfit(np.arange(len(phase)) * STEP_S, phase, 1)[0] / (2 * np.pi)
    return hz, np.ptp(volts)


@pytest.mark.parametrize(("line", "rest_hz"), [(RED_LINE, 4_406_250), (BLUE_LINE, 4_250_000)])
@pytest.mark.parametrize("bar", ["white", "black"])
def test_without_colour_the_carrier_rests(line, rest_hz, bar):
    """foR = 282 lines, foB = 272 lines, on alternate lines."""
    for pair in (0, 2, 40):
        hz, _ = demodulate_carrier(sample_bar(make_secam(), line + pair, BARS.index(bar)))
        assert hz == pytest.approx(rest_hz, abs=1500)


@pytest.mark.parametrize(
    ("line", "bar", "shift_khz"),
    [
        # D' is 1 in the extreme bars of 75 %: this is what 1.902 and 1.505 are for.
        (RED_LINE, "red", -280),
        (RED_LINE, "cyan", 280),
        (BLUE_LINE, "blue", 230),
        (BLUE_LINE, "yellow", -230),
        # The others in proportion: R-Y of magenta 0.413, B-Y of green -0.587 (BT.601).
        (RED_LINE, "magenta", -280 * 1.902 * 0.75 * 0.587),
        (RED_LINE, "yellow", -280 * 1.902 * 0.75 * 0.114),
        (BLUE_LINE, "green", -230 * 1.505 * 0.75 * 0.587),
        (BLUE_LINE, "red", -230 * 1.505 * 0.75 * 0.299),
    ],
)
def test_deviation_of_75_percent_bars(line, bar, shift_khz):
    rest_hz = 4_406_250 if line == RED_LINE else 4_250_000
    hz, _ = demodulate_carrier(sample_bar(make_secam(), line, BARS.index(bar)))
    assert (hz - rest_hz) / 1000 == pytest.approx(shift_khz, abs=1.5)


def test_the_carrier_stays_within_its_limits():
    """A patent on SECAM receivers: the swing is from 3.9 to 4.75 MHz."""
    for line in (RED_LINE, BLUE_LINE):
        for bar in range(8):
            hz, _ = demodulate_carrier(sample_bar(make_secam("100 %"), line, bar))
            assert 3.9e6 <= hz <= 4.76e6
    cyan_hz, _ = demodulate_carrier(sample_bar(make_secam("100 %"), RED_LINE, BARS.index("cyan")))
    assert cyan_hz == pytest.approx(4.756e6, abs=2000)


def test_amplitude_at_the_middle_of_the_bell():
    """23 % of 700 mV is 161 mV peak to peak at 4.286 MHz."""
    assert 2000 * compute_bell_v("SECAM-L", np.array(4.286e6)) == pytest.approx(161)


def test_amplitude_without_colour():
    """166 mV as printed is that of D'B at rest; D'R, further from the middle, has more."""
    _, blue_v = demodulate_carrier(sample_bar(make_secam(), BLUE_LINE, BARS.index("black")))
    _, red_v = demodulate_carrier(sample_bar(make_secam(), RED_LINE, BARS.index("black")))
    assert 1000 * blue_v == pytest.approx(166, abs=1)
    assert red_v > blue_v


@pytest.mark.parametrize("line", [RED_LINE, BLUE_LINE])
def test_luminance_is_that_of_the_bars(line):
    """EBU bars in mV; the carrier takes nothing from their mean."""
    levels_mv = (700, 465.15, 368.02, 308.17, 216.83, 156.97, 59.85, 0)
    for bar, level_mv in enumerate(levels_mv):
        volts = sample_bar(make_secam(), line, bar)
        whole_cycles = np.average(volts, weights=np.hanning(len(volts)))
        assert 1000 * whole_cycles == pytest.approx(level_mv, abs=0.5)


def test_sync_tip_and_line_blanking_carry_no_colour():
    """The carrier starts 5.6 µs after 0H and is off during sync."""
    volts = make_secam().volts(np.array([-1e-6, 1e-6, 2.3e-6, 4e-6, 5.2e-6]))
    assert volts == pytest.approx([0, -0.3, -0.3, -0.3, 0], abs=1e-6)
    assert np.ptp(make_secam().volts(np.linspace(6e-6, 9e-6, 1000))) > 0.16


def test_every_third_line_begins_upside_down():
    """0°, 0°, 180° from line to line (ITU-R BT.470-6, from memory), so that dots cancel."""
    t_s = np.linspace(6.5e-6, 9.5e-6, 500)
    porch = [make_secam().volts(line * 64e-6 + t_s) for line in range(6)]
    same_colour = [porch[4] @ porch[0], porch[2] @ porch[0], porch[5] @ porch[1]]
    assert [np.sign(product) for product in same_colour] == [1, -1, -1]


@pytest.mark.parametrize("bars", ["75 %", "100 %"])
def test_red_field_is_the_red_bar_of_secam(bars):
    field = WAVEFORM_KINDS["red field"].model_validate(
        {"kind": "red field", "system": "SECAM-L", "bars": bars, "vpp": "1 Vpp"}
    )
    for line in (RED_LINE, BLUE_LINE):
        bar_hz, bar_v = demodulate_carrier(sample_bar(make_secam(bars), line, BARS.index("red")))
        field_hz, field_v = demodulate_carrier(sample_bar(field, line, 2))
        assert (field_hz, field_v) == pytest.approx((bar_hz, bar_v), rel=1e-3)
