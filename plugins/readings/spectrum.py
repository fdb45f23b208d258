"""The strongest line of a trace's spectrum, and the noise between the lines.

Sources: D. C. Rife and G. A. Vincent, Use of the discrete Fourier transform in the measurement of
frequencies and levels of tones, Bell System Technical Journal 49 (1970), for interpolation
between the bins of a Hann-windowed spectrum; D. C. Rife and R. R. Boorstyn, Single-tone parameter
estimation from discrete-time observations, IEEE Transactions on Information Theory 20 (1974), for
the Cramér-Rao bound (stated for a complex tone; a real one has twice its variance).
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from ...schema.waveforms import Samples

_FEWEST_CYCLES: Final = 1.5
FEWEST_CYCLES_FOR_PHASE: Final = 9.0
"""In the record, for the phase to be followed from the first third to the last."""
_FEWEST_BINS: Final = 4
_SIGNIFICANT_POWER: Final = 4.0  # times the power of the strongest among that many bins of noise
_MOST_HARMONICS: Final = 12
_SHARE_OF_STRONGEST: Final = 0.15  # least amplitude of a fundamental
_ROTATIONS: Final = 256
_CLEAR_OF: Final = 3  # bins between a line and zero, or another line
_HANN_POWER: Final = 0.375  # mean of the squared window
_HANN_THIRDS: Final = 1.3
"""Scatter of the phases of two Hann-windowed thirds, per Cramér-Rao bound: sqrt(1.5 * 27 / 24)."""
_HANN_WHOLE: Final = 1.7  # the same for reading between the bins of the whole record
_BINS_PER_LEAKAGE: Final = 1.5  # error of a reading between bins, per share that leaks into them


class NoFrequency(Exception):  # noqa: N818  an answer, not a failure
    """The reason why a trace has no frequency, in words."""


@dataclass(frozen=True)
class Line:
    """A line of the spectrum."""

    hz: float
    amplitude_v: float
    """Of the sine, from its mean to its peak."""
    cycles: float
    """Number of its periods in the record."""
    uncertainty_hz: float = 0.0

    def divide(self, parts: int) -> Line:
        """Return the line of which this one is the harmonic of order ``parts``."""
        return replace(
            self,
            hz=self.hz / parts,
            cycles=self.cycles / parts,
            uncertainty_hz=self.uncertainty_hz / parts,
        )


@dataclass(frozen=True, eq=False)
class Spectrum:
    """The Hann-windowed amplitude spectrum of a record, not scaled."""

    size: Samples
    count: int
    """Number of samples it was computed from."""
    interval_s: float

    @classmethod
    def compute(cls, volts: Samples, interval_s: float) -> Spectrum:
        """Return the spectrum of a length that is quick to transform, at least 99.9 % of it all."""
        low_bits = max(len(volts).bit_length() - 12, 0)
        count = len(volts) >> low_bits << low_bits
        return cls(
            np.abs(np.fft.rfft(volts[:count] * _compute_hann_window(count))), count, interval_s
        )

    @property
    def noise_v(self) -> float:
        """Standard deviation of white noise, from the median bin; most bins hold only noise.

        The power of noise in a bin is exponentially distributed: its median is ln 2 of its mean.
        """
        mean = float(np.median(self.size)) ** 2 / math.log(2)
        return math.sqrt(mean / (_HANN_POWER * self.count))


def find_strongest_line(spectrum: Spectrum, noise_v: float) -> Line:
    """Return the strongest line, interpolated between the bins (Rife and Vincent).

    Raises NoFrequency for too few samples, for less than two periods, and where no line is clear
    of the noise.
    """
    size, count = spectrum.size, spectrum.count
    if len(size) < _FEWEST_BINS:
        raise NoFrequency("there are too few samples")
    strongest_bin = int(np.argmax(size[1:-1])) + 1
    # The strongest of many bins of noise has about log(count) times their mean power.
    noise_power = _HANN_POWER * count * noise_v**2 * math.log(count)
    if size[strongest_bin] ** 2 <= _SIGNIFICANT_POWER * noise_power:
        raise NoFrequency("no repeating signal rises above the noise")

    nearest_bin = _find_fundamental(size, strongest_bin)
    direction = 1 if size[nearest_bin + 1] >= size[nearest_bin - 1] else -1
    neighbour_ratio = size[nearest_bin + direction] / size[nearest_bin]
    offset = direction * max(2 * neighbour_ratio - 1, 0.0) / (neighbour_ratio + 1)
    amplitude_v = 4 * size[nearest_bin] / count * (1 - offset**2) / np.sinc(offset)
    cycles = nearest_bin + offset
    if cycles < _FEWEST_CYCLES:
        raise NoFrequency("less than two periods were captured")
    return Line(
        hz=float(cycles / (count * spectrum.interval_s)),
        amplitude_v=float(amplitude_v),
        cycles=float(cycles),
    )


def _find_fundamental(size: Samples, strongest: int) -> int:
    """Return the bin of the lowest line of which the strongest is a harmonic, or the strongest.

    Narrow pulses have harmonics nearly as strong as their fundamental, and two pulses a period
    have a stronger second one.
    """
    least_size = size[strongest] * _SHARE_OF_STRONGEST
    for order in range(_MOST_HARMONICS, 1, -1):
        guess = round(strongest / order)
        if guess < _CLEAR_OF or strongest - guess < _CLEAR_OF:
            continue
        peak = guess - 1 + int(np.argmax(size[guess - 1 : guess + 2]))
        # A Hann window widens a line to its neighbours: a peak rises above the bins beyond them.
        if size[peak] > max(least_size, size[peak - 2], size[peak + 2]):
            return peak
    return strongest


def refine_line(volts: Samples, interval_s: float, line: Line, noise_v: float) -> Line:
    """Return the line with its frequency from the phase advance between first and last third.

    With too few periods for that, only the uncertainty is computed. ``noise_v`` is the standard
    deviation of the noise.
    """
    count = len(volts)
    cycles = line.hz * count * interval_s
    # Cramér-Rao bound of a real tone (Rife and Boorstyn, twice the variance of a complex one).
    noise_ratio = noise_v / line.amplitude_v
    bound_hz = math.sqrt(24 / count**3) * noise_ratio / (2 * math.pi * interval_s)
    # The line leaks from its negative frequency, and the rest of the signal from beside it.
    power = 2 * float(volts @ volts) / count / line.amplitude_v**2  # 1 for the line alone
    other_lines = math.sqrt(max(power - 1, 0.0))
    if cycles < FEWEST_CYCLES_FOR_PHASE:
        leakage = _bound_leakage(2 * cycles) + other_lines * _bound_leakage(cycles)
        leakage_hz = _BINS_PER_LEAKAGE * leakage / (count * interval_s)
        return replace(line, uncertainty_hz=math.hypot(_HANN_WHOLE * bound_hz, leakage_hz))

    third = count // 3
    distance = count - third  # samples from the first third to the last
    window = _compute_hann_window(third)
    angle_per_sample = 2 * math.pi * line.hz * interval_s
    first = _project(volts[:third] * window, angle_per_sample)
    last = _project(volts[-third:] * window, angle_per_sample)
    # A line exactly at its frequency turns by that angle; the rest of the phase is its error.
    expected_turn = cmath.exp(-1j * angle_per_sample * distance)
    phase_error = cmath.phase(last * first.conjugate() * expected_turn)
    hz_per_radian = 1 / (2 * math.pi * distance * interval_s)
    leakage = _bound_leakage(2 * cycles / 3) + other_lines * _bound_leakage(cycles / 3)
    return replace(
        line,
        hz=line.hz + phase_error * hz_per_radian,
        uncertainty_hz=math.hypot(_HANN_THIRDS * bound_hz, leakage * hz_per_radian),
    )


def _project(volts: Samples, angle: float) -> complex:
    """Return the sum of volts times exp(-j angle n), block by block, with few exponentials."""
    count = len(volts) // _ROTATIONS * _ROTATIONS
    turns = np.exp(-1j * angle * np.arange(_ROTATIONS))
    blocks = volts[:count].reshape(-1, _ROTATIONS) @ np.column_stack([turns.real, turns.imag])
    starts = np.exp(-1j * angle * _ROTATIONS * np.arange(len(blocks) + 1))
    rest = volts[count:] @ turns[: len(volts) - count]
    return complex((blocks[:, 0] + 1j * blocks[:, 1]) @ starts[:-1] + rest * starts[-1])


def _compute_hann_window(count: int) -> Samples:
    """Return the window that is zero again one sample after its end, as Rife and Vincent use it.

    Its cosines are products of few rotations, which cost a fraction of a cosine each.
    """
    angle = 2 * math.pi / count
    inner = np.exp(1j * angle * np.arange(_ROTATIONS))
    outer = np.exp(1j * angle * _ROTATIONS * np.arange(count // _ROTATIONS + 1))
    cosines = np.outer(outer.real, inner.real) - np.outer(outer.imag, inner.imag)
    return np.asarray(0.5 - 0.5 * cosines.ravel()[:count])


def _bound_leakage(bins: float) -> float:
    """Return the largest share of a line that a Hann window passes so many bins away from it."""
    return 1 / (math.pi * bins * abs(bins**2 - 1))
