"""SECAM colour bars as composite video."""

from functools import cached_property
from typing import ClassVar, Literal

from pydantic import field_validator

from ...quantities import print_value
from ..base import Example, PositivePeakToPeak, Samples, refusal
from ..colour_bars import BarPercent, bar_colours
from ..line_rate import LineRate
from ..secam_carrier import (
    SECAM,
    compute_bell_v,
    compute_colour_carrier,
    compute_deviations_hz,
    find_rest_hz,
    list_bar_deviations,
)
from ..video_signal import compute_bar_figures, draw_luminance_line, draw_sync_line


def _check_secam(system: str) -> str:
    """Return the system; raise unless it is a SECAM system."""
    if system not in SECAM:
        raise refusal(f"system {system}", f"one of {', '.join(SECAM)}", "SECAM-B/G")
    return system


class SecamVideo(LineRate):
    """Luminance, sync and the frequency-modulated colour carrier of colour bars on one wire.

    It floats: blanking level is 0 V in ``volts``. ``period_s`` is two lines, one of each colour.
    """

    kind: Literal["SECAM video"]
    example: ClassVar[Example] = {"system": "SECAM-L", "bars": "75 %", "vpp": "1 Vpp"}
    bars: BarPercent
    """Amplitude of the coloured bars: 75 % or 100 %."""
    vpp: PositivePeakToPeak
    """Sync tip to reference (100 %) white."""
    sync: Literal["down", "up"] = "down"
    """Which way sync points."""

    _secam = field_validator("system")(_check_secam)

    @property
    def _scale_v(self) -> float:
        return self.vpp.nominal * (1 if self.sync == "down" else -1)

    @cached_property
    def _bars_hz(self) -> tuple[list[float], list[float]]:
        """Frequency of the carrier in the eight bars of a D'R and of a D'B line."""
        colours = bar_colours(self.system, self.bars.nominal)
        red_rest_hz, blue_rest_hz = find_rest_hz(self.system)
        pairs_hz = [compute_deviations_hz(colour) for colour in colours]
        return [red_rest_hz + hz for hz, _ in pairs_hz], [blue_rest_hz + hz for _, hz in pairs_hz]

    def volts(self, t_s: Samples) -> Samples:
        """Return volts about blanking level."""
        percent = self.bars.nominal
        luminance = draw_luminance_line(self.system, percent)(t_s) + draw_sync_line(self.system)(
            t_s
        )
        carrier = compute_colour_carrier(
            self.system, list_bar_deviations(self.system, percent), t_s
        )
        return self._scale_v * (luminance + carrier)

    @property
    def period_s(self) -> float:
        """A line of each colour."""
        return 2 * self.line_s

    @property
    def frequency_hz(self) -> float:
        """The line frequency."""
        return float(self.scanning.line_hz)

    @property
    def fastest_hz(self) -> float:
        """The carrier at its highest."""
        return max(map(max, self._bars_hz))

    @property
    def carrier_hz(self) -> float:
        """The higher of the rest frequencies."""
        return max(find_rest_hz(self.system))

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """Sync tip, the bar that reaches highest on either line, and the mean of the luminance."""
        import numpy as np

        bars = compute_bar_figures(self.system, self.bars.nominal)
        levels_v = np.array([bar.luminance_v for bar in bars])
        top = float(np.max(levels_v + compute_bell_v(self.system, np.array(self._bars_hz))))
        sync, luminance = (
            draw_sync_line(self.system),
            draw_luminance_line(self.system, self.bars.nominal),
        )
        low_v, high_v = sorted((self._scale_v * sync.low_v, self._scale_v * top))
        return low_v, high_v, self._scale_v * (luminance.mean_v + sync.mean_v)

    def describe(self) -> str:
        """Return system, bars, amplitude, sync and carrier in words."""
        red, blue = (print_value(hz, "Hz", 6) for hz in find_rest_hz(self.system))
        return (
            f"{self.system} composite video with {self.bars} colour bars: "
            f"{print_value(self.vpp.nominal, 'Vpp')} from sync tip to white, sync {self.sync}, "
            f"lines at {self.line_rate}, colour frequency-modulated about {red} and {blue} "
            f"on alternate lines."
        )
