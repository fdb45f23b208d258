"""Pulses of the drum and the capstan of a recorder."""

from functools import cached_property
from typing import ClassVar, Final, Literal, Self

from pydantic import model_validator

from ...quantities import print_value
from ...quantities.fields import Voltage
from ..base import Example, PositiveDuration, PositiveFrequency, check_rising, refusal
from ..corners import Corners, compute_edge_bandwidth_hz
from ..straight import Straight

_MOST_PULSES: Final = 1000
_WHOLE_PULSES: Final = 1e-3  # how far from a whole number of pulses a turn may be
_ASSUMED_EDGE: Final = 0.1  # rise time over the width of the pulse


class ServoPulse(Straight):
    """Drum or capstan pulses against ground; t = 0 is a leading edge.

    With ``head_switch`` they are added to the square wave that switches the heads, half as high as
    they are: up for the first head, from t = 0, and down for the second. Common practice.
    """

    floats: ClassVar[bool] = False
    kind: Literal["servo pulse"]
    example: ClassVar[Example] = {
        "frequency": "150 Hz",
        "low": "0 V",
        "high": "5 V",
        "width": "0.6 ms",
        "head_switch": "25 Hz",
    }
    frequency: PositiveFrequency
    """Pulses in a second."""
    low: Voltage
    """Lowest level."""
    high: Voltage
    """Level of the pulses."""
    width: PositiveDuration
    """Duration of a pulse."""
    head_switch: PositiveFrequency | None = None
    """Turns of the drum in a second: 25 Hz, or 30 Hz with 60 fields. No square when not given."""

    @model_validator(mode="after")
    def _check_pulses(self) -> Self:
        """Raise for a width beyond the period, or pulses that are not whole to a turn."""
        check_rising(self.low, self.high)
        period_s = 1 / self.frequency.nominal
        if not self.width.nominal < period_s:
            raise refusal(
                f"width {self.width}",
                f"a pulse shorter than its period of {print_value(period_s, 's')}",
                f"width: {print_value(period_s / 10, 's')}",
            )
        pulses = self._pulses
        if not 1 <= round(pulses) <= _MOST_PULSES or abs(pulses - round(pulses)) > _WHOLE_PULSES:
            raise refusal(
                f"frequency {self.frequency} with head_switch {self.head_switch}",
                f"1 to {_MOST_PULSES} whole pulses to a turn of the drum",
                f"frequency: {print_value(6 / self.period_s, 'Hz', 6)}",
            )
        return self

    @property
    def _pulses(self) -> float:
        """Pulses in a period."""
        turn = self.head_switch
        return 1.0 if turn is None else self.frequency.nominal / turn.nominal

    @property
    def period_s(self) -> float:
        """One turn of the drum, or one pulse where there is no square."""
        return 1 / (self.head_switch or self.frequency).nominal

    @cached_property
    def corners(self) -> Corners:
        """Levels between all the moments at which something switches."""
        import numpy as np

        pulses = round(self._pulses)
        each_s = self.period_s / pulses
        half_s = self.period_s / 2 if self.head_switch is not None else 0.0
        starts_s = np.arange(pulses) * each_s
        t_s = np.unique(np.concatenate([starts_s, starts_s + self.width.nominal, [half_s]]))
        middle_s = t_s + np.diff(t_s, append=self.period_s) / 2
        base_v = self.low.nominal + np.where(middle_s < half_s, self._half_v, 0.0)
        v = np.where(np.mod(middle_s, each_s) < self.width.nominal, self.high.nominal, base_v)
        ends_s = np.append(np.repeat(t_s, 2)[1:], self.period_s)
        return Corners(self.period_s, ends_s, np.repeat(v, 2))

    @property
    def _half_v(self) -> float:
        return (self.high.nominal - self.low.nominal) / 2

    @property
    def frequency_hz(self) -> float:
        """The pulses in a second."""
        return self.frequency.nominal

    @property
    def fastest_hz(self) -> float:
        """The bandwidth of edges of a tenth of the pulse: 0.35 over their rise time."""
        return compute_edge_bandwidth_hz(_ASSUMED_EDGE * self.width.nominal)

    def describe(self) -> str:
        """Return levels, width, frequency and square in words."""
        square = (
            f", on a head-switching square wave of {print_value(self._half_v, 'Vpp')} at "
            f"{self.head_switch}"
            if self.head_switch is not None
            else ""
        )
        return (
            f"Servo pulses from {print_value(self.low.nominal, 'V')} to "
            f"{print_value(self.high.nominal, 'V')} at {self.frequency}, each "
            f"{print_value(self.width.nominal, 's')} wide{square}."
        )
