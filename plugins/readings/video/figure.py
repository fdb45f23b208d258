"""A measured figure with its standard uncertainty, and the record it is measured on."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from ....schema.quantities import print_value
from ....schema.waveforms import Samples

_EXPANDED: Final = 2  # standard uncertainties in a printed interval, about 95 % (GUM, 6.2)
_DIGITS_OF_DOUBT: Final = 2
_COUNTED: Final = "cycles"  # a number of these has no prefix
_MOST_CODES: Final = 1 << 14  # levels of a converter; a record with more is not quantised
_QUIET_BLOCK: Final = 16  # samples
_QUIETEST: Final = 0.2  # of the blocks
_ROUNDING_TERMS: Final = 12
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
        """The figure with its expanded uncertainty (k = 2), to the place of the latter.

        Source: JCGM 100:2008 (GUM), 7.2.6.
        """
        value = _round_to_doubt(self.value, _EXPANDED * self.uncertainty)
        return f"{print_amount(value, self.unit)} ± {self.spread}"

    @property
    def spread(self) -> str:
        """The expanded uncertainty (k = 2)."""
        return print_amount(_EXPANDED * self.uncertainty, self.unit, _DIGITS_OF_DOUBT)


def _round_to_doubt(value: float, uncertainty: float) -> float:
    """Return a value rounded to the place of the second digit of its uncertainty."""
    if not math.isfinite(uncertainty) or uncertainty <= 0:
        return value
    place = _DIGITS_OF_DOUBT - 1 - math.floor(math.log10(uncertainty))
    return round(value, place)


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
    noise_v: float | None = None
    """Scatter of the samples where a carrier spreads them over many codes, if that is known."""

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

    @cached_property
    def quiet_noise_v(self) -> float:
        """Noise of the quietest parts of the trace, from its second differences.

        They hold 1 + 4 + 1 times the variance of the noise (von Neumann, 1941).
        """
        squares = np.diff(self.volts, 2) ** 2 / 6
        blocks = len(squares) // _QUIET_BLOCK
        if not blocks:
            return math.sqrt(float(squares.mean())) if squares.size else 0.0
        means = squares[: blocks * _QUIET_BLOCK].reshape(blocks, -1).mean(axis=1)
        return math.sqrt(float(np.quantile(means, _QUIETEST)))

    def mean_error_v(self, noise_v: float, carrier_v: float = 0.0) -> float:
        """Return the standard uncertainty by which rounding to codes shifts the mean of a level.

        ``noise_v`` is the scatter of the samples, ``carrier_v`` the amplitude of a sine on the
        level; both make the rounding average out. The error of a mean is the Fourier series of a
        sawtooth in the level, of period q, whose terms q/(pi k) are multiplied by the
        characteristic functions exp(-2 pi² k² s²/q²) of the noise and J0(2 pi k A/q) of the sine.
        Source: B. Widrow and I. Kollár, Quantization Noise (2008), chapters 4 and 5 (from memory).
        """
        return self._sum_rounding_v(noise_v, carrier_v, _square_bessel_0) / math.sqrt(2)

    def carrier_error_v(self, noise_v: float, carrier_v: float) -> float:
        """Return the standard uncertainty by which rounding changes the amplitude of a sine.

        The terms of the series are those of ``mean_error_v`` with 2 J1(2 pi k A/q). Source:
        N. M. Blachman, The intermodulation and distortion due to quantization of sinusoids, IEEE
        Transactions on Acoustics, Speech and Signal Processing 33 (1985) (from memory).
        """
        return self._sum_rounding_v(noise_v, carrier_v, _square_bessel_1) * math.sqrt(2)

    def repeated_error_v(self, noise_v: float) -> float:
        """Return the part of the rounding of one sample that comes again in the same place.

        q/√12, of which noise leaves exp(-2 pi² s²/q²), as of the first term of ``mean_error_v``.
        """
        if not self.step_v:
            return 0.0
        ratio = self._find_noise_steps(noise_v)
        return self.step_v / math.sqrt(12) * math.exp(-2 * (math.pi * ratio) ** 2)

    def scatter_error_v2(self, noise_v: float) -> float:
        """Return the standard uncertainty of a variance by the place of its level between codes.

        The first term of its series is (q²/pi² + 4 s²) exp(-2 pi² s²/q²) cos(2 pi m/q). Source:
        Widrow and Kollár, as for ``mean_error_v``.
        """
        if not self.step_v:
            return 0.0
        ratio = self._find_noise_steps(noise_v)
        height = self.step_v**2 * (1 / math.pi**2 + 4 * ratio**2)
        return height * math.exp(-2 * (math.pi * ratio) ** 2) / math.sqrt(2)

    def _find_noise_steps(self, noise_v: float) -> float:
        """Return the noise in steps; a scatter holds the rounding itself, a twelfth of a square."""
        # On a level the scatter depends on its place between two codes; on a carrier it does not.
        scatter_v = noise_v if self.noise_v is None else self.noise_v
        return math.sqrt(max((scatter_v / self.step_v) ** 2 - 1 / 12, 0.0))

    def _sum_rounding_v(
        self, noise_v: float, carrier_v: float, square: Callable[[float], float]
    ) -> float:
        """Return the root of the sum of the squared terms of the series of rounding."""
        if not self.step_v:
            return 0.0
        ratio = self._find_noise_steps(noise_v)
        turns = 2 * math.pi * carrier_v / self.step_v
        total = sum(
            math.exp(-((2 * math.pi * k * ratio) ** 2)) * square(k * turns) / k**2
            for k in range(1, _ROUNDING_TERMS)
        )
        return self.step_v / math.pi * math.sqrt(total)


def _square_bessel_0(x: float) -> float:
    """Return about the square of J0: 1 at 0, and on average 1/(pi x) far from it."""
    return 1 / (1 + math.pi * x)


def _square_bessel_1(x: float) -> float:
    """Return about the square of J1: x²/4 near 0, and on average 1/(pi x) far from it."""
    return min(x * x / 4, 1 / (math.pi * x)) if x else 0.0


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
