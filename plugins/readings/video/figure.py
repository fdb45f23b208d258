"""A measured figure with its standard uncertainty, and the record it is measured on."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from ....schema.quantities import print_value
from ....schema.waveforms import Samples

_EXPANDED: Final = 2  # standard uncertainties in a printed interval, about 95 % (GUM, 6.2)
_COUNTED: Final = "cycles"  # a number of these has no prefix
_MOST_CODES: Final = 1 << 14  # levels of a converter; a record with more is not quantised
_EXAMINED: Final = 40_000  # samples from which the step of a converter is seen
_DIGITS_OF_STEP: Final = 1e-6  # of the range, to which steps of rounded figures agree


@dataclass(frozen=True)
class Figure:
    """One figure of a signal, from the samples alone: no error of the instrument is in it."""

    name: str
    value: float
    unit: str
    """V, Vpp, s, Hz, °, %, dB or cycles."""
    uncertainty: float
    """Standard uncertainty, in the unit."""

    @property
    def words(self) -> str:
        """The figure with its expanded uncertainty (k = 2)."""
        return f"{print_amount(self.value, self.unit)} ± {self.spread}"

    @property
    def spread(self) -> str:
        """The expanded uncertainty (k = 2)."""
        return print_amount(_EXPANDED * self.uncertainty, self.unit, 2)


def print_amount(value: float, unit: str, figures: int | None = None) -> str:
    """Return a number with its unit: six digits for frequencies, three for the rest."""
    digits = figures or (6 if unit == "Hz" else 3)
    if unit == _COUNTED:
        return f"{value:.{digits}g} {unit}"
    return print_value(value, unit, digits)


@dataclass(frozen=True, eq=False)
class Record:
    """Evenly spaced samples of one channel; time 0 is the first sample."""

    volts: Samples
    interval_s: float

    @property
    def span_s(self) -> float:
        """Duration in seconds."""
        return len(self.volts) * self.interval_s

    @property
    def rate_hz(self) -> float:
        """Samples in a second."""
        return 1 / self.interval_s

    @cached_property
    def step_v(self) -> float:
        """Volts between two neighbouring codes of the converter; 0 where none can be seen."""
        return find_step_v(self.volts)

    def mean_error_v(self, noise_v: float) -> float:
        """Return the standard uncertainty by which rounding to codes shifts the mean of a level.

        Noise of half a step and more makes the rounding average out: the error of a mean is
        periodic in the level with amplitude (q/pi) exp(-2 pi² s²/q²). Source: B. Widrow and
        I. Kollár, Quantization Noise (2008), chapter 4 (from memory).
        """
        if not self.step_v:
            return 0.0
        # The scatter of samples holds the rounding itself, a twelfth of the square of a step.
        ratio = math.sqrt(max((noise_v / self.step_v) ** 2 - 1 / 12, 0.0))
        return self.step_v / math.sqrt(12) * math.exp(-2 * (math.pi * ratio) ** 2)


def find_step_v(volts: Samples) -> float:
    """Return the step between codes, the least distance of two values that all others share."""
    codes = np.unique(volts[:_EXAMINED])
    if not 2 < len(codes) < min(_MOST_CODES, len(volts[:_EXAMINED]) // 2):
        return 0.0
    steps = np.diff(codes)
    step_v = float(np.median(steps))
    smallest_v = float(steps.min())
    # Rounded text makes equal steps differ in their last figure.
    return smallest_v if smallest_v > 0.9 * step_v else _find_common_step_v(steps)


def _find_common_step_v(steps: Samples) -> float:
    """Return the smallest step of which the others are multiples, else 0."""
    smallest_v = float(steps[steps > _DIGITS_OF_STEP * steps.sum()].min())
    multiples = steps / smallest_v
    return smallest_v if np.abs(multiples - np.round(multiples)).max() < 0.1 else 0.0
