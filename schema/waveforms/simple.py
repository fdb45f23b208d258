"""Shapes from the textbook: steady level, sine, pulse, sawtooth, parabola."""

from __future__ import annotations

from typing import ClassVar, Literal

import numpy as np

from ..quantity import Frequency, PeakToPeak, Voltage, print_value
from .base import Samples, Waveform


class Steady(Waveform):
    """A level that does not move."""

    floats: ClassVar[bool] = False
    kind: Literal["steady"]
    level: Voltage
    """The level."""

    def volts(self, t_s: Samples) -> Samples:
        """The level, at any time."""
        return np.full(np.shape(t_s), self.level.nominal)

    @property
    def period_s(self) -> float:
        """A steady level has no period."""
        return 0.0

    def describes(self) -> str:
        """The level in words."""
        return f"A steady {print_value(self.level.nominal, 'V')}, no signal on it."


class Sine(Waveform):
    """A sine wave: v = vpp/2 sin(2 pi f t)."""

    kind: Literal["sine"]
    frequency: Frequency
    """Frequency."""
    vpp: PeakToPeak
    """Peak-to-peak amplitude."""

    def volts(self, t_s: Samples) -> Samples:
        """Sine about zero, rising through zero at t = 0."""
        return self.vpp.nominal / 2 * np.sin(2 * np.pi * self.frequency.nominal * t_s)

    @property
    def period_s(self) -> float:
        """One cycle."""
        return 1 / self.frequency.nominal

    def describes(self) -> str:
        """Amplitude and frequency in words."""
        return f"A sine wave of {print_value(self.vpp.nominal, 'Vpp')} at {self.frequency}."
