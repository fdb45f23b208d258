"""The strongest line of a trace's spectrum, and the noise between the lines.

Sources: D. C. Rife and G. A. Vincent, Use of the discrete Fourier transform in the measurement of
frequencies and levels of tones, Bell System Technical Journal 49 (1970), for reading between the
bins of a Hann-windowed spectrum; D. C. Rife and R. R. Boorstyn, Single-tone parameter estimation
from discrete-time observations, IEEE Transactions on Information Theory 20 (1974), for the least
variance there can be (its clause for a complex tone; a real one has twice that).
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
"""In the record, for its phase to be followed from the first third to the last."""
_FEWEST_BINS: Final = 4
_STANDS_OUT: Final = 4.0  # times the power that the strongest of so many bins of noise has
_MOST_HARMONICS: Final = 12
_SHARE_OF_STRONGEST: Final = 0.15
_CLEAR_OF: Final = 3  # bins from zero and from another line, for a line of its own
_HANN_POWER: Final = 0.375  # mean of the squared window
_HANN_THIRDS: Final = 1.3
"""Scatter of the phases of two Hann-windowed thirds, per Cramér-Rao bound: sqrt(1.5 * 27 / 24)."""
_HANN_WHOLE: Final = 1.7  # the same for reading between the bins of the whole record


class NoFrequency(Exception):  # noqa: N818  an answer, not a failure
    """Why a trace has no frequency, in words."""


@dataclass(frozen=True)
class Line:
    """The strongest line of the spectrum."""

    hz: float
    amplitude_v: float
    """Of the sine, from its middle to its peak."""
    cycles: float
    """How many of its periods the record holds."""
    uncertainty_hz: float = 0.0

    def part(self, parts: int) -> Line:
        """The line of which this is a harmonic."""
        return replace(
            self,
            hz=self.hz / parts,
            cycles=self.cycles / parts,
            uncertainty_hz=self.uncertainty_hz / parts,
        )


@dataclass(frozen=True, eq=False)
class Spectrum:
    """Hann-windowed spectrum of a record, not scaled."""

    size: Samples
    count: int
    """Samples it was made of."""
    interval_s: float

    @classmethod
    def of(cls, volts: Samples, interval_s: float) -> Spectrum:
        """The spectrum of as much of the record as is quick to transform: of long ones, 99.9 %."""
        low_bits = max(len(volts).bit_length() - 12, 0)
        count = len(volts) >> low_bits << low_bits
        return cls(
            np.abs(np.fft.rfft(volts[:count] * _compute_hann_window(count))), count, interval_s
        )

    @property
    def noise_v(self) -> float:
        """Standard deviation of white noise, from the median bin: most bins hold nothing else.

        The power of noise in a bin is exponentially distributed: its median is ln 2 of its mean.
        """
        mean = float(np.median(self.size)) ** 2 / math.log(2)
        return math.sqrt(mean / (_HANN_POWER * self.count))


def find_strongest_line(spectrum: Spectrum, noise_v: float) -> Line:
    """The strongest line, read between the bins (Rife and Vincent)."""
    size, count = spectrum.size, spectrum.count
    if len(size) < _FEWEST_BINS:
        raise NoFrequency("there are too few samples")
    k = int(np.argmax(size[1:-1])) + 1
    if size[k] ** 2 <= _STANDS_OUT * _HANN_POWER * count * noise_v**2 * math.log(count):
        raise NoFrequency("nothing that repeats stands out of the noise")
    k = _find_fundamental(size, k)
    side = 1 if size[k + 1] >= size[k - 1] else -1
    ratio = size[k + side] / size[k]
    apart = side * max(2 * ratio - 1, 0.0) / (ratio + 1)
    amplitude_v = 4 * size[k] / count * (1 - apart**2) / np.sinc(apart)
    cycles = k + apart
    if cycles < _FEWEST_CYCLES:
        raise NoFrequency("less than two periods were captured")
    return Line(float(cycles / (count * spectrum.interval_s)), float(amplitude_v), float(cycles))


def _find_fundamental(size: Samples, strongest: int) -> int:
    """The bin of the lowest line that goes into the strongest and is not much weaker.

    Narrow pulses have harmonics nearly as strong as their fundamental, two pulses a period a
    stronger second one.
    """
    for parts in range(_MOST_HARMONICS, 1, -1):
        near = round(strongest / parts)
        if near >= _CLEAR_OF and strongest - near >= _CLEAR_OF:
            k = near - 1 + int(np.argmax(size[near - 1 : near + 2]))
            if size[k] > max(size[strongest] * _SHARE_OF_STRONGEST, size[k - 2], size[k + 2]):
                return k
    return strongest


def refine_line(volts: Samples, interval_s: float, line: Line, noise_v: float) -> Line:
    """The same line, from how its phase moves between the first and the last third."""
    count = len(volts)
    cycles = line.hz * count * interval_s
    bound_hz = math.sqrt(24 / count**3) * noise_v / line.amplitude_v / (2 * math.pi * interval_s)
    others = math.sqrt(max(2 * float(volts @ volts) / count / line.amplitude_v**2 - 1, 0.0))
    if cycles < FEWEST_CYCLES_FOR_PHASE:
        leaks_hz = (
            1.5
            * (_bound_leakage(2 * cycles) + others * _bound_leakage(cycles))
            / (count * interval_s)
        )
        return replace(line, uncertainty_hz=math.hypot(_HANN_WHOLE * bound_hz, leaks_hz))
    third = count // 3
    turn = 2 * math.pi * line.hz * interval_s
    kernel = _compute_hann_window(third) * np.exp(-1j * turn * np.arange(third))
    first, last = volts[:third] @ kernel, volts[-third:] @ kernel
    apart = count - third
    phase = cmath.phase(last * first.conjugate() * cmath.exp(-1j * turn * apart))
    per_phase_hz = 1 / (2 * math.pi * apart * interval_s)
    leaks_hz = (_bound_leakage(2 * cycles / 3) + others * _bound_leakage(cycles / 3)) * per_phase_hz
    uncertainty_hz = math.hypot(_HANN_THIRDS * bound_hz, leaks_hz)
    return replace(line, hz=line.hz + phase * per_phase_hz, uncertainty_hz=uncertainty_hz)


def _compute_hann_window(count: int) -> Samples:
    """The window that is zero again one sample after its end: that of Rife and Vincent."""
    return np.hanning(count + 1)[:-1]


def _bound_leakage(bins: float) -> float:
    """How much of a line a Hann window lets through so many bins away, at most."""
    return 1 / (math.pi * bins * abs(bins**2 - 1))
