"""Test signals on composite video: multiburst, staircase, crosshatch and red field.

Each floats: blanking level is 0 V in ``volts``, and the pin's DC voltage sets the mean. The
peak-to-peak figure is sync tip to reference (100 %) white. Sync and burst are those of the lines
of the picture; field blanking is not reckoned. With SECAM the colour carrier runs through.

Multiburst: 625 lines as insertion test line 18 of Recommendation ITU-T J.63; 525 lines with the
frequencies and levels of the NTC-7 combination signal, spread over the line (common practice).
PAL-N, whose video ends at 4.2 MHz, has the frequencies of 525 lines (from memory).
"""

from __future__ import annotations

from functools import cached_property, lru_cache
from typing import Annotated, ClassVar, Final, Literal, NamedTuple

import numpy as np
from pydantic import AfterValidator

from ..model import Whole
from ..quantity import print_value
from ..systems import SCANNING, VIDEO_LEVELS
from .base import PositivePeakToPeak, Samples, refusal
from .colour_bars import BAR_NAMES, BarPercent, across_the_line, bar_colours, chrominance_of
from .corners import Change, Corners
from .line_rate import LineRate
from .secam import SECAM, bell_v, colour_carrier, deviations_hz, rest_hz
from .video_signal import BAR_RISE_S, bar_figures, modulated, sync_line

_RED: Final = BAR_NAMES.index("red")
_EDGE_S: Final = 0.2e-6


class _TestSignal(LineRate):
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
        """Burst, or the resting SECAM carrier, on the scale of 1 Vpp."""
        if self.system in SECAM:
            grey = Corners(self.line_s, (0.0,), (0.0,))
            return colour_carrier(self.system, (grey, grey), t_s)
        grey_colour = np.zeros_like(t_s)
        return modulated(self.system, grey_colour, grey_colour, t_s)

    def _volts_at_1_vpp(self, t_s: Samples) -> Samples:
        return self.picture(t_s) + sync_line(self.system)(t_s) + self._colour(t_s)

    def volts(self, t_s: Samples) -> Samples:
        """Volts about blanking level."""
        return self._scale_v * self._volts_at_1_vpp(t_s)

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
        return _resting(self.system)

    @property
    def _picture_mean(self) -> float:
        return self.picture.mean_v

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """Sync tip, the highest of the picture with its colour, and the mean of the luminance."""
        sync = sync_line(self.system)
        top = self.picture.high_v + self._colour_peak
        low_v, high_v = sorted((self._scale_v * sync.low_v, self._scale_v * top))
        return low_v, high_v, self._scale_v * (self._picture_mean + sync.mean_v)

    @property
    def _amplitude(self) -> str:
        return (
            f"{print_value(self.vpp.nominal, 'Vpp')} from sync tip to white, sync {self.sync}, "
            f"lines at {self.line_rate}"
        )


def _resting(system: str) -> float:
    """Amplitude of the colour carrier in grey: none but in SECAM."""
    return float(bell_v(system, np.array(rest_hz(system))).max()) if system in SECAM else 0.0


class Packets(NamedTuple):
    """Packets of sine waves on grey, after a flag; times in seconds from 0H, levels of 1 Vpp."""

    flag: tuple[Change, ...]
    grey: float
    amplitude: float
    starts_s: tuple[float, ...]
    lasts_s: float
    frequencies_hz: tuple[float, ...]


_TO_4_2_MHZ: Final = (0.5e6, 1e6, 2e6, 3e6, 3.58e6, 4.2e6)
_TO_5_8_MHZ: Final = (0.5e6, 1e6, 2e6, 4e6, 4.8e6, 5.8e6)
_LINE_18: Final = Packets(
    flag=(Change(12e-6, 0.56, _EDGE_S), Change(16e-6, 0.14, _EDGE_S), Change(20e-6, 0.35, _EDGE_S)),
    grey=0.35,
    amplitude=0.21,
    starts_s=(24e-6, 30e-6, 36e-6, 42e-6, 48e-6, 54e-6),
    lasts_s=4e-6,
    frequencies_hz=_TO_5_8_MHZ,
)
_NTC_7: Final = Packets(
    flag=(Change(12e-6, 100 / 140, _EDGE_S), Change(16e-6, 50 / 140, _EDGE_S)),
    grey=50 / 140,
    amplitude=25 / 140,
    starts_s=(18e-6, 25e-6, 32e-6, 39e-6, 46e-6, 53e-6),
    lasts_s=5e-6,
    frequencies_hz=_TO_4_2_MHZ,
)


def packets(system: str) -> Packets:
    """The multiburst of a system."""
    if SCANNING[system].lines == 525:
        return _NTC_7
    return _LINE_18._replace(frequencies_hz=_TO_4_2_MHZ) if system == "PAL-N" else _LINE_18


class Multiburst(_TestSignal):
    """A flag and six packets of sine waves of rising frequency: what is left of each is seen."""

    kind: Literal["multiburst"]

    @cached_property
    def picture(self) -> Corners:
        """The flag, and the grey that the packets stand on."""
        end_s = self.line_s - self.timing.front_porch_s
        return Corners.stepping(
            self.line_s, (*packets(self.system).flag, Change(end_s, 0.0, _EDGE_S))
        )

    def _volts_at_1_vpp(self, t_s: Samples) -> Samples:
        return super()._volts_at_1_vpp(t_s) + _packets_of(self.system, t_s)

    @property
    def fastest_hz(self) -> float:
        """The last packet, or the colour subcarrier."""
        return max(super().fastest_hz, packets(self.system).frequencies_hz[-1])

    def describes(self) -> str:
        """Frequencies, levels and amplitude in words."""
        shape = packets(self.system)
        *most, last = (f"{hz / 1e6:g}" for hz in shape.frequencies_hz)
        packet_v = 2 * shape.amplitude * self.vpp.nominal
        return (
            f"{self.system} multiburst: a flag, then packets of {', '.join(most)} and {last} MHz, "
            f"{print_value(packet_v, 'Vpp')} each on grey; {self._amplitude}."
        )


@lru_cache(maxsize=16)
def _packet_gate(system: str) -> Corners:
    """1 while a packet lasts, 0 otherwise."""
    shape = packets(system)
    changes: list[Change] = []
    for start_s in shape.starts_s:
        changes += [Change(start_s, 1.0, _EDGE_S), Change(start_s + shape.lasts_s, 0.0, _EDGE_S)]
    return Corners.stepping(float(1 / SCANNING[system].line_hz), changes)


def _packets_of(system: str, t_s: Samples) -> Samples:
    shape = packets(system)
    rest_s = np.mod(t_s, float(1 / SCANNING[system].line_hz))
    starts_s = np.array(shape.starts_s)
    # Half of an edge lies before the start of its packet.
    which = np.searchsorted(starts_s - _EDGE_S, rest_s, side="right").clip(1) - 1
    cycles = np.array(shape.frequencies_hz)[which] * (rest_s - starts_s[which])
    return np.asarray(shape.amplitude * _packet_gate(system)(rest_s) * np.sin(2 * np.pi * cycles))


def _five_or_ten(steps: int) -> int:
    if steps not in (5, 10):
        raise refusal(f"{steps} steps", "5 or 10 steps", "steps: 5")
    return steps


class Staircase(_TestSignal):
    """Equal steps from black to white along the line, for linearity; grey without chroma.

    Five steps of 140 mV are those of insertion test line 17 (Recommendation ITU-T J.63).
    """

    kind: Literal["staircase"]
    steps: Annotated[Whole, AfterValidator(_five_or_ten)] = 5
    """Steps up from black to white: 5 or 10."""

    @cached_property
    def picture(self) -> Corners:
        """Black, and the steps up to white."""
        levels = VIDEO_LEVELS[self.system]
        heights = np.linspace(float(levels.black), float(levels.white), self.steps + 1)
        return across_the_line(self.system, heights, BAR_RISE_S)

    def describes(self) -> str:
        """Steps, their height and the amplitude in words."""
        levels = VIDEO_LEVELS[self.system]
        step_v = float(levels.white - levels.black) / self.steps * self.vpp.nominal
        return (
            f"{self.system} staircase of {self.steps} steps from black to white, "
            f"{print_value(step_v, 'V')} each; {self._amplitude}."
        )


class Crosshatch(_TestSignal):
    """White lines on black, for convergence and geometry: sixteen squares across, twelve down.

    So many are square on a 4:3 picture tube. ``period_s`` is the lines of one square: the first
    is white all along, the others show a white spot for each upright line.
    """

    squares_across: ClassVar[int] = 16
    squares_down: ClassVar[int] = 12
    spot_s: ClassVar[float] = 0.25e-6  # about the width of two picture elements
    kind: Literal["crosshatch"]

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
                Change(at_s - self.spot_s / 2, white, _EDGE_S / 2),
                Change(at_s + self.spot_s / 2, black, _EDGE_S / 2),
            ]
        return Corners.stepping(self.line_s, [*changes, Change(end_s, 0.0, BAR_RISE_S)])

    @cached_property
    def level_line(self) -> Corners:
        """The line that is white all along."""
        white = np.array([float(VIDEO_LEVELS[self.system].white)])
        return across_the_line(self.system, white, BAR_RISE_S)

    def _volts_at_1_vpp(self, t_s: Samples) -> Samples:
        line = np.floor(np.multiply(t_s, float(self.scanning.line_hz)))
        extra = self.level_line(t_s) - self.picture(t_s)
        on_level_line = np.mod(line, self.lines_down) == 0
        return super()._volts_at_1_vpp(t_s) + np.where(on_level_line, extra, 0.0)

    @property
    def _picture_mean(self) -> float:
        between = self.lines_down - 1
        return (between * self.picture.mean_v + self.level_line.mean_v) / self.lines_down

    @property
    def fastest_hz(self) -> float:
        """What the edges of the spots take: 0.35 over their rise time."""
        return max(super().fastest_hz, 0.35 / (_EDGE_S / 2))

    def describes(self) -> str:
        """Squares and amplitude in words."""
        return (
            f"{self.system} crosshatch, white lines on black, {self.squares_across} squares "
            f"across and {self.squares_down} down: spots on most lines, one line in "
            f"{self.lines_down} white all along; {self._amplitude}."
        )


class RedField(_TestSignal):
    """A picture all in red, for purity and noise in colour: chroma on its luminance."""

    kind: Literal["red field"]
    bars: BarPercent
    """The red is that of the red bar in bars of 75 % or 100 %."""

    @cached_property
    def picture(self) -> Corners:
        """The luminance of red all along."""
        red = bar_figures(self.system, self.bars.nominal)[_RED]
        return across_the_line(self.system, np.array([red.luminance_v]), BAR_RISE_S)

    @cached_property
    def _colours(self) -> tuple[Corners, Corners]:
        """U and V along the line; with SECAM the deviations on its two lines in hertz."""
        rgb = bar_colours(self.system, self.bars.nominal)[_RED]
        levels = VIDEO_LEVELS[self.system]
        if self.system in SECAM:
            pair = deviations_hz(rgb)
        else:
            span = float(levels.white - levels.black)
            u, v = chrominance_of(rgb)
            pair = span * u, span * v
        along = [across_the_line(self.system, np.atleast_1d(c), BAR_RISE_S) for c in pair]
        return along[0], along[1]

    def _colour(self, t_s: Samples) -> Samples:
        if self.system in SECAM:
            return colour_carrier(self.system, self._colours, t_s)
        u, v = self._colours
        return modulated(self.system, u(t_s), v(t_s), t_s)

    @property
    def _colour_peak(self) -> float:
        if self.system in SECAM:
            rgb = bar_colours(self.system, self.bars.nominal)[_RED]
            hz = np.array(rest_hz(self.system)) + np.array(deviations_hz(rgb))
            return float(bell_v(self.system, hz).max())
        return bar_figures(self.system, self.bars.nominal)[_RED].amplitude_v

    def describes(self) -> str:
        """Red, its chroma and the amplitude in words."""
        chroma_v = 2 * self._colour_peak * self.vpp.nominal
        return (
            f"{self.system} red field of {self.bars}: chroma of {print_value(chroma_v, 'Vpp')} "
            f"on its luminance all along the line; {self._amplitude}."
        )
