"""Red field: one colour all over the picture, for purity and noise in colour."""

from functools import cached_property
from typing import ClassVar, Final, Literal

from ...quantities import print_value
from ...systems import VIDEO_LEVELS
from ..base import Example, Samples
from ..colour_bars import BAR_NAMES, BarPercent, bar_colours, compute_chrominance, spread_over_line
from ..corners import Corners
from ..picture_signal import PictureSignal
from ..secam_carrier import (
    SECAM,
    compute_bell_v,
    compute_colour_carrier,
    compute_deviations_hz,
    find_rest_hz,
)
from ..video_signal import BAR_RISE_S, compute_bar_figures, modulate_subcarrier

_RED: Final = BAR_NAMES.index("red")


class RedField(PictureSignal):
    """A picture all in red, for purity and noise in colour: chroma on its luminance."""

    kind: Literal["red field"]
    example: ClassVar[Example] = {"system": "PAL-B/G", "bars": "75 %", "vpp": "1 Vpp"}
    bars: BarPercent
    """The red is that of the red bar in bars of 75 % or 100 %."""

    @cached_property
    def picture(self) -> Corners:
        """The luminance of red all along."""
        red = compute_bar_figures(self.system, self.bars.nominal)[_RED]
        return spread_over_line(self.system, [red.luminance_v], BAR_RISE_S)

    @cached_property
    def _colours(self) -> tuple[Corners, Corners]:
        """U and V along the line; with SECAM the deviations on its two lines in hertz."""
        red = bar_colours(self.system, self.bars.nominal)[_RED]
        levels = VIDEO_LEVELS[self.system]
        if self.system in SECAM:
            first, second = compute_deviations_hz(red)
        else:
            span = float(levels.white - levels.black)
            first, second = (span * axis for axis in compute_chrominance(red))
        return (
            spread_over_line(self.system, [first], BAR_RISE_S),
            spread_over_line(self.system, [second], BAR_RISE_S),
        )

    def _colour(self, t_s: Samples) -> Samples:
        if self.system in SECAM:
            return compute_colour_carrier(self.system, self._colours, t_s)
        u, v = self._colours
        return modulate_subcarrier(self.system, u(t_s), v(t_s), t_s)

    @property
    def _colour_peak(self) -> float:
        import numpy as np

        if self.system in SECAM:
            red = bar_colours(self.system, self.bars.nominal)[_RED]
            hz = np.array(find_rest_hz(self.system)) + np.array(compute_deviations_hz(red))
            return float(compute_bell_v(self.system, hz).max())
        return compute_bar_figures(self.system, self.bars.nominal)[_RED].amplitude_v

    def describe(self) -> str:
        """Return red, its chroma and the amplitude in words."""
        chroma_v = 2 * self._colour_peak * self.vpp.nominal
        return (
            f"{self.system} red field of {self.bars}: chroma of {print_value(chroma_v, 'Vpp')} "
            f"on its luminance all along the line; {self._amplitude}."
        )
