"""Vectors of the colour bars, computed and measured on composite video, against printed tables.

NTSC 100 %: a published table to four decimals; NTSC 75 %: by the same formula, and the usual
rounded table; PAL 75 %: EBU bars, to 0.01 mV and 0.01° from the BT.601 matrix. Burst 40 IRE in
NTSC, 300 mV in PAL (SMPTE 170M, ITU-R BT.470-6).
"""

import numpy as np
import pytest
from pinfolio.schema.systems import SCANNING
from pinfolio.schema.waveforms.kinds.composite_video import CompositeVideo
from pinfolio.schema.waveforms.vectors import (
    find_burst_phases_deg,
    list_bar_vectors,
    list_burst_vectors,
    list_vector_points,
    measure_vectors,
)

COLOURS = ("yellow", "cyan", "green", "magenta", "red", "blue")
PHASES_DEG = (167.0812, 283.4558, 240.7098, 60.7098, 103.4558, 347.0812)
# Chroma peak to peak: NTSC in IRE with a burst of 40, PAL in mV with a burst of 300.
TABLES = {
    ("NTSC-M", 100): (40, (82.7567, 116.9816, 109.2338, 109.2338, 116.9816, 82.7567)),
    ("NTSC-M", 75): (40, (62.0675, 87.7362, 81.9253, 81.9253, 87.7362, 62.0675)),
    ("NTSC-J", 75): (40, (67.100, 94.850, 88.568, 88.568, 94.850, 67.100)),
    ("PAL-M", 75): (40, (62.0675, 87.7362, 81.9253, 81.9253, 87.7362, 62.0675)),
    ("PAL-B/G", 75): (300, (469.70, 663.95, 619.98, 619.98, 663.95, 469.70)),
    ("PAL-N", 100): (300, (626.27, 885.27, 826.63, 826.63, 885.27, 626.27)),
}


def read_table(system, bars):
    burst, chroma = TABLES[system, bars]
    return COLOURS, [c / burst for c in chroma], PHASES_DEG


def sample_composite_line(system, bars, line, upside_down=False):
    """Samples of one line at 8 ns, as a digitising oscilloscope takes them."""
    waveform = CompositeVideo.model_validate(
        {
            "kind": "composite video",
            "system": system,
            "bars": f"{bars} %",
            "vpp": "2 Vpp",
            "sync": "up" if upside_down else "down",
        }
    )
    line_s = float(1 / SCANNING[system].line_hz)
    t_s = (line + np.arange(0, 1, 8e-9 / line_s)) * line_s
    return waveform.volts(t_s), t_s


@pytest.mark.parametrize(("system", "bars"), TABLES)
def test_computed_vectors_are_those_of_the_tables(system, bars):
    names, amplitudes, phases = read_table(system, bars)
    found_names, found_amplitudes, found_phases = zip(*list_bar_vectors(system, bars), strict=True)
    assert found_names == names
    assert found_amplitudes == pytest.approx(amplitudes, rel=1e-4)
    assert found_phases == pytest.approx(phases, abs=0.01)


@pytest.mark.parametrize(("system", "bars"), TABLES)
@pytest.mark.parametrize("line", [0, 1, 202, 203])
def test_vectors_measured_on_composite_video_are_those_of_the_tables(system, bars, line):
    names, amplitudes, phases = read_table(system, bars)
    measured = measure_vectors(*sample_composite_line(system, bars, line), system)
    assert tuple(vector.name for vector in measured) == names
    assert [vector.amplitude for vector in measured] == pytest.approx(amplitudes, rel=2e-3)
    assert [vector.phase_deg for vector in measured] == pytest.approx(phases, abs=0.1)


@pytest.mark.parametrize("system", ["NTSC-M", "PAL-B/G"])
def test_phase_and_gain_of_the_way_there_do_not_matter(system):
    """An inverting stage turns burst and bars alike: a decoder locked to the burst sees no odds."""
    upright = measure_vectors(*sample_composite_line(system, 75, 4), system)
    inverted = measure_vectors(*sample_composite_line(system, 75, 4, upside_down=True), system)
    for before, after in zip(upright, inverted, strict=True):
        assert after == pytest.approx(before)


def test_usual_rounded_table_of_ntsc():
    """75 % bars in IRE peak to peak: 62, 88, 82, 82, 88, 62 (SMPTE EG 1, from memory)."""
    rounded = [round(40 * vector.amplitude) for vector in list_bar_vectors("NTSC-M", 75)]
    assert rounded == [62, 88, 82, 82, 88, 62]


def test_burst():
    """NTSC at 180° from +U; PAL at +135° and -135° on alternate lines, 45° about -U."""
    assert find_burst_phases_deg("NTSC-M") == find_burst_phases_deg("NTSC-J") == (180,)
    for system in ("PAL-B/G", "PAL-D/K", "PAL-I", "PAL-M", "PAL-N"):
        assert find_burst_phases_deg(system) == (135, -135)
    assert list_burst_vectors("PAL-I") == (("burst", 1.0, 135), ("burst", 1.0, 225))
    assert list_burst_vectors("NTSC-M") == (("burst", 1.0, 180),)


def test_complementary_colours_lie_opposite():
    """Two colours that make white cancel in chroma (textbook): yellow-blue, cyan-red."""
    points = {name: np.array([u, v]) for name, u, v in list_vector_points("PAL-B/G", 100)}
    for one, other in (("yellow", "blue"), ("cyan", "red"), ("green", "magenta")):
        assert points[one] == pytest.approx(-points[other])


def test_primary_components_of_pal():
    """Printed for 75 % bars in mV: red U -77.25, V 322.86; blue U 228.91, V -52.51."""
    points = {name: (u * 150, v * 150) for name, u, v in list_vector_points("PAL-B/G", 75)}
    assert points["red"] == pytest.approx((-77.25, 322.86), abs=0.02)
    assert points["blue"] == pytest.approx((228.91, -52.51), abs=0.02)


def test_a_bar_and_the_burst_are_measured_in_their_middle():
    """A fifth at either end is left to the edges, so a fault there does not count."""
    volts, t_s = sample_composite_line("PAL-B/G", 75, 0)
    clean = measure_vectors(volts, t_s, "PAL-B/G")
    edges_s = np.linspace(10.5e-6, 64e-6 - 1.5e-6, 9)  # of the eight bars of a line
    width_s = edges_s[1] - edges_s[0]
    for share, counts in ((0.18, False), (0.22, True)):
        faulty = volts.copy()
        for edge_s in edges_s[1:-1]:
            faulty[np.abs(t_s - edge_s) < share * width_s] = 0.3
        found = measure_vectors(faulty, t_s, "PAL-B/G")
        off = max(abs(f.amplitude - c.amplitude) for f, c in zip(found, clean, strict=True))
        assert (off > 1e-3) == counts


@pytest.mark.parametrize(("samples", "enough"), [(8, True), (7, False)])
def test_eight_samples_fix_a_vector(samples, enough):
    """Of the burst, which lasts 2.26 µs, 1.35 µs count; elsewhere the line is sampled finely."""
    volts, t_s = sample_composite_line("PAL-B/G", 75, 0)
    middle = np.flatnonzero(np.abs(t_s - (5.6e-6 + 1.128e-6)) < 0.6 * 1.128e-6 - 8e-9)
    kept = middle[np.linspace(3, len(middle) - 4, samples).astype(int)]
    others = np.flatnonzero(t_s > 9e-6)
    chosen = np.concatenate([kept, others])
    if enough:
        measured = measure_vectors(volts[chosen], t_s[chosen], "PAL-B/G")
        clean = measure_vectors(volts, t_s, "PAL-B/G")
        assert [v.amplitude for v in measured] == pytest.approx(
            [v.amplitude for v in clean], rel=0.05
        )
    else:
        with pytest.raises(ValueError, match=r"7 samples from 5\.6 .* 8 or more"):
            measure_vectors(volts[chosen], t_s[chosen], "PAL-B/G")


def test_refuses_what_has_no_vectors():
    volts, t_s = sample_composite_line("PAL-B/G", 75, 0)
    for ask in (find_burst_phases_deg, lambda system: measure_vectors(volts, t_s, system)):
        with pytest.raises(ValueError, match="SECAM-L has no vectors"):
            ask("SECAM-L")
    with pytest.raises(ValueError, match="SECAM-L has no vectors"):
        list_bar_vectors("SECAM-L", 75)
    with pytest.raises(ValueError, match="no burst"):
        measure_vectors(np.zeros_like(t_s), t_s, "PAL-B/G")
    with pytest.raises(ValueError, match=r"0 samples from 5\.6 to 7\.9 µs after 0H"):
        measure_vectors(volts[2000:], t_s[2000:], "PAL-B/G")
