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
    for _ in range(_ROUNDS):
        found = _fit_blocks(cut, length, blocks, hz)
        if found is None:
            return None
        hz = found.hz.value
    return found


def _fit_blocks(cut: Cut, length: int, blocks: int, hz: float) -> CarrierOnLine | None:
    """Return the carrier from fits at a frequency near its own."""
    lines = cut.volts.shape[0]
    turn = 2 * np.pi * hz * cut.interval_s
    angle = turn * np.arange(length)
    basis = np.column_stack([np.ones(length), np.sin(angle), np.cos(angle)])
    scale = np.linalg.inv(basis.T @ basis)
    volts = cut.volts[:, : blocks * length].reshape(lines, blocks, length)
    solved = volts @ (basis @ scale)
    rest = volts - solved @ basis.T
    noise_v = math.sqrt(float(np.sum(rest**2)) / (lines * blocks * (length - 3)))
    vectors = solved[..., 1] + 1j * solved[..., 2]
    vectors = vectors * np.exp(-1j * turn * length * np.arange(blocks))
    error_v = noise_v * math.sqrt(float(scale[1, 1] + scale[2, 2]) / 2)
    sizes_v = np.abs(vectors).mean(axis=1)
    size = average(sizes_v, error_v / math.sqrt(blocks))
    if size.value < _LEAST_CLEAR * error_v:
        return None
    centred = np.arange(blocks) - (blocks - 1) / 2
    squares = float(centred @ centred)
    slopes = np.unwrap(np.angle(vectors), axis=1) @ centred / squares
    per_turn_hz = 1 / (2 * math.pi * length * cut.interval_s)
    slope = average(slopes, error_v / size.value / math.sqrt(squares))
    return CarrierOnLine(
        Mean(hz + slope.value * per_turn_hz, slope.uncertainty * per_turn_hz),
        Mean(2 * size.value, 2 * size.uncertainty),
    )
