"""Colour bars as composite video, as luminance alone and as chrominance alone.

Each floats: blanking level is 0 V in ``volts``, and the pin's DC voltage sets the mean. The
peak-to-peak figure in the chip file of composite video and luminance is the trade's: sync tip to
reference (100 %) white, 140 IRE with 525 lines. The peak-to-peak on an oscilloscope
(``vpp_v``) is more with 100 % bars, whose chroma goes a third beyond white, and less where 75 %
bars without chroma stay below white.

``period_s`` is one line, which is the picture on the screen; the subcarrier and the PAL V switch
follow absolute time and so differ from line to line.
"""

from functools import cached_property
from typing import ClassVar, Literal

from pydantic import field_validator

from ...quantities import print_value
from ...systems import VIDEO_LEVELS
from ..base import Example, PositivePeakToPeak, Samples
from ..colour_bars import BarPercent
from ..line_rate import LineRate, check_quadrature
from ..video_signal import (
    compute_bar_figures,
    draw_luminance_line,
    draw_sync_line,
    tabulate_bars,
)


class _ColourBars(LineRate):
    """Colour bars of a system."""

    bars: BarPercent
    """Amplitude of the coloured bars: 75 % or 100 %."""

    @property
    def _subcarrier(self) -> str:
        return print_value(float(self.scanning.subcarrier_hz[0]), "Hz", 7)


class CompositeVideo(_ColourBars):
    """Luminance, sync, burst and chrominance on one wire."""

    kind: Literal["composite video"]
    example: ClassVar[Example] = {"system": "PAL-B/G", "bars": "75 %", "vpp": "1 Vpp"}
    vpp: PositivePeakToPeak
    """Sync tip to reference (100 %) white."""
    sync: Literal["down", "up"] = "down"
    """Which way sync points."""
    burst: PositivePeakToPeak | None = None
    """Burst, peak to peak, where a trap or a roll-off leaves less than the system sets; the colour
    of the bars follows."""

    _modulated = field_validator("system")(check_quadrature)

    @property
    def _scale_v(self) -> float:
        return self.vpp.nominal * (1 if self.sync == "down" else -1)

    @property
    def _whole_burst_v(self) -> float:
        return float(VIDEO_LEVELS[self.system].burst_pp) * self.vpp.nominal

    @property
    def _burst_v(self) -> float:
        return self._whole_burst_v if self.burst is None else self.burst.nominal

    @property
    def _colour_share(self) -> float:
        """The chrominance that is left, beside that of the system."""
        return self._burst_v / self._whole_burst_v

    def volts(self, t_s: Samples) -> Samples:
        """Return volts about blanking level."""
        colour_v = self._scale_v * self._colour_share
        return tabulate_bars(self.system, self.bars.nominal, self._scale_v, colour_v)(t_s)

    @property
    def parts_of_their_own(self) -> tuple[tuple[float, float], ...]:
        """The burst."""
        return ((self.carrier_hz, self._burst_v),)

    @property
    def fastest_hz(self) -> float:
        """The colour subcarrier."""
        return float(self.scanning.subcarrier_hz[0])

    @property
    def carrier_hz(self) -> float:
        """The colour subcarrier."""
        return self.fastest_hz

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """Sync tip or deepest bar, highest bar, and the mean of the luminance."""
        bars = compute_bar_figures(self.system, self.bars.nominal)
        share = self._colour_share
        bottom = min(bar.luminance_v - share * bar.amplitude_v for bar in bars)
        top = max(bar.luminance_v + share * bar.amplitude_v for bar in bars)
        sync = draw_sync_line(self.system)
        mean = draw_luminance_line(self.system, self.bars.nominal).mean_v + sync.mean_v
        low_v, high_v = sorted((self._scale_v * min(sync.low_v, bottom), self._scale_v * top))
        return low_v, high_v, self._scale_v * mean

    def describe(self) -> str:
        """Return system, bars, amplitude, sync, burst in words."""
        return (
            f"{self.system} composite video with {self.bars} colour bars: "
            f"{print_value(self.vpp.nominal, 'Vpp')} from sync tip to white, sync {self.sync}, "
            f"lines at {self.line_rate}, burst of {print_value(self._burst_v, 'Vpp')} at "
            f"{self._subcarrier}."
        )


class Luminance(_ColourBars):
    """The bars as a grey staircase with sync, without chrominance."""

    kind: Literal["luminance"]
    example: ClassVar[Example] = {"system": "NTSC-M", "bars": "75 %", "vpp": "1 Vpp"}
    vpp: PositivePeakToPeak
    """Sync tip to reference (100 %) white."""
    sync: Literal["down", "up"] = "down"
    """Which way sync points."""

    @property
    def _scale_v(self) -> float:
        return self.vpp.nominal * (1 if self.sync == "down" else -1)

    def volts(self, t_s: Samples) -> Samples:
        """Return volts about blanking level."""
        staircase = draw_luminance_line(self.system, self.bars.nominal)(t_s)
        return self._scale_v * (staircase + draw_sync_line(self.system)(t_s))

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """Sync tip, white bar and the mean."""
        staircase, sync = (
            draw_luminance_line(self.system, self.bars.nominal),
            draw_sync_line(self.system),
        )
        ends = sorted((self._scale_v * sync.low_v, self._scale_v * staircase.high_v))
        return ends[0], ends[1], self._scale_v * (staircase.mean_v + sync.mean_v)

    def describe(self) -> str:
        """Return system, bars, amplitude and sync in words."""
        return (
            f"{self.system} luminance of {self.bars} colour bars, a staircase from white to black "
            f"each line: {print_value(self.vpp.nominal, 'Vpp')} from sync tip to reference white, "
            f"sync {self.sync}, lines at {self.line_rate}."
        )


class Chrominance(_ColourBars):
    """Burst and modulated bars without luminance and sync."""

    kind: Literal["chrominance"]
    example: ClassVar[Example] = {"system": "PAL-B/G", "bars": "75 %", "burst": "300 mVpp"}
    burst: PositivePeakToPeak
    """Burst, peak to peak; the bars follow in the proportion the system sets."""

    _modulated = field_validator("system")(check_quadrature)

    @property
    def _scale_v(self) -> float:
        return self.burst.nominal / float(VIDEO_LEVELS[self.system].burst_pp)

    def volts(self, t_s: Samples) -> Samples:
        """Return volts about the middle of the chroma."""
        return tabulate_bars(self.system, self.bars.nominal, 0.0, self._scale_v)(t_s)

    @property
    def fastest_hz(self) -> float:
        """The colour subcarrier."""
        return float(self.scanning.subcarrier_hz[0])

    @property
    def carrier_hz(self) -> float:
        """The colour subcarrier."""
        return self.fastest_hz

    @property
    def amplitude_hz(self) -> float:
        """All of it is subcarrier."""
        return self.fastest_hz

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """The strongest bar, below and above zero."""
        bars = compute_bar_figures(self.system, self.bars.nominal)
        peak_v = self._scale_v * max(bar.amplitude_v for bar in bars)
        return -peak_v, peak_v, 0.0

    @property
    def trigger(self) -> str:
        """There is no sync in the signal itself."""
        return "line sync from another point (external, TV line)"

    def describe(self) -> str:
        """Return system, bars, burst, strongest bar in words."""
        return (
            f"{self.system} chrominance of {self.bars} colour bars: burst of "
            f"{print_value(self.burst.nominal, 'Vpp')} at {self._subcarrier}, red and cyan "
            f"the strongest at {print_value(self.vpp_v, 'Vpp')}, lines at {self.line_rate}."
        )
