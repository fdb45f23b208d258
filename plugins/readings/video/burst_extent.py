"""Where the colour burst begins and ends on the line.

The burst is fitted with a carrier under an envelope, by least squares; the shares of the slopes of
its two edges move them. The envelope has sine-squared edges, of 0.3 µs from 10 to 90 % (SMPTE 170M
and ITU-R BT.470-6 state 0.3 µs; its shape is common practice). Their duration is fitted too, and
the usual one counts like a measurement beside the samples: few samples do not tell it, and its
doubt is then in both places.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from ....schema.waveforms import Samples
from .averages import Mean
from .burst import Burst
from .levels import compute_start_error_s
from .line_grid import LineGrid

_AROUND_S: Final = (4.95e-6, 9.1e-6)  # from the end of line sync to behind the burst
_EXPECTED_S: Final = (5.6e-6, 7.86e-6)  # ten cycles of 4.43 MHz, where the search begins
_RISE_OF_EDGE: Final = 0.5903  # 10 to 90 % of a sine-squared edge over its duration: arithmetic
_EDGE_S: Final = 0.3e-6 / _RISE_OF_EDGE
_EDGE_DOUBT_S: Final = 0.1e-6 / _RISE_OF_EDGE / math.sqrt(3)  # 0.2 to 0.4 µs
_EDGES_S: Final = (0.1e-6, 1.2e-6)
_ROUNDS: Final = 12
_NEAR_S: Final = 0.05e-9
_LONGEST_STEP_S: Final = 0.3e-6  # of an edge in one round, within which its slope holds
_FEWEST_SAMPLES: Final = 12


@dataclass(frozen=True)
class BurstExtent:
    """Where the burst is on the line: both means in seconds, after 0H."""

    start_s: Mean
    lasts_s: Mean


def measure_extent(grid: LineGrid, burst: Burst) -> BurstExtent | None:
    """Return start and duration at half amplitude; None where the record does not show both."""
    samples = _take_samples(grid, burst)
    if samples is None:
        return None
    gate = _fit_gate(samples, burst)
    if gate is None:
        return None
    covariance = _find_variance_v2(grid, burst, gate) * gate.covariance
    start_variance, end_variance = float(covariance[0, 0]), float(covariance[1, 1])
    lasts_variance = start_variance + end_variance - 2 * float(covariance[0, 1])
    bent_s = _find_bent_s(grid, burst)
    start_error_s = math.hypot(math.sqrt(start_variance), bent_s / 2, compute_start_error_s(grid))
    return BurstExtent(
        Mean(gate.start_s, start_error_s),
        Mean(gate.end_s - gate.start_s, math.hypot(math.sqrt(lasts_variance), bent_s)),
    )


@dataclass(frozen=True, eq=False)
class _Samples:
    """Samples around the burst, and the unit carrier at each; shapes (lines, samples)."""

    volts: Samples
    after_s: Samples
    carrier: Samples
    quadrature: Samples
    """The carrier a quarter of a cycle ahead."""


def _take_samples(grid: LineGrid, burst: Burst) -> _Samples | None:
    """Return the samples around the burst of each line; None where a line lacks some."""
    cut = grid.select(burst.which).cut(*_AROUND_S)
    lines, count = cut.volts.shape
    if not burst.is_seen or lines != len(burst.which) or count < _FEWEST_SAMPLES:
        return None
    angle = 2 * np.pi * burst.carrier_hz * (cut.at_s[:, None] + cut.along_s)
    phase = angle + np.angle(burst.fit.vectors)[:, None]
    return _Samples(cut.volts, cut.after_s[:, None] + cut.along_s, np.sin(phase), np.cos(phase))


@dataclass(frozen=True, eq=False)
class _Gate:
    """Places of the two edges after 0H, and the covariance of both for a variance of 1 V²."""

    start_s: float
    end_s: float
    covariance: Samples
    """Shape (2, 2)."""
    square_v2: float
    """Mean square of the rest of the fit."""


def _fit_gate(samples: _Samples, burst: Burst) -> _Gate | None:
    """Return the envelope that fits the samples; None where the fit leads nowhere."""
    (start_s, end_s), edge_s = _EXPECTED_S, _EDGE_S
    volts = _centre(samples.volts)
    # The usual duration of an edge, with its doubt, against the noise of a sample.
    weight = (burst.fit.noise_v / (burst.amplitude.value * _EDGE_DOUBT_S)) ** 2
    for _ in range(_ROUNDS):
        columns = _draw_columns(samples, start_s, end_s, edge_s)
        normal, sums = columns.T @ columns, columns.T @ volts
        normal[3, 3] += weight
        sums[3] += weight * burst.amplitude.value * (_EDGE_S - edge_s)
        try:
            inverse = np.linalg.inv(normal)
        except np.linalg.LinAlgError:
            return None
        shares = inverse @ sums
        amplitude_v = float(shares[0])
        if amplitude_v <= 0:
            return None
        steps_s = np.clip(shares[1:4] / amplitude_v, -_LONGEST_STEP_S, _LONGEST_STEP_S)
        start_s, end_s = start_s + float(steps_s[0]), end_s + float(steps_s[1])
        edge_s = float(np.clip(edge_s + steps_s[2], *_EDGES_S))
        if not _AROUND_S[0] < start_s < end_s < _AROUND_S[1]:
            return None
        if float(np.abs(steps_s[:2]).max()) < _NEAR_S:
            break
    residuals_v = volts - columns @ shares
    freedom = len(volts) - len(samples.volts) - len(shares)
    covariance: Samples = np.asarray(inverse[1:3, 1:3] / amplitude_v**2, dtype=np.float64)
    return _Gate(start_s, end_s, covariance, float(residuals_v @ residuals_v) / freedom)


def _draw_columns(samples: _Samples, start_s: float, end_s: float, edge_s: float) -> Samples:
    """Return the burst, its changes with start, end and edges, its quadrature: (samples, 5).

    Changes are in volts a second, for an amplitude of 1 V.
    """
    rise, rise_slope, rise_bend = _draw_edge(samples.after_s - start_s, edge_s)
    fall, fall_slope, fall_bend = _draw_edge(samples.after_s - end_s, edge_s)
    gate = rise - fall
    shapes = (gate, -rise_slope, fall_slope, rise_bend - fall_bend)
    parts = [shape * samples.carrier for shape in shapes]
    return np.column_stack([_centre(part) for part in (*parts, gate * samples.quadrature)])


def _draw_edge(after_s: Samples, edge_s: float) -> tuple[Samples, Samples, Samples]:
    """Return a sine-squared edge about 0, its slope, and its change with its duration."""
    angle = np.pi / 2 * np.clip(after_s / edge_s + 0.5, 0.0, 1.0)
    slope = np.pi / 2 / edge_s * np.sin(2 * angle)
    return np.sin(angle) ** 2, slope, -slope * after_s / edge_s


def _centre(values: Samples) -> Samples:
    """Return the values less the mean of their line, in one row: the level of a line is unknown."""
    return np.asarray((values - values.mean(axis=1, keepdims=True)).ravel())


def _find_variance_v2(grid: LineGrid, burst: Burst, gate: _Gate) -> float:
    """Return the variance of a sample; rounding that comes again on many lines counts so often."""
    lines = len(burst.which)
    alike = lines / grid.select(burst.which).count_samplings(burst.carrier_hz)
    repeated_v2 = grid.record.repeated_error_v(burst.fit.noise_v) ** 2
    return gate.square_v2 + repeated_v2 * (alike - 1)


def _find_bent_s(grid: LineGrid, burst: Burst) -> float:
    """Return by how much rounding to codes, which bends both edges alike, lengthens the burst."""
    amplitude_v = burst.amplitude.value
    rounding_v = grid.record.carrier_error_v(burst.fit.noise_v, amplitude_v / 2)
    return _EDGE_S * rounding_v / amplitude_v
