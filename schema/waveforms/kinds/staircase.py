"""Staircase: equal steps from black to white, for linearity."""

from functools import cached_property
from typing import Annotated, ClassVar, Literal

from pydantic import AfterValidator

from ...model import Whole
from ...quantities import print_value
from ...systems import VIDEO_LEVELS
from ..base import Example, refusal
from ..colour_bars import spread_over_line
from ..corners import Corners
from ..picture_signal import PictureSignal
from ..video_signal import BAR_RISE_S


def _check_five_or_ten(steps: int) -> int:
    """Return the number of steps; raise unless it is 5 or 10."""
    if steps not in (5, 10):
        raise refusal(f"{steps} steps", "5 or 10 steps", "steps: 5")
    return steps


class Staircase(PictureSignal):
    """Equal steps from black to white along the line, for linearity; grey without chroma.

    Five steps of 140 mV are those of insertion test line 17 (Recommendation ITU-T J.63).
    """

    kind: Literal["staircase"]
    example: ClassVar[Example] = {"system": "PAL-B/G", "vpp": "1 Vpp", "steps": "10"}
    steps: Annotated[Whole, AfterValidator(_check_five_or_ten)] = 5
    """Steps up from black to white: 5 or 10."""

    @cached_property
    def picture(self) -> Corners:
        """Black, and the steps up to white."""
        levels = VIDEO_LEVELS[self.system]
        black, step = float(levels.black), float(levels.white - levels.black) / self.steps
        heights = [black + n * step for n in range(self.steps + 1)]
        return spread_over_line(self.system, heights, BAR_RISE_S)

    def describe(self) -> str:
        """Return steps, their height and the amplitude in words."""
        levels = VIDEO_LEVELS[self.system]
        step_v = float(levels.white - levels.black) / self.steps * self.vpp.nominal
        return (
            f"{self.system} staircase of {self.steps} steps from black to white, "
            f"{print_value(step_v, 'V')} each; {self._amplitude}."
        )
