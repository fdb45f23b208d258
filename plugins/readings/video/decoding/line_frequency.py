"""The frequency of a carrier on a part of every line, from the advance of its phase.

The part is cut into short blocks, a carrier is fitted to each, and a straight line through their
phases gives the frequency. Of white noise of standard deviation s on a carrier of amplitude A the
standard uncertainty is that of the Cramér-Rao bound, sqrt(6) s / (pi A T sqrt(N)) for N samples
over a time T (D. C. Rife and R. R. Boorstyn, IEEE Transactions on Information Theory 20, 1974),
but for the few blocks: sqrt(1 - 1/n²) of the squared times is between them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..averages import Mean, average
from ..line_grid import Cut, LineGrid

_BLOCK_S: Final = 0.6e-6
_FEWEST_SAMPLES: Final = 5  # in a block: a level, a sine and a cosine, and their noise
_FEWEST_BLOCKS: Final = 3
_ROUNDS: Final = 3  # of fitting at the frequency found so far
_SAMPLES_A_CYCLE: Final = 2.2
_LEAST_CLEAR: Final = 4.0  # standard uncertainties of an amplitude whose phase can be followed


@dataclass(frozen=True)
class CarrierOnLine:
    """A carrier on a part of the lines."""

    hz: Mean
    vpp: Mean


def measure_line_frequency(
    grid: LineGrid, span_s: tuple[float, float], near_hz: float
) -> CarrierOnLine | None:
    """Return frequency and size of the carrier between two times after 0H; None without any.

    ``near_hz`` is right to a third of a cycle in a block, 0.5 MHz.
    """
    if grid.record.rate_hz < _SAMPLES_A_CYCLE * near_hz:
        return None
    cut = grid.cut(*span_s)
    length = max(round(_BLOCK_S / cut.interval_s), _FEWEST_SAMPLES)
    blocks = cut.volts.shape[1] // length
    if not cut.which.size or blocks < _FEWEST_BLOCKS:
        return None
    hz = near_hz
    # Nearer to its frequency, a carrier fits its blocks better.
    for _ in range(_ROUNDS):
        carrier = _fit_blocks(cut, length, blocks, hz)
        if carrier is None:
            return None
        hz = carrier.hz.value
    return carrier


def _fit_blocks(cut: Cut, length: int, blocks: int, hz: float) -> CarrierOnLine | None:
    """Return the carrier from fits at a frequency near its own."""
    lines = cut.volts.shape[0]
    angle_per_sample = 2 * np.pi * hz * cut.interval_s
    angle = angle_per_sample * np.arange(length)
    basis = np.column_stack([np.ones(length), np.sin(angle), np.cos(angle)])  # samples x 3
    covariance = np.linalg.inv(basis.T @ basis)
    volts = cut.volts[:, : blocks * length].reshape(lines, blocks, length)
    solved = volts @ (basis @ covariance)  # lines x blocks x (level, sine, cosine)
    residuals_v = volts - solved @ basis.T
    noise_v = math.sqrt(float(np.sum(residuals_v**2)) / (lines * blocks * (length - 3)))
    vectors_v = solved[..., 1] + 1j * solved[..., 2]
    # Phases of all blocks counted from the first: at the right frequency they are equal.
    vectors_v = vectors_v * np.exp(-1j * angle_per_sample * length * np.arange(blocks))
    error_v = noise_v * math.sqrt(float(covariance[1, 1] + covariance[2, 2]) / 2)
    amplitude = average(np.abs(vectors_v).mean(axis=1), error_v / math.sqrt(blocks))
    if amplitude.value < _LEAST_CLEAR * error_v:
        return None

    centred = np.arange(blocks) - (blocks - 1) / 2
    squares = float(centred @ centred)
    radians_a_block = np.unwrap(np.angle(vectors_v), axis=1) @ centred / squares  # shape (lines,)
    drift = average(radians_a_block, error_v / amplitude.value / math.sqrt(squares))
    hz_per_radian = 1 / (2 * math.pi * length * cut.interval_s)
    return CarrierOnLine(
        hz=Mean(hz + drift.value * hz_per_radian, drift.uncertainty * hz_per_radian),
        vpp=Mean(2 * amplitude.value, 2 * amplitude.uncertainty),
    )
