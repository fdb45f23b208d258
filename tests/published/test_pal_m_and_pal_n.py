"""Composite video of PAL-M and PAL-N against the figures of ITU-R BT.470-6.

PAL-M: 525 lines, subcarrier 3.57561149 MHz as printed, 909/4 cycles a line; burst 9 cycles, setup.
PAL-N: 625 lines, subcarrier 3.58205625 MHz = 229.25 lines + 25 Hz; burst 9 cycles, 300 mV.
"""

import numpy as np
import pytest
from pinfolio.schema.systems import SCANNING
from pinfolio.schema.waveforms.kinds.composite_sync import CompositeSync
from pinfolio.schema.waveforms.kinds.composite_video import CompositeVideo

BURST_S = np.linspace(6.4e-6, 7.6e-6, 600)


def make_composite(system):
    return CompositeVideo.model_validate(
        {"kind": "composite video", "system": system, "bars": "75 %", "vpp": "1 Vpp"}
    )


def fit_burst(waveform, t_s, hz):
    """Level, and chroma as U + jV, by least squares."""
    angle = 2 * np.pi * hz * t_s
    basis = np.column_stack([np.ones_like(angle), np.sin(angle), np.cos(angle)])
    level, u, v = np.linalg.lstsq(basis, waveform.volts(t_s), rcond=None)[0]
    return level, complex(u, v)


@pytest.mark.parametrize(
    ("system", "printed_hz", "within_hz"),
    [("PAL-M", 3_575_611.49, 0.5), ("PAL-N", 3_582_056.25, 0.05)],
)
def test_subcarrier_found_in_the_bursts_of_many_lines(system, printed_hz, within_hz):
    """Phase of the burst after 2 and after 2000 lines, compared with the printed frequency.

    BT.470-6 prints the PAL-M subcarrier from a truncated line rate, 0.4 Hz low.
    """
    waveform, line_s = make_composite(system), float(1 / SCANNING[system].line_hz)
    phases = [np.angle(fit_burst(waveform, n * line_s + BURST_S, printed_hz)[1]) for n in (2, 2002)]
    turned = (phases[1] - phases[0] + np.pi) % (2 * np.pi) - np.pi
    assert turned / (2 * np.pi * 2000 * line_s) == pytest.approx(0, abs=within_hz)


@pytest.mark.parametrize(("system", "burst_mv"), [("PAL-M", 40 / 0.14), ("PAL-N", 300)])
def test_burst_swings_by_45_degrees_about_minus_u(system, burst_mv):
    hz = float(SCANNING[system].subcarrier_hz[0])
    for line, phase_deg in ((0, 135), (1, -135), (2, 135)):
        line_s = line / float(SCANNING[system].line_hz)
        level, burst = fit_burst(make_composite(system), line_s + BURST_S, hz)
        assert np.degrees(np.angle(burst)) == pytest.approx(phase_deg, abs=0.1)
        assert 2000 * abs(burst) == pytest.approx(burst_mv, rel=1e-3)
        assert level == pytest.approx(0, abs=1e-4)


@pytest.mark.parametrize(
    ("system", "line_hz", "field_hz", "lines"),
    [("PAL-M", 15_734.264, 59.94, 525), ("PAL-N", 15_625, 50, 625)],
)
def test_lines_and_fields(system, line_hz, field_hz, lines):
    """Counted on composite sync: a pulse at each line, two fields to a frame."""
    sync = CompositeSync.model_validate(
        {"kind": "composite sync", "system": system, "vpp": "1 Vpp"}
    )
    assert make_composite(system).frequency_hz == pytest.approx(line_hz, rel=3e-6)
    assert 2 / sync.period_s == pytest.approx(field_hz, abs=0.001)
    tips = sync.volts((np.arange(lines) * sync.period_s / lines) + 1e-6)
    assert np.count_nonzero(tips < -0.5) == lines


@pytest.mark.parametrize(
    ("system", "black_mv", "white_mv"), [("PAL-M", 53.57, 549.11), ("PAL-N", 0, 700)]
)
def test_setup_and_white_of_75_percent_bars(system, black_mv, white_mv):
    """PAL-M has the setup of 7.5 IRE and all bars at 75 %; PAL-N the levels of 625 lines."""
    waveform, hz = make_composite(system), float(SCANNING[system].subcarrier_hz[0])
    white, black = (
        1000 * fit_burst(waveform, np.linspace(start, start + 3e-6, 600), hz)[0]
        for start in (12e-6, 57.5e-6)
    )
    assert (black, white) == pytest.approx((black_mv, white_mv), abs=0.1)
