"""Control voltages: AGC, AFC, colour killer, tuning: a level, with some ripple on it."""

from functools import cached_property
from typing import ClassVar, Final, Literal, Self

from pydantic import model_validator

from ...quantities import print_value
from ...quantities.fields import Voltage
from ..base import (
    Example,
    PositiveFrequency,
    PositivePeakToPeak,
    Samples,
    Waveform,
    check_rising,
    refusal,
)
from ..corners import Corners

_CHARGING: Final = 0.1


class ControlVoltage(Waveform):
    """A level against ground, the mean, which may carry ripple; t = 0 is where it starts to rise.

    The ripple is that of a detector's capacitor: quickly charged, for a tenth of the period, and
    slowly discharged, which is nearly a straight line while the ripple is small. Common practice.
    """

    floats: ClassVar[bool] = False
    kind: Literal["control voltage"]
    example: ClassVar[Example] = {
        "level": "3.2 V",
        "ripple": "40 mVpp",
        "ripple_frequency": "50 Hz",
        "low": "1 V",
        "high": "6 V",
    }
    level: Voltage
    """Mean level in this condition."""
    ripple: PositivePeakToPeak | None = None
    """Peak-to-peak ripple; clean when not given."""
    ripple_frequency: PositiveFrequency | None = None
    """How often it comes; belongs to ``ripple``."""
    low: Voltage | None = None
    """Lowest level that the control takes, where its range is known."""
    high: Voltage | None = None
    """Highest level that the control takes; belongs to ``low``."""

    @model_validator(mode="after")
    def _check_ripple(self) -> Self:
        """Raise for a ripple without its frequency, or the reverse."""
        if (self.ripple is None) != (self.ripple_frequency is None):
            given = "ripple_frequency" if self.ripple is None else "ripple"
            raise refusal(
                f"{given} alone",
                "ripple and ripple_frequency together",
                "ripple: 20 mVpp, ripple_frequency: 50 Hz",
            )
        return self

    @model_validator(mode="after")
    def _check_range(self) -> Self:
        """Raise for half a range, or a level outside the range."""
        if (self.low is None) != (self.high is None):
            given = "high" if self.low is None else "low"
            raise refusal(f"{given} alone", "low and high together", "low: 0.5 V, high: 4.5 V")
        if self.low is None or self.high is None:
            return self
        check_rising(self.low, self.high)
        if not self.low.nominal <= self.level.nominal <= self.high.nominal:
            raise refusal(
                f"level {self.level}",
                f"a level from {self.low} to {self.high}",
                f"level: {print_value((self.low.nominal + self.high.nominal) / 2, 'V')}",
            )
        return self

    @cached_property
    def corners(self) -> Corners | None:
        """The ripple on the level; None without ripple."""
        if self.ripple is None or self.ripple_frequency is None:
            return None
        period_s, half_v = 1 / self.ripple_frequency.nominal, self.ripple.nominal / 2
        ends_v = self.level.nominal - half_v, self.level.nominal + half_v
        return Corners(period_s, (0.0, _CHARGING * period_s), ends_v)

    def volts(self, t_s: Samples) -> Samples:
        """Return volts to ground."""
        import numpy as np

        if self.corners is None:
            return np.full(np.shape(t_s), self.level.nominal)
        return self.corners(t_s)

    @property
    def period_s(self) -> float:
        """One cycle of the ripple; 0 without."""
        return 0.0 if self.corners is None else self.corners.period_s

    @property
    def trigger(self) -> str:
        """The ripple, where there is any."""
        if self.corners is None:
            return "none needed: free-running sweep"
        return "the signal itself, AC coupled, rising edge"

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """The level, and half the ripple below and above it."""
        level_v = self.level.nominal
        if self.corners is None:
            return level_v, level_v, level_v
        return self.corners.low_v, self.corners.high_v, level_v

    def describe(self) -> str:
        """Return level, ripple and range in words."""
        level = print_value(self.level.nominal, "V")
        span = ""
        if self.low is not None and self.high is not None:
            low, high = print_value(self.low.nominal, "V"), print_value(self.high.nominal, "V")
            span = f", between {low} and {high} as the control needs it"
        ripple = "no ripple"
        if self.ripple is not None:
            ripple_vpp = print_value(self.ripple.nominal, "Vpp")
            ripple = f"{ripple_vpp} of ripple at {self.ripple_frequency}"
        return f"A control voltage of {level}{span}, with {ripple} on it."
