"""Line, field and subcarrier frequencies of the television systems against the standards."""

from fractions import Fraction

import pytest
from pinfolio.schema.systems import SCANNING, VIDEO_LEVELS, VIDEO_TIMING

# Printed to the figures given in ITU-R BT.470-6 and SMPTE 170M.
SUBCARRIERS_HZ = {
    "NTSC-M": 3_579_545.45,
    "NTSC-J": 3_579_545.45,
    "PAL-B/G": 4_433_618.75,
    "PAL-D/K": 4_433_618.75,
    "PAL-I": 4_433_618.75,
    "PAL-N": 3_582_056.25,
}


@pytest.mark.parametrize(("system", "subcarrier_hz"), SUBCARRIERS_HZ.items())
def test_colour_subcarrier(system, subcarrier_hz):
    assert float(SCANNING[system].subcarrier_hz[0]) == pytest.approx(subcarrier_hz, abs=0.01)


def test_pal_m_subcarrier_is_printed_from_a_truncated_line_rate():
    """BT.470-6 prints 3575611.49 Hz, which is 227.25 times 15734.264; exact is 0.4 Hz more."""
    assert float(SCANNING["PAL-M"].subcarrier_hz[0]) == pytest.approx(3_575_611.49, abs=0.41)


@pytest.mark.parametrize(
    ("system", "cycles_a_line"),
    [
        ("NTSC-M", Fraction(455, 2)),  # SMPTE 170M
        ("PAL-B/G", Fraction(1135, 4) + Fraction(1, 625)),  # BT.470-6
        ("PAL-M", Fraction(909, 4)),  # BT.470-6
        ("PAL-N", Fraction(917, 4) + Fraction(1, 625)),  # BT.470-6
    ],
)
def test_subcarrier_and_line_are_locked(system, cycles_a_line):
    scanning = SCANNING[system]
    assert scanning.subcarrier_hz[0] / scanning.line_hz == cycles_a_line


def test_secam_rest_frequencies_are_multiples_of_the_line_rate():
    """BT.470-6: foR = 282 fH, foB = 272 fH."""
    red_hz, blue_hz = SCANNING["SECAM-L"].subcarrier_hz
    assert (red_hz / 15_625, blue_hz / 15_625) == (282, 272)


@pytest.mark.parametrize("system", SCANNING)
def test_fields_are_half_the_lines_long(system):
    """Two interlaced fields make a frame of an odd number of lines."""
    scanning = SCANNING[system]
    assert scanning.line_hz / scanning.field_hz == Fraction(scanning.lines, 2)
    assert scanning.lines in (525, 625)


def test_rates_as_printed():
    """BT.470-6: 15734.264 Hz within 0.0003 %, 59.94 Hz; 15625 Hz, 50 Hz."""
    assert float(SCANNING["NTSC-M"].line_hz) == pytest.approx(15_734.264, rel=3e-6)
    assert float(SCANNING["NTSC-M"].field_hz) == pytest.approx(59.94, abs=0.001)
    assert (SCANNING["PAL-B/G"].line_hz, SCANNING["PAL-B/G"].field_hz) == (15_625, 50)


def test_intercarrier_sound():
    """BT.470-6; system I is 5.9996 MHz exactly."""
    spacing = {system: scanning.intercarrier_hz for system, scanning in SCANNING.items()}
    assert spacing["NTSC-M"] == spacing["PAL-M"] == spacing["PAL-N"] == 4_500_000
    assert spacing["PAL-B/G"] == spacing["SECAM-B/G"] == 5_500_000
    assert spacing["PAL-D/K"] == spacing["SECAM-L"] == 6_500_000
    assert spacing["PAL-I"] == 5_999_600


@pytest.mark.parametrize("system", SCANNING)
def test_every_system_has_levels_and_timing(system):
    levels = VIDEO_LEVELS[system]
    assert levels.white - levels.sync == 1
    assert levels.burst_pp == -levels.sync  # 40 IRE and 40 IRE; 300 mV and 300 mV (BT.470-6)
    assert VIDEO_TIMING[system].burst_start_s > VIDEO_TIMING[system].sync_s


def test_line_blanking_adds_up():
    """BT.470-6: 10.9 ± 0.2 µs with 525 lines, 12 ± 0.3 µs with 625."""
    blanking_us = {
        system: (timing.front_porch_s + timing.picture_start_s) * 1e6
        for system, timing in VIDEO_TIMING.items()
    }
    assert blanking_us["NTSC-M"] == pytest.approx(10.9, abs=0.2)
    assert blanking_us["PAL-B/G"] == pytest.approx(12.0, abs=0.3)
