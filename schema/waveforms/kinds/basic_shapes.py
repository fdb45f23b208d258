"""Shapes from the textbook: steady level, sine, pulse, sawtooth, parabola."""

from functools import cached_property
from typing import ClassVar, Final, Literal, Self

from pydantic import model_validator

from ...quantities import print_value
from ...quantities.fields import Duration, Percent, Voltage
from ..base import (
    Example,
    PositiveDuration,
    PositiveFrequency,
    PositivePeakToPeak,
    Samples,
    Waveform,
    check_rising,
    refusal,
)
from ..corners import WHOLE_EDGE, Change, Corners, compute_edge_bandwidth_hz
from ..straight import Straight

_ASSUMED_EDGE: Final = 0.1  # rise time of an edge without one, over the pulse or the gap
_MOST_RETRACE: Final = 0.5  # of the period


class Steady(Waveform):
    """A level that does not move."""

    floats: ClassVar[bool] = False
    kind: Literal["steady"]
    example: ClassVar[Example] = {"level": "5 V"}
    level: Voltage
    """The level."""

    def volts(self, t_s: Samples) -> Samples:
        """Return the level, at any time."""
        import numpy as np

        return np.full(np.shape(t_s), self.level.nominal)

    @property
    def period_s(self) -> float:
        """A steady level has no period."""
        return 0.0

    @property
    def trigger(self) -> str:
        """Nothing to trigger on."""
        return "none needed: free-running sweep"

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """The level, three times."""
        return (self.level.nominal,) * 3

    def describe(self) -> str:
        """Return the level in words."""
        return f"A steady {print_value(self.level.nominal, 'V')}, no signal on it."


class Sine(Waveform):
    """A sine wave: v = vpp/2 sin(2 pi f t)."""

    kind: Literal["sine"]
    example: ClassVar[Example] = {"frequency": "4.43361875 MHz", "vpp": "450 mVpp"}
    frequency: PositiveFrequency
    """Frequency."""
    vpp: PositivePeakToPeak
    """Peak-to-peak amplitude."""

    def volts(self, t_s: Samples) -> Samples:
        """Return sine about zero, rising through zero at t = 0."""
        import numpy as np

        return self.vpp.nominal / 2 * np.sin(2 * np.pi * self.frequency.nominal * t_s)

    @property
    def period_s(self) -> float:
        """One cycle."""
        return 1 / self.frequency.nominal

    @property
    def fastest_hz(self) -> float:
        """A sine wave has no harmonics."""
        return self.frequency.nominal

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """Half the peak to peak below and above zero."""
        return -self.vpp.nominal / 2, self.vpp.nominal / 2, 0.0

    def describe(self) -> str:
        """Return amplitude and frequency in words."""
        return f"A sine wave of {print_value(self.vpp.nominal, 'Vpp')} at {self.frequency}."


class Pulse(Straight):
    """A pulse train between two levels; t = 0 is half-way up the leading edge."""

    floats: ClassVar[bool] = False
    kind: Literal["pulse"]
    example: ClassVar[Example] = {
        "frequency": "15.625 kHz",
        "low": "0.2 V",
        "high": "5 V",
        "width": "12 µs",
    }
    frequency: PositiveFrequency
    """Repetition frequency."""
    low: Voltage
    """Level between the pulses."""
    high: Voltage
    """Level of the pulse."""
    width: PositiveDuration | None = None
    """Duration at half height; give this or ``duty``."""
    duty: Percent | None = None
    """Share of the period spent at the high level; give this or ``width``."""
    rise: Duration | None = None
    """Rise time from 10 to 90 %; at once when not given."""
    fall: Duration | None = None
    """Fall time from 90 to 10 %; at once when not given."""

    @model_validator(mode="after")
    def _check_shape(self) -> Self:
        """Raise for levels, a width or edges that make no pulse."""
        check_rising(self.low, self.high)
        if (self.width is None) == (self.duty is None):
            found_text = "neither width nor duty" if self.width is None else "both width and duty"
            raise refusal(found_text, "exactly one of width and duty", "duty: 50 %")
        period_s = 1 / self.frequency.nominal
        if not 0 < self.width_s < period_s:
            found_text = f"width {self.width}" if self.width else f"duty {self.duty}"
            raise refusal(
                found_text,
                f"a pulse shorter than its period of {print_value(period_s, 's')}",
                "duty: 50 %",
            )
        edges_s = (self._rise_s + self._fall_s) * WHOLE_EDGE / 2
        shorter_s = min(self.width_s, period_s - self.width_s)
        if min(self._rise_s, self._fall_s) < 0 or edges_s > shorter_s:
            raise refusal(
                f"rise {self.rise or '0 s'} and fall {self.fall or '0 s'}",
                f"edges that fit in {print_value(shorter_s, 's')}",
                f"rise: {print_value(shorter_s / 10, 's')}",
            )
        return self

    @property
    def width_s(self) -> float:
        """Duration of the pulse at half height, in seconds."""
        if self.width is not None:
            return self.width.nominal
        share = self.duty.nominal / 100 if self.duty is not None else 0.0
        return share / self.frequency.nominal

    @property
    def _rise_s(self) -> float:
        return self.rise.nominal if self.rise is not None else 0.0

    @property
    def _fall_s(self) -> float:
        return self.fall.nominal if self.fall is not None else 0.0

    @cached_property
    def corners(self) -> Corners:
        """Up at t = 0, down after the width."""
        up = Change(0.0, self.high.nominal, self._rise_s)
        down = Change(self.width_s, self.low.nominal, self._fall_s)
        return Corners.from_steps(1 / self.frequency.nominal, (up, down))

    @property
    def fastest_hz(self) -> float:
        """The bandwidth of the faster edge: 0.35 over its rise time.

        An edge without a stated time counts as a tenth of the pulse or of the gap.
        """
        shorter_s = min(self.width_s, self.period_s - self.width_s)
        assumed_s = shorter_s * _ASSUMED_EDGE
        return compute_edge_bandwidth_hz(min(self._rise_s or assumed_s, self._fall_s or assumed_s))

    def describe(self) -> str:
        """Return levels, width and frequency in words."""
        return (
            f"Pulses from {print_value(self.low.nominal, 'V')} to "
            f"{print_value(self.high.nominal, 'V')} at {self.frequency}, "
            f"each {print_value(self.width_s, 's')} wide."
        )


class Sawtooth(Straight):
    """A sawtooth about zero; t = 0 is the start of the scan, the slow part."""

    kind: Literal["sawtooth"]
    example: ClassVar[Example] = {"frequency": "50 Hz", "vpp": "1.6 Vpp", "retrace": "6 %"}
    frequency: PositiveFrequency
    """Repetition frequency."""
    vpp: PositivePeakToPeak
    """Peak-to-peak amplitude."""
    direction: Literal["rising", "falling"] = "rising"
    """Which way the slow part runs."""
    retrace: Percent | None = None
    """Share of the period that the way back takes; at once when not given."""

    @model_validator(mode="after")
    def _check_retrace(self) -> Self:
        """Raise for a retrace of half the period or more."""
        if not 0 <= self._retrace < _MOST_RETRACE:
            raise refusal(f"retrace {self.retrace}", "from 0 % to below 50 %", "retrace: 6 %")
        return self

    @property
    def _retrace(self) -> float:
        return self.retrace.nominal / 100 if self.retrace is not None else 0.0

    @cached_property
    def corners(self) -> Corners:
        """The start of the scan and its end."""
        period_s = 1 / self.frequency.nominal
        half_v = self.vpp.nominal / 2 * (1 if self.direction == "rising" else -1)
        end_s = period_s * (1 - self._retrace)
        return Corners(period_s, (0.0, end_s), (-half_v, half_v))

    def describe(self) -> str:
        """Return amplitude, direction, frequency and retrace in words."""
        retrace = f", retrace {self.retrace} of the period" if self.retrace is not None else ""
        return (
            f"A {self.direction} sawtooth of {print_value(self.vpp.nominal, 'Vpp')} "
            f"at {self.frequency}{retrace}."
        )


class Parabola(Waveform):
    """A parabola each period, as for picture-tube corrections; the ends are at t = 0."""

    kind: Literal["parabola"]
    example: ClassVar[Example] = {"frequency": "50 Hz", "vpp": "1.2 Vpp", "direction": "upward"}
    frequency: PositiveFrequency
    """Repetition frequency."""
    vpp: PositivePeakToPeak
    """Peak-to-peak amplitude."""
    direction: Literal["upward", "downward"] = "upward"
    """Upward rises towards both ends, downward falls towards both ends."""

    def volts(self, t_s: Samples) -> Samples:
        """Return volts about the mean: the squared distance from the middle, less a third."""
        import numpy as np

        across = 2 * np.mod(t_s * self.frequency.nominal, 1.0) - 1
        return self._height_v * (across**2 - 1 / 3)

    @property
    def _height_v(self) -> float:
        return self.vpp.nominal * (1 if self.direction == "upward" else -1)

    @property
    def period_s(self) -> float:
        """One parabola."""
        return 1 / self.frequency.nominal

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """A third of the height on the side of the vertex, two thirds at the ends."""
        low_v, high_v = sorted((-self._height_v / 3, self._height_v * 2 / 3))
        return low_v, high_v, 0.0

    def describe(self) -> str:
        """Return amplitude, direction and frequency in words."""
        way = "rising" if self.direction == "upward" else "falling"
        return (
            f"A parabola of {print_value(self.vpp.nominal, 'Vpp')} at {self.frequency}, "
            f"{way} towards both ends."
        )
