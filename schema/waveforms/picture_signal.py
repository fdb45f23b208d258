"""Composite video of a test picture: the base of multiburst, staircase, crosshatch, red field.

Blanking level is 0 V in ``volts``; the pin's DC voltage sets the mean. The peak-to-peak figure is
sync tip to reference (100 %) white. Sync and burst are those of the picture lines; field blanking
is left out. With SECAM the colour carrier runs through.
"""

from functools import cached_property
from typing import Literal

from ..quantities import print_value
from .base import PositivePeakToPeak, Samples
from .corners import Corners
from .line_rate import LineRate
from .secam_carrier import SECAM, compute_bell_v, compute_colour_carrier, find_rest_hz
from .video_signal import draw_sync_line, modulate_subcarrier


class PictureSignal(LineRate):
    """A picture in grey on composite video: a subclass sets ``picture`` and adds its own."""

    vpp: PositivePeakToPeak
    """Sync tip to reference (100 %) white."""
    sync: Literal["down", "up"] = "down"
    """Which way sync points."""

    @property
    def _scale_v(self) -> float:
        return self.vpp.nominal * (1 if self.sync == "down" else -1)

    @property
    def picture(self) -> Corners:
        """Luminance of the picture along the line, without sync, on the scale of 1 Vpp."""
        raise NotImplementedError

    def _colour(self, t_s: Samples) -> Samples:
        """Return the burst, or the resting SECAM carrier, on the scale of 1 Vpp."""
        import numpy as np

        if self.system in SECAM:
            grey = Corners(self.line_s, (0.0,), (0.0,))
            return compute_colour_carrier(self.system, (grey, grey), t_s)
        grey_colour = np.zeros_like(t_s)
        return modulate_subcarrier(self.system, grey_colour, grey_colour, t_s)

    def _compute_volts_at_1_vpp(self, t_s: Samples) -> Samples:
        return self.picture(t_s) + draw_sync_line(self.system)(t_s) + self._colour(t_s)

    def volts(self, t_s: Samples) -> Samples:
        """Return volts about blanking level."""
        return self._scale_v * self._compute_volts_at_1_vpp(t_s)

    @property
    def frequency_hz(self) -> float:
        """The line frequency."""
        return float(self.scanning.line_hz)

    @property
    def fastest_hz(self) -> float:
        """The colour subcarrier."""
        return float(max(self.scanning.subcarrier_hz))

    @property
    def carrier_hz(self) -> float:
        """The colour subcarrier."""
        return float(max(self.scanning.subcarrier_hz))

    @property
    def _colour_peak(self) -> float:
        """How far colour reaches beyond the luminance, on the scale of 1 Vpp."""
        return _fill_resting(self.system)

    @property
    def _picture_mean(self) -> float:
        return self.picture.mean_v

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """Sync tip, the highest of the picture with its colour, and the mean of the luminance."""
        sync = draw_sync_line(self.system)
        top = self.picture.high_v + self._colour_peak
        low_v, high_v = sorted((self._scale_v * sync.low_v, self._scale_v * top))
        return low_v, high_v, self._scale_v * (self._picture_mean + sync.mean_v)

    @property
    def _amplitude(self) -> str:
        return (
            f"{print_value(self.vpp.nominal, 'Vpp')} from sync tip to white, sync {self.sync}, "
            f"lines at {self.line_rate}"
        )


def _fill_resting(system: str) -> float:
    """Return the amplitude of the colour carrier in grey: zero except in SECAM."""
    import numpy as np

    return (
        float(compute_bell_v(system, np.array(find_rest_hz(system))).max())
        if system in SECAM
        else 0.0
    )
