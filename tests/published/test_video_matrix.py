"""The colour matrix against colour-science and the coefficients of the standards."""

import colour
import numpy as np
import pytest
from pinfolio.schema.waveforms.colour_bars import (
    BAR_NAMES,
    K_U,
    K_V,
    LUMA,
    bar_colours,
    compute_chrominance,
    compute_luminance,
)

PRIMARIES = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


def draw_random_colours():
    return np.random.default_rng(7).random((50, 3))


def test_matches_colour_science():
    """U = 1.772 K_U Cb and V = 1.402 K_V Cr (Recommendation ITU-R BT.601)."""
    rgb = draw_random_colours()
    ycbcr = colour.RGB_to_YCbCr(
        rgb, K=colour.WEIGHTS_YCBCR["ITU-R BT.601"], out_range=(0, 1, -0.5, 0.5)
    )
    u, v = np.transpose([compute_chrominance(tuple(one)) for one in rgb])
    assert [compute_luminance(tuple(one)) for one in rgb] == pytest.approx(ycbcr[:, 0])
    assert u == pytest.approx(1.772 * K_U * ycbcr[:, 1])
    assert v == pytest.approx(1.402 * K_V * ycbcr[:, 2])


def test_rows_of_the_matrix():
    """Published to three digits: U -0.147 -0.289 0.436, V 0.615 -0.515 -0.100."""
    u, v = np.transpose([compute_chrominance(colour) for colour in PRIMARIES])
    assert u == pytest.approx([-0.147, -0.289, 0.436], abs=0.0005)
    assert v == pytest.approx([0.615, -0.515, -0.100], abs=0.0005)
    assert [compute_luminance(colour) for colour in PRIMARIES] == pytest.approx(
        [0.299, 0.587, 0.114]
    )


def test_scale_of_u_and_v():
    """SMPTE 170M, from memory: 1/K_U = 2.0320617, 1/K_V = 1.1398827; BT.470-6 0.493, 0.877."""
    scale = np.array([K_U, K_V])
    assert 1 / scale == pytest.approx([2.0320617, 1.1398827], abs=2e-6)
    assert scale == pytest.approx([0.493, 0.877], abs=0.001)


def test_grey_has_no_colour():
    for level in (0.0, 0.25, 0.5, 0.75, 1.0):
        assert compute_chrominance((level, level, level)) == pytest.approx((0, 0))
    assert sum(LUMA) == pytest.approx(1)


def test_i_and_q_are_u_and_v_turned_by_33_degrees():
    """Published: I = 0.595716 -0.274453 -0.321263, Q = 0.211456 -0.522591 0.311135."""
    u, v = np.transpose([compute_chrominance(colour) for colour in PRIMARIES])
    turn = np.radians(33)
    i, q = v * np.cos(turn) - u * np.sin(turn), v * np.sin(turn) + u * np.cos(turn)
    assert i == pytest.approx([0.595716, -0.274453, -0.321263], abs=0.0003)
    assert q == pytest.approx([0.211456, -0.522591, 0.311135], abs=0.0003)


def test_bars_fall_in_luminance():
    """White to black in order of falling luminance (EBU, EIA-189-A)."""
    for system in ("NTSC-M", "PAL-B/G"):
        luminance = [compute_luminance(colour) for colour in bar_colours(system, 75)]
        assert len(luminance) == len(BAR_NAMES)
        assert luminance == sorted(set(luminance), reverse=True)
