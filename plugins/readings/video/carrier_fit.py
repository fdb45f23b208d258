"""A level and a carrier of known frequency fitted to the same part of several lines.

Least squares with a constant, a sine and a cosine. A carrier is written as U + jV of
U sin(wt) + V cos(wt), with w t counted from the first sample of the record, as in the encoding of
ITU-R BT.470-6. The noise follows from the residuals.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ....schema.waveforms import Samples
from .line_grid import Cut, LineGrid

Vectors = NDArray[np.complexfloating[Any, Any]]

FEWEST_SAMPLES: Final = 6
"""In each line, for three unknowns and their noise."""


@dataclass(frozen=True, eq=False)
class CarrierFit:
    """Level and carrier of each line, shapes (lines,)."""

    levels_v: Samples
    vectors: Vectors
    """U + jV in volts, the phase referred to time 0 of the record."""
    noise_v: float
    """Standard deviation of the residuals, all lines together."""
    level_error_v: float
    vector_error_v: float
    """Standard uncertainty of the level, and of U and of V, of one line."""

    def find_rounding_v(self, grid: LineGrid, carrier_hz: float) -> tuple[float, float]:
        """Return the standard uncertainties that rounding leaves in level and vector of all lines.

        Sampling that is locked makes the same errors on many lines, which no averaging lessens.
        """
        amplitude_v = float(np.sqrt(np.mean(np.abs(self.vectors) ** 2)))
        record, noise_v = grid.record, self.noise_v
        # Errors that come again, over those of the noise, and lessened by each other sampling.
        repeated_share = record.repeated_error_v(noise_v) / (noise_v or 1.0)
        repeated_share /= math.sqrt(grid.count_samplings(carrier_hz))
        level_rounding_v = record.mean_error_v(noise_v, amplitude_v)
        vector_rounding_v = record.carrier_error_v(noise_v, amplitude_v)
        return (
            math.hypot(level_rounding_v, repeated_share * self.level_error_v),
            math.hypot(vector_rounding_v, repeated_share * self.vector_error_v),
        )

    @property
    def amplitudes_v(self) -> Samples:
        """Half the peak to peak of each line."""
        return np.abs(self.vectors)


def fit_carrier(cut: Cut, carrier_hz: float) -> CarrierFit | None:
    """Return the fit of a carrier; None for no line, or too few samples to tell it from a level."""
    lines, samples = cut.volts.shape
    if not lines or samples < FEWEST_SAMPLES:
        return None
    angle = 2 * np.pi * carrier_hz * cut.along_s
    basis = np.column_stack([np.ones_like(angle), np.sin(angle), np.cos(angle)])  # samples x 3
    covariance = np.linalg.inv(basis.T @ basis)
    solved = cut.volts @ (basis @ covariance)  # lines x (level, sine, cosine)
    residuals_v = cut.volts - solved @ basis.T
    freedom = lines * (samples - basis.shape[1])
    noise_v = math.sqrt(float(np.sum(residuals_v**2)) / freedom)
    # From the first sample of each line back to that of the record.
    turn = np.exp(-2j * np.pi * carrier_hz * cut.at_s)
    return CarrierFit(
        levels_v=solved[:, 0],
        vectors=(solved[:, 1] + 1j * solved[:, 2]) * turn,
        noise_v=noise_v,
        level_error_v=noise_v * math.sqrt(float(covariance[0, 0])),
        vector_error_v=noise_v * math.sqrt(float(covariance[1, 1] + covariance[2, 2]) / 2),
    )
