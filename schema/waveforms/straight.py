"""The base of the kinds made of straight lines, with exact peaks and an exact mean."""

from functools import cached_property

from .base import Samples, Waveform
from .corners import Corners


class Straight(Waveform):
    """Base of the kinds whose volts run straight from corner to corner."""

    @cached_property
    def corners(self) -> Corners:
        """The corners of one period, in seconds and volts."""
        raise NotImplementedError

    def volts(self, t_s: Samples) -> Samples:
        """Return volts at the times ``t_s`` (seconds), same shape."""
        return self.corners(t_s)

    @property
    def period_s(self) -> float:
        """Time from a corner to the same corner again."""
        return self.corners.period_s

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """Lowest and highest corner, and the mean under the straight lines."""
        return self.corners.low_v, self.corners.high_v, self.corners.mean_v
