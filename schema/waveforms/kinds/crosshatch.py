"""Crosshatch: white lines on black, for convergence and geometry."""

from functools import cached_property
from typing import ClassVar, Final, Literal

from ...systems import VIDEO_LEVELS
from ..base import Example, Samples
from ..colour_bars import spread_over_line
from ..corners import Change, Corners, compute_edge_bandwidth_hz
from ..picture_signal import PictureSignal
from ..video_signal import BAR_RISE_S

_SPOT_RISE_S: Final = 0.1e-6


class Crosshatch(PictureSignal):
    """White lines on black, for convergence and geometry: sixteen squares across, twelve down.

    So many are square on a 4:3 picture tube. ``period_s`` is the lines of one square: the first
    is white all along, the others show a white spot for each upright line.
    """

    squares_across: ClassVar[int] = 16
    squares_down: ClassVar[int] = 12
    spot_s: ClassVar[float] = 0.25e-6  # about the width of two picture elements
    kind: Literal["crosshatch"]
    example: ClassVar[Example] = {"system": "PAL-B/G", "vpp": "1 Vpp"}

    @property
    def lines_down(self) -> int:
        """Scan lines of one field from one level line to the next."""
        visible = self.scanning.lines // 2 - self.timing.field_blanking_lines
        return 2 * round(visible / self.squares_down / 2)  # both lines of SECAM alike

    @property
    def period_s(self) -> float:
        """The lines of one square."""
        return self.lines_down * self.line_s

    @cached_property
    def picture(self) -> Corners:
        """A line between two level lines: a spot for each upright line."""
        levels, timing = VIDEO_LEVELS[self.system], self.timing
        black, white = float(levels.black), float(levels.white)
        start_s, end_s = timing.picture_start_s, self.line_s - timing.front_porch_s
        changes = [Change(start_s, black, BAR_RISE_S)]
        across_s = (end_s - start_s) / self.squares_across
        for spot in range(self.squares_across):
            at_s = start_s + (spot + 0.5) * across_s
            changes += [
                Change(at_s - self.spot_s / 2, white, _SPOT_RISE_S),
                Change(at_s + self.spot_s / 2, black, _SPOT_RISE_S),
            ]
        return Corners.from_steps(self.line_s, [*changes, Change(end_s, 0.0, BAR_RISE_S)])

    @cached_property
    def level_line(self) -> Corners:
        """The line that is white all along."""
        white = float(VIDEO_LEVELS[self.system].white)
        return spread_over_line(self.system, [white], BAR_RISE_S)

    def _compute_volts_at_1_vpp(self, t_s: Samples) -> Samples:
        import numpy as np

        line = np.floor(np.multiply(t_s, float(self.scanning.line_hz)))
        extra = self.level_line(t_s) - self.picture(t_s)
        on_level_line = np.mod(line, self.lines_down) == 0
        return super()._compute_volts_at_1_vpp(t_s) + np.where(on_level_line, extra, 0.0)

    @property
    def _picture_mean(self) -> float:
        between = self.lines_down - 1
        return (between * self.picture.mean_v + self.level_line.mean_v) / self.lines_down

    @property
    def fastest_hz(self) -> float:
        """The bandwidth of the edges of the spots: 0.35 over their rise time."""
        return max(super().fastest_hz, compute_edge_bandwidth_hz(_SPOT_RISE_S))

    def describe(self) -> str:
        """Return squares and amplitude in words."""
        return (
            f"{self.system} crosshatch, white lines on black, {self.squares_across} squares "
            f"across and {self.squares_down} down: spots on most lines, one line in "
            f"{self.lines_down} white all along; {self._amplitude}."
        )
