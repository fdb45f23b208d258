"""The eight colour bars, and the matrix from red, green and blue to luminance and chrominance.

Coefficients: Recommendation ITU-R BT.601 and SMPTE 170M (0.299, 0.587, 0.114; U and V scaled so
that 100 % yellow and cyan both reach 4/3 of white). The older 0.30, 0.59, 0.11 of 47 CFR 73.682
differ by up to 0.4 % of white and are not used here.

Bars: with 525 lines all bars have the stated percentage (75/7.5/75/7.5 or 100/7.5/100/7.5;
SMPTE EG 1, EIA-189-A); with 625 lines the white bar of 75 % bars is at 100 % (100/0/75/0, EBU).
"""

from __future__ import annotations

from typing import Annotated, Final

import numpy as np
from pydantic import AfterValidator

from ..quantities import Quantity
from ..quantities.fields import Percent
from ..systems import SCANNING, VIDEO_TIMING
from .base import Samples, refusal
from .corners import Change, Corners

LUMA: Final = np.array([0.299, 0.587, 0.114])
"""Weights of red, green and blue in luminance."""
K_U: Final = 0.492111
"""U over B-Y."""
K_V: Final = 0.877283
"""V over R-Y."""

BAR_NAMES: Final = ("white", "yellow", "cyan", "green", "magenta", "red", "blue", "black")
_BAR_PERCENTS: Final = (75.0, 100.0)
_FULL_BARS: Final = np.array(
    [[1, 1, 1], [1, 1, 0], [0, 1, 1], [0, 1, 0], [1, 0, 1], [1, 0, 0], [0, 0, 1], [0, 0, 0]],
    dtype=float,
)


def _one_of_two(percent: Quantity) -> Quantity:
    """Return the percentage; raise unless it is 75 or 100."""
    if percent.nominal not in _BAR_PERCENTS:
        raise refusal(f"{percent} bars", "bars of 75 % or 100 %", "75 %")
    return percent


BarPercent = Annotated[Percent, AfterValidator(_one_of_two)]


def bar_colours(system: str, percent: float) -> Samples:
    """Return red, green and blue of the eight bars from white to black, 0 to 1: shape (8, 3)."""
    bars = _FULL_BARS * percent / 100
    if SCANNING[system].lines == 625:
        bars[0] = 1.0
    return bars


def luminance_of(rgb: Samples) -> Samples:
    """Return the luminance of colours of shape (..., 3)."""
    return np.asarray(rgb @ LUMA)


def chrominance_of(rgb: Samples) -> tuple[Samples, Samples]:
    """Return U and V of colours of shape (..., 3), in units of luminance from black to white."""
    luminance = luminance_of(rgb)
    return K_U * (rgb[..., 2] - luminance), K_V * (rgb[..., 0] - luminance)


def spread_over_line(system: str, levels: Samples, rise_s: float) -> Corners:
    """Return levels equally spaced over the picture part of a line, zero in the blanking."""
    timing = VIDEO_TIMING[system]
    line_s = float(1 / SCANNING[system].line_hz)
    starts_s = np.linspace(timing.picture_start_s, line_s - timing.front_porch_s, len(levels) + 1)
    values = [*levels, 0.0]
    return Corners.from_steps(
        line_s, (Change(float(t), float(v), rise_s) for t, v in zip(starts_s, values, strict=True))
    )
