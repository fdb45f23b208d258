"""Pulses of the field blanking interval counted and measured on samples of composite sync.

Figures: ITU-R BT.470-6: 525 lines have six equalising, six broad and six equalising pulses (3H
each), 625 lines five of each (2.5H); field blanking 25H, 19 to 21H.
"""

import numpy as np
import pytest
from pinfolio.schema.systems import SCANNING
from pinfolio.schema.waveforms.kinds.composite_sync import CompositeSync
from pinfolio.schema.waveforms.kinds.sandcastle import Sandcastle

STEP_S = 50e-9  # edges are straight, so crossings between samples come out exact


def make_composite_sync(system):
    return CompositeSync.model_validate(
        {"kind": "composite sync", "system": system, "vpp": "1 Vpp"}
    )


def find_pulses_of_one_frame(system):
    """Start (in lines) and width (in µs) of each pulse, both at half amplitude."""
    waveform = make_composite_sync(system)
    line_s = float(1 / SCANNING[system].line_hz)
    t_s = np.arange(-line_s / 4, waveform.period_s - line_s / 4, STEP_S)
    above = waveform.volts(t_s) + 0.5
    at = np.nonzero(np.diff(np.signbit(above)))[0]
    crossing_s = t_s[at] + STEP_S * above[at] / (above[at] - above[at + 1])
    falls_s, rises_s = crossing_s[::2], crossing_s[1::2]
    return falls_s / line_s, (rises_s - falls_s) * 1e6


@pytest.mark.parametrize(
    ("system", "lines", "group", "equalising_us", "broad_us", "tolerance_us"),
    [
        ("NTSC-M", 525, 6, 2.3, 27.1, 0.1),
        ("PAL-M", 525, 6, 2.3, 27.1, 0.1),
        ("PAL-B/G", 625, 5, 2.35, 27.3, 0.1),
        ("SECAM-L", 625, 5, 2.35, 27.3, 0.1),
    ],
)
def test_pulses_of_both_fields(system, lines, group, equalising_us, broad_us, tolerance_us):
    starts, widths_us = find_pulses_of_one_frame(system)
    broad = np.abs(widths_us - broad_us) < tolerance_us
    equalising = np.abs(widths_us - equalising_us) < tolerance_us
    line_sync = np.abs(widths_us - 4.7) < 0.1
    assert (broad.sum(), equalising.sum()) == (2 * group, 4 * group)
    assert np.all(broad | equalising | line_sync)
    first, second = starts[broad].reshape(2, group)
    assert first == pytest.approx(np.arange(group) / 2, abs=1e-4)
    assert second == pytest.approx(lines / 2 + np.arange(group) / 2, abs=1e-4)


@pytest.mark.parametrize("system", ["NTSC-M", "PAL-B/G"])
def test_line_sync_never_misses_a_line(system):
    """Whatever the pulse, one falls at the start of each line of the frame."""
    starts, _ = find_pulses_of_one_frame(system)
    whole = np.round(starts[np.abs(starts - np.round(starts)) < 1e-3])
    assert whole == pytest.approx(np.arange(SCANNING[system].lines))


@pytest.mark.parametrize("system", ["NTSC-M", "PAL-B/G"])
def test_interval_between_broad_pulses(system):
    """Serration 4.7 µs: half a line less the broad pulse (± 0.1 µs; ± 0.2 µs with 625 lines)."""
    starts, widths_us = find_pulses_of_one_frame(system)
    broad = np.nonzero(widths_us > 20)[0]
    half_line_us = 0.5e6 / float(SCANNING[system].line_hz)
    assert half_line_us - widths_us[broad] == pytest.approx(4.7, abs=0.1)
    assert np.diff(starts[broad])[0] == pytest.approx(0.5, abs=1e-4)


@pytest.mark.parametrize(("system", "fewest", "most"), [("NTSC-M", 19, 21), ("PAL-B/G", 25, 25)])
def test_field_blanking_of_the_sandcastle(system, fewest, most):
    """Half lines lifted to the field blanking level in one frame, as lines of one field."""
    levels = {"burst_key": "8 V", "line_blanking": "4.5 V", "field_blanking": "2.5 V"}
    waveform = Sandcastle.model_validate({"kind": "sandcastle", "system": system, **levels})
    line_s = float(1 / SCANNING[system].line_hz)
    in_picture_s = (np.arange(2 * SCANNING[system].lines) / 2 + 0.4) * line_s
    blanked_lines = np.isclose(waveform.volts(in_picture_s), 2.5).sum() / 4
    assert fewest <= blanked_lines <= most


@pytest.mark.parametrize(
    ("system", "burst_us", "picture_us"),
    [("NTSC-M", (5.3, 7.82), 9.4), ("PAL-B/G", (5.6, 7.86), 10.5)],
)
def test_burst_key_covers_the_burst(system, burst_us, picture_us):
    """Burst from 5.3 or 5.6 µs for 9 or 10 cycles; the key touches neither sync nor picture."""
    levels = {"burst_key": "8 V", "line_blanking": "4.5 V"}
    waveform = Sandcastle.model_validate({"kind": "sandcastle", "system": system, **levels})
    assert waveform.volts(np.linspace(*burst_us, 50) * 1e-6) == pytest.approx(8.0)
    assert waveform.volts(np.array([4.7, picture_us - 0.2]) * 1e-6) == pytest.approx(4.5, abs=1e-9)
