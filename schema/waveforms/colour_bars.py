"""The eight colour bars, and the matrix from red, green and blue to luminance and chrominance.

Coefficients: Recommendation ITU-R BT.601 and SMPTE 170M (0.299, 0.587, 0.114; U and V scaled so
that 100 % yellow and cyan both reach 4/3 of white). The older 0.30, 0.59, 0.11 of 47 CFR 73.682
differ by up to 0.4 % of white and are not used here.

Bars: with 525 lines all bars have the stated percentage (75/7.5/75/7.5 or 100/7.5/100/7.5;
SMPTE EG 1, EIA-189-A); with 625 lines the white bar of 75 % bars is at 100 % (100/0/75/0, EBU).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Final

from pydantic import AfterValidator

from ..quantities import Quantity
from ..quantities.fields import Percent
from ..systems import SCANNING, VIDEO_TIMING
from .base import refusal
from .corners import Change, Corners

Colour = tuple[float, float, float]
"""Red, green and blue, each from 0 to 1."""

LUMA: Final[Colour] = (0.299, 0.587, 0.114)
"""Weights of red, green and blue in luminance."""
K_U: Final = 0.492111
"""U over B-Y."""
K_V: Final = 0.877283
"""V over R-Y."""

BAR_NAMES: Final = ("white", "yellow", "cyan", "green", "magenta", "red", "blue", "black")
_BAR_PERCENTS: Final = (75.0, 100.0)
_COLOURED: Final = ((1, 1, 0), (0, 1, 1), (0, 1, 0), (1, 0, 1), (1, 0, 0), (0, 0, 1))


def _check_one_of_two(percent: Quantity) -> Quantity:
    """Return the percentage; raise unless it is 75 or 100."""
    if percent.nominal not in _BAR_PERCENTS:
        raise refusal(f"{percent} bars", "bars of 75 % or 100 %", "75 %")
    return percent


BarPercent = Annotated[Percent, AfterValidator(_check_one_of_two)]


def bar_colours(system: str, percent: float) -> tuple[Colour, ...]:
    """Return the colours of the eight bars from white to black."""
    share = percent / 100
    white = 1.0 if SCANNING[system].lines == 625 else share
    coloured = ((share * red, share * green, share * blue) for red, green, blue in _COLOURED)
    return ((white,) * 3, *coloured, (0.0,) * 3)


def compute_luminance(colour: Colour) -> float:
    """Return the luminance of a colour, 0 for black and 1 for white."""
    return sum(weight * part for weight, part in zip(LUMA, colour, strict=True))


def compute_chrominance(colour: Colour) -> tuple[float, float]:
    """Return U and V of a colour, in units of luminance from black to white."""
    red, _, blue = colour
    luminance = compute_luminance(colour)
    return K_U * (blue - luminance), K_V * (red - luminance)


def spread_over_line(system: str, levels: Sequence[float], rise_s: float) -> Corners:
    """Return levels equally spaced over the picture part of a line, zero in the blanking."""
    timing = VIDEO_TIMING[system]
    line_s = float(1 / SCANNING[system].line_hz)
    start_s, end_s = timing.picture_start_s, line_s - timing.front_porch_s
    each_s = (end_s - start_s) / len(levels)
    steps = [Change(start_s + n * each_s, level, rise_s) for n, level in enumerate(levels)]
    return Corners.from_steps(line_s, (*steps, Change(end_s, 0.0, rise_s)))
