"""Chroma against luminance in time, and how both change with level: delay, gain and phase.

Delays: the whole line is fitted at once, by least squares, with the luminance and the chroma of the
bars and with their slopes; the share of a slope is the delay of its signal. The differential gain
and phase of bars are the change of chroma gain and phase from black to white, by a straight line
through the six colours; a modulated staircase would show the same, a textbook's definition.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from ....schema.waveforms import Samples
from ....schema.waveforms.video_signal import draw_chrominance_lines, draw_luminance_line
from .averages import Mean
from .bars import GREY, BarReadings
from .burst import Burst
from .carrier_fit import Vectors
from .figure import Figure
from .line_grid import Cut, LineGrid

_MOST_LINES: Final = 16
_ROUNDS: Final = 3  # of shifting by the delay found so far
_SLOPE_S: Final = 20e-9  # over which the slope of an edge is taken
_MOST_INTERVAL_S: Final = 90e-9
_FEWEST_LINES: Final = 4  # over which luminance and chroma separate at the edges
_LONGEST_DELAY_S: Final = 0.8e-6
_CLEARLY: Final = 20.0  # standard uncertainties
_FEWEST_COLOURS: Final = 6


def measure_delay(grid: LineGrid, system: str, percent: float, burst: Burst) -> Figure | None:
    """Return how late chroma is behind luminance; None where the record does not show it."""
    line_s = grid.line_s
    cut = grid.select(np.arange(min(len(grid), _MOST_LINES))).cut(9.2e-6, line_s - 1.2e-6)
    if len(cut.which) < _FEWEST_LINES or cut.interval_s > _MOST_INTERVAL_S:
        return None
    order = grid.order[cut.which]
    turn = np.conj(burst.reference(order.astype(np.float64)))
    positive = np.ones(len(order), dtype=bool)
    if burst.alternates:
        positive = (order % 2 == 0) == (bool(burst.is_positive[0]) == (burst.order[0] % 2 == 0))
    late_y = late_c = Mean(0.0, 0.0)
    for _ in range(_ROUNDS):
        at_s = cut.after_s[:, None] + cut.along_s
        luma = _sample_luma(system, percent, at_s - late_y.value)
        chroma = _sample_chroma(system, percent, at_s - late_c.value, positive)
        steps = _fit_delays(cut, luma, chroma, turn, burst.carrier_hz)
        if steps is None:
            return None
        late_y = Mean(late_y.value + steps[0].value, steps[0].uncertainty)
        late_c = Mean(late_c.value + steps[1].value, steps[1].uncertainty)
        if max(abs(late_y.value), abs(late_c.value)) > _LONGEST_DELAY_S:
            return None
    delay = late_c - late_y
    return Figure("chroma to luminance delay", delay.value, "s", delay.uncertainty)


def _sample_luma(system: str, percent: float, at_s: Samples) -> tuple[Samples, Samples]:
    """Return luminance of the bars at times after 0H, and its slope per second."""
    line = draw_luminance_line(system, percent)
    slope = (line(at_s + _SLOPE_S) - line(at_s - _SLOPE_S)) / (2 * _SLOPE_S)
    return np.asarray(line(at_s)), np.asarray(slope)


def _sample_chroma(
    system: str, percent: float, at_s: Samples, positive: np.ndarray
) -> tuple[Vectors, Vectors]:
    """Return U + jV of the bars at times after 0H, and its slope per second."""
    u, v = draw_chrominance_lines(system, percent)
    sign = np.where(positive, 1.0, -1.0)[:, None]
    before, after = (
        u(at_s + step_s) + 1j * sign * v(at_s + step_s) for step_s in (-_SLOPE_S, _SLOPE_S)
    )
    return u(at_s) + 1j * sign * v(at_s), (after - before) / (2 * _SLOPE_S)


def _fit_delays(
    cut: Cut,
    luma: tuple[Samples, Samples],
    chroma: tuple[Vectors, Vectors],
    turn: Vectors,
    carrier_hz: float,
) -> tuple[Mean, Mean] | None:
    """Return the delays of luminance and of chroma that are left, in seconds."""
    angle = 2 * np.pi * carrier_hz * (cut.at_s[:, None] + cut.along_s)
    carrier = np.exp(1j * angle) / turn[:, None]
    waves = [chroma[0] * carrier, chroma[1] * carrier]
    columns = [
        np.ones_like(luma[0]),
        luma[0],
        luma[1] * _SLOPE_S,
        waves[0].imag,
        waves[0].real,
        waves[1].imag * _SLOPE_S,
        waves[1].real * _SLOPE_S,
    ]
    basis = np.column_stack([column.ravel() for column in columns])
    volts = cut.volts.ravel()
    normal = basis.T @ basis
    if np.linalg.cond(normal) > 1e12:
        return None
    scale = np.linalg.inv(normal)
    solved = scale @ (basis.T @ volts)
    rest = volts - basis @ solved
    noise = math.sqrt(float(rest @ rest) / (len(volts) - len(columns)))
    gain = complex(solved[3], solved[4])
    if solved[1] <= 0 or abs(gain) < 1e-6:
        return None
    # A delayed signal is itself less its delay times its slope.
    late_y = -float(solved[2] / solved[1]) * _SLOPE_S
    late_c = -float((complex(solved[5], solved[6]) / gain).real) * _SLOPE_S
    error_y = noise * math.sqrt(float(scale[2, 2])) / float(solved[1]) * _SLOPE_S
    error_c = noise * math.sqrt(float(scale[5, 5])) / abs(gain) * _SLOPE_S
    return Mean(late_y, error_y), Mean(late_c, error_c)


def measure_differential(bars: BarReadings) -> list[Figure]:
    """Return differential gain and phase from black to white; none without all six colours."""
    coloured = [bar for bar in bars.bars if abs(bar.expected_chroma) > GREY]
    if len(coloured) < _FEWEST_COLOURS or not math.isfinite(coloured[0].amplitude.uncertainty):
        return []
    level = np.array([bar.expected_luminance for bar in coloured])
    gains = np.array([bar.amplitude.value / abs(bar.expected_chroma) for bar in coloured])
    errors = [bar.amplitude.uncertainty / abs(bar.expected_chroma) for bar in coloured]
    mean = float(gains.mean())
    # Without chroma to speak of there is nothing that could change with level.
    if mean < _CLEARLY * max(errors):
        return []
    slope, spread = _fit_slope(level, gains)
    scale = 100 * bars.white / mean
    error = scale * float(np.sqrt(np.mean(np.square(errors)))) / spread
    figures = [Figure("differential gain", scale * slope, "%", error)]
    phases = [bar.phase_deg for bar in coloured if bar.phase_deg is not None]
    if len(phases) == len(coloured):
        places = np.degrees(np.angle([bar.expected_chroma for bar in coloured]))
        off = np.array([phase.value for phase in phases]) - places
        slope, spread = _fit_slope(level, (off + 180) % 360 - 180)
        noise = float(np.sqrt(np.mean([phase.uncertainty**2 for phase in phases])))
        name = "differential phase"
        figures.append(Figure(name, slope * bars.white, "°", noise * bars.white / spread))
    return figures


def _fit_slope(x: Samples, y: Samples) -> tuple[float, float]:
    """Return the slope of a straight line and the root of the squared deviations of x."""
    centred = x - x.mean()
    squares = float(centred @ centred)
    return float(centred @ y) / squares, math.sqrt(squares)
