"""Around the deflection: flyback pulse, east-west parabola, vertical drive."""

import math
from functools import cached_property
from typing import ClassVar, Final, Literal, Self

from pydantic import model_validator

from ...quantities import print_value
from ...quantities.fields import Percent, Voltage
from ..base import Example, PositiveDuration, PositivePeakToPeak, Samples, refusal
from ..line_rate import FieldRate, LineRate

_MOST_TRAPEZIUM: Final = 100.0
_MOST_S: Final = 33.0  # percent; beyond a third the scan would turn back at its ends
_MOST_RETRACE: Final = 0.5  # of the field


class FlybackPulse(LineRate):
    """Half a sine wave each line, against ground, and zero volts in between; t = 0 is its foot.

    During flyback the yoke swings freely with the tuning capacitor for half a cycle. The mean of
    the pulse, 2 peak width / (pi line), is the supply of the line output stage, since a coil has
    no mean voltage across it: textbook of line output stages.
    """

    floats: ClassVar[bool] = False
    kind: Literal["flyback pulse"]
    example: ClassVar[Example] = {"system": "PAL-B/G", "peak": "60 V", "width": "12 µs"}
    peak: Voltage
    """Its peak to ground; below zero where a winding turns it over."""
    width: PositiveDuration
    """Duration at the foot."""

    @model_validator(mode="after")
    def _check_pulse(self) -> Self:
        """Raise for a pulse without height, or as long as the line."""
        if not self.peak.nominal:
            raise refusal(f"peak {self.peak}", "a pulse with a height", "kind: steady, level: 0 V")
        if not self.width.nominal < self.line_s:
            line = print_value(self.line_s, "s")
            raise refusal(f"width {self.width}", f"less than a line of {line}", "width: 12 µs")
        return self

    def volts(self, t_s: Samples) -> Samples:
        """Return volts to ground."""
        import numpy as np

        along = np.mod(t_s, self.line_s) / self.width.nominal
        return np.asarray(self.peak.nominal * np.sin(np.pi * np.minimum(along, 1.0)))

    @property
    def fastest_hz(self) -> float:
        """Ten times the sine that the pulse is half of."""
        return 5 / self.width.nominal

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """Zero, the peak, and the mean under the half sine."""
        peak_v = self.peak.nominal
        mean_v = 2 / math.pi * peak_v * self.width.nominal / self.line_s
        return min(peak_v, 0.0), max(peak_v, 0.0), mean_v

    @property
    def trigger(self) -> str:
        """The pulse itself, on its leading edge."""
        return f"the signal itself, {'rising' if self.peak.nominal > 0 else 'falling'} edge"

    def describe(self) -> str:
        """Return peak, width and rate in words."""
        return (
            f"{self.system} flyback pulse, half a sine wave up to "
            f"{print_value(self.peak.nominal, 'V')} to ground and "
            f"{print_value(self.width.nominal, 's')} wide, lines at {self.line_rate}."
        )


class EastWestParabola(FieldRate):
    """A parabola each field, which may lean to one side; t = 0 is the top of the picture.

    With x from -1 at the top to 1 at the bottom it is x² + k x / 2, where k is the trapezium: how
    much higher the parabola ends than it begins, of the height it has without.
    """

    kind: Literal["east-west parabola"]
    example: ClassVar[Example] = {"system": "PAL-B/G", "vpp": "1.2 Vpp", "trapezium": "10 %"}
    vpp: PositivePeakToPeak
    """Peak-to-peak amplitude."""
    direction: Literal["upward", "downward"] = "upward"
    """Upward rises towards both ends, downward falls towards both ends."""
    trapezium: Percent | None = None
    """End over beginning, of the height of the parabola; may be negative. None when not given."""

    @model_validator(mode="after")
    def _check_trapezium(self) -> Self:
        """Raise for a trapezium beyond 100 %."""
        if not abs(100 * self._lean) <= _MOST_TRAPEZIUM:
            raise refusal(f"trapezium {self.trapezium}", "from -100 % to 100 %", "trapezium: 10 %")
        return self

    @property
    def _lean(self) -> float:
        return self.trapezium.nominal / 100 if self.trapezium is not None else 0.0

    @property
    def _height_v(self) -> float:
        """From the vertex, at -k²/16, to the higher end, at 1 + k/2, are (1 + k/4)²."""
        height_v = self.vpp.nominal / (1 + abs(self._lean) / 4) ** 2
        return height_v if self.direction == "upward" else -height_v

    def volts(self, t_s: Samples) -> Samples:
        """Return volts about the mean."""
        import numpy as np

        x = 2 * np.mod(np.multiply(t_s, 1 / self.field_s), 1.0) - 1
        return np.asarray(self._height_v * (x**2 + self._lean / 2 * x - 1 / 3))

    @property
    def fastest_hz(self) -> float:
        """Ten harmonics of the field."""
        return 10 * self.frequency_hz

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """The vertex and the higher end; the mean is zero."""
        vertex = -(self._lean**2) / 16 - 1 / 3
        top = 2 / 3 + abs(self._lean) / 2
        low_v, high_v = sorted((self._height_v * vertex, self._height_v * top))
        return low_v, high_v, 0.0

    def describe(self) -> str:
        """Return amplitude, direction, trapezium and rate in words."""
        way = "rising" if self.direction == "upward" else "falling"
        lean = f", trapezium {self.trapezium}" if self.trapezium is not None else ""
        return (
            f"{self.system} east-west parabola of {print_value(self.vpp.nominal, 'Vpp')}, {way} "
            f"towards both ends{lean}, fields at {print_value(self.frequency_hz, 'Hz', 4)}."
        )


class VerticalDrive(FieldRate):
    """A sawtooth each field, rounded at both ends by S-correction; t = 0 is the start of the scan.

    With x from -1 to 1 along the scan it is (x - s x³) / (1 - s). The beam meets a flat screen at
    the tangent of its angle while the angle's sine follows the current, so an even picture wants
    x / sqrt(1 + x² tan² a) with a the angle at the edge, which begins x - x³ tan² a / 2: geometry.
    """

    kind: Literal["vertical drive"]
    example: ClassVar[Example] = {
        "system": "PAL-B/G",
        "vpp": "1.6 Vpp",
        "s_correction": "8 %",
        "retrace": "5 %",
    }
    vpp: PositivePeakToPeak
    """Peak-to-peak amplitude."""
    direction: Literal["rising", "falling"] = "rising"
    """Which way the scan runs."""
    s_correction: Percent | None = None
    """Share s of the cubic term; a straight scan when not given."""
    retrace: Percent | None = None
    """Share of the field that the way back takes; at once when not given."""

    @model_validator(mode="after")
    def _check_shares(self) -> Self:
        """Raise for too much S-correction or retrace."""
        if not 0 <= 100 * self._s <= _MOST_S:
            raise refusal(
                f"s_correction {self.s_correction}", "from 0 % to 33 %", "s_correction: 8 %"
            )
        if not 0 <= self._back < _MOST_RETRACE:
            raise refusal(f"retrace {self.retrace}", "from 0 % to below 50 %", "retrace: 5 %")
        return self

    @property
    def _s(self) -> float:
        return self.s_correction.nominal / 100 if self.s_correction is not None else 0.0

    @property
    def _back(self) -> float:
        return self.retrace.nominal / 100 if self.retrace is not None else 0.0

    def volts(self, t_s: Samples) -> Samples:
        """Return volts about the middle of the scan."""
        import numpy as np

        share = np.mod(np.multiply(t_s, 1 / self.field_s), 1.0)
        x = np.interp(share, [0.0, 1 - self._back, 1.0], [-1.0, 1.0, -1.0])
        half_v = self.vpp.nominal / 2 * (1 if self.direction == "rising" else -1)
        scan = (x - self._s * x**3) / (1 - self._s)
        return np.asarray(half_v * np.where(share <= 1 - self._back, scan, x))

    @property
    def fastest_hz(self) -> float:
        """Ten harmonics of the way back, or a hundred of the field where it is at once."""
        return 10 * self.frequency_hz / (self._back or 0.1)

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """Half the peak to peak at either end of the scan, which is even about its middle."""
        return -self.vpp.nominal / 2, self.vpp.nominal / 2, 0.0

    def describe(self) -> str:
        """Return amplitude, direction, S-correction, retrace and rate in words."""
        bent = f", S-correction {self.s_correction}" if self.s_correction is not None else ""
        back = f", retrace {self.retrace} of the field" if self.retrace is not None else ""
        return (
            f"{self.system} vertical drive, a {self.direction} sawtooth of "
            f"{print_value(self.vpp.nominal, 'Vpp')}{bent}{back}, "
            f"fields at {print_value(self.frequency_hz, 'Hz', 4)}."
        )
