"""Colour bars after the colour decoder: the colour-difference signals, and red, green and blue.

Both float: black (and blanking) is 0 V in ``volts``, and the pin's DC voltage sets the mean.
"""

from functools import cached_property
from typing import ClassVar, Final, Literal

from ...quantities import print_value
from ..base import Example, PositivePeakToPeak
from ..colour_bars import BarPercent, bar_colours, compute_luminance, spread_over_line
from ..corners import Corners, compute_edge_bandwidth_hz
from ..line_rate import LineRate
from ..straight import Straight

_COLUMN: Final = {"red": 0, "green": 1, "blue": 2, "R-Y": 0, "G-Y": 1, "B-Y": 2}


class _Decoded(Straight, LineRate):
    """A staircase of eight levels each line, scaled to a peak-to-peak figure."""

    rise_s: ClassVar[float]
    bars: BarPercent
    """Amplitude of the coloured bars: 75 % or 100 %."""
    vpp: PositivePeakToPeak
    """Lowest to highest level."""
    polarity: Literal["positive", "negative"] = "positive"
    """Negative is upside down."""

    def _compute_levels(self) -> list[float]:
        """Return the eight levels in any unit, black at zero."""
        raise NotImplementedError

    @cached_property
    def corners(self) -> Corners:
        """The staircase in volts about black level."""
        levels = self._compute_levels()
        scale_v = self.vpp.nominal / (max(levels) - min(levels))
        if self.polarity == "negative":
            scale_v = -scale_v
        return spread_over_line(self.system, [scale_v * level for level in levels], self.rise_s)

    @property
    def fastest_hz(self) -> float:
        """The bandwidth of the edges between the bars: 0.35 over their rise time."""
        return compute_edge_bandwidth_hz(self.rise_s)

    @property
    def trigger(self) -> str:
        """There is no sync in the signal itself."""
        return "line sync from another point (external, TV line)"


class ColourDifference(_Decoded):
    """R-Y, G-Y or B-Y of colour bars."""

    rise_s = 0.35e-6  # edges after about 1 MHz of chroma bandwidth
    kind: Literal["colour difference"]
    example: ClassVar[Example] = {
        "system": "PAL-B/G",
        "axis": "R-Y",
        "bars": "75 %",
        "vpp": "1.05 Vpp",
    }
    axis: Literal["R-Y", "G-Y", "B-Y"]
    """Which of the three differences."""

    def _compute_levels(self) -> list[float]:
        column = _COLUMN[self.axis]
        colours = bar_colours(self.system, self.bars.nominal)
        return [colour[column] - compute_luminance(colour) for colour in colours]

    def describe(self) -> str:
        """Return axis, polarity, bars and amplitude in words."""
        axis = self.axis if self.polarity == "positive" else f"-({self.axis})"
        return (
            f"Colour-difference signal {axis} of {self.bars} {self.system} colour bars: "
            f"{print_value(self.vpp.nominal, 'Vpp')}, lines at {self.line_rate}."
        )


class RgbBars(_Decoded):
    """Red, green or blue of colour bars."""

    rise_s = 0.15e-6
    kind: Literal["RGB bars"]
    example: ClassVar[Example] = {
        "system": "PAL-B/G",
        "colour": "red",
        "bars": "75 %",
        "vpp": "2.4 Vpp",
    }
    colour: Literal["red", "green", "blue"]
    """Which of the three."""

    def _compute_levels(self) -> list[float]:
        column = _COLUMN[self.colour]
        return [colour[column] for colour in bar_colours(self.system, self.bars.nominal)]

    def describe(self) -> str:
        """Return colour, polarity, bars and amplitude in words."""
        way = "bars up" if self.polarity == "positive" else "bars down"
        return (
            f"The {self.colour} signal of {self.bars} {self.system} colour bars: "
            f"{print_value(self.vpp.nominal, 'Vpp')} from black to full bar, {way}, "
            f"lines at {self.line_rate}."
        )
