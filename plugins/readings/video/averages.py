"""Means of a quantity over the lines of a record, with their standard uncertainties."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from ....schema.waveforms import Samples
from .figure import Record
from .line_grid import LineGrid
from .sync_pulses import Index

_FEWEST_FOR_SCATTER: Final = 10  # lines whose scatter tells their uncertainty better than noise
BACK_PORCH_S: Final = {625: (8.2e-6, 10.0e-6), 525: (8.1e-6, 9.0e-6), 0: (8.2e-6, 9.0e-6)}
"""Behind the burst, before the picture, after 0H; 0 for a line rate that is not known."""


@dataclass(frozen=True)
class Mean:
    """A mean and its standard uncertainty."""

    value: float
    uncertainty: float

    def __sub__(self, other: Mean) -> Mean:
        """Return the difference of two independent means."""
        return Mean(self.value - other.value, math.hypot(self.uncertainty, other.uncertainty))


def average(values: Samples, noise: float) -> Mean:
    """Return the mean of one value a line; ``noise`` is the standard uncertainty of one of them.

    From ten lines on, a scatter beyond the noise counts.
    """
    count = len(values)
    uncertainty = noise / math.sqrt(count)
    if count >= _FEWEST_FOR_SCATTER:
        uncertainty = max(uncertainty, float(np.std(values, ddof=1)) / math.sqrt(count))
    return Mean(float(np.mean(values)), uncertainty)


@dataclass(frozen=True, eq=False)
class FlatPart:
    """A part of the line in which the signal is level."""

    means_v: Samples
    """Shape (lines,)."""
    noise_v: float
    """Standard deviation of the samples about the mean of their line."""
    samples: int
    which: Index

    def average(self, record: Record) -> Mean:
        """Return the level over all lines, the rounding of the converter included."""
        mean = average(self.means_v, self.noise_v / math.sqrt(self.samples))
        return Mean(mean.value, math.hypot(mean.uncertainty, record.mean_error_v(self.noise_v)))


def read_flat_part(grid: LineGrid, from_s: float, to_s: float) -> FlatPart | None:
    """Return the level between two times after 0H; None where no line holds two samples of it."""
    cut = grid.cut(from_s, to_s)
    lines, samples = cut.volts.shape
    if not lines or samples < 2:
        return None
    means_v = cut.volts.mean(axis=1)
    residuals_v = cut.volts - means_v[:, None]
    noise_v = math.sqrt(float(np.sum(residuals_v**2)) / (lines * (samples - 1)))
    return FlatPart(means_v, noise_v, samples, cut.which)


def read_blanking(grid: LineGrid) -> FlatPart | None:
    """Return the level of the back porch behind any burst, which each line is clamped to."""
    return read_flat_part(grid, *BACK_PORCH_S[grid.lines])
