"""Chroma against luminance in time, and how both change with level: delay, gain and phase.

Delays: the whole line is fitted at once, by least squares, with the luminance and the chroma of the
bars and with their slopes; the share of a slope is the delay of its signal. The differential gain
and phase of bars are the change of chroma gain and phase from black to white, by a straight line
through the six colours; a modulated staircase would show the same, a textbook's definition.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ....schema.systems import SCANNING
from ....schema.waveforms import Samples
from ....schema.waveforms.video_signal import draw_chrominance_lines, draw_luminance_line
from .averages import Mean
from .bars import GREY, BarReadings
from .burst import Burst
from .carrier_fit import Vectors
from .figure import Figure
from .line_grid import Cut, LineGrid
from .sync_pulses import Index

_MOST_LINES: Final = 16
_ROUNDS: Final = 8  # of shifting by the delay found so far
_SLOPE_S: Final = 20e-9  # over which the slope of an edge is taken
_BEND_S: Final = 150e-9  # about half an edge
_SHAPE_DOUBT_S: Final = 0.75e-9  # by the shape of edges: straight ones against half sine waves
_MOST_INTERVAL_S: Final = 101e-9
_LONGEST_DELAY_S: Final = 0.8e-6
_CLEARLY: Final = 20.0  # standard uncertainties
_FEWEST_COLOURS: Final = 6


def measure_delay(
    grid: LineGrid, system: str, percent: float, burst: Burst, noise_v: float
) -> Figure | None:
    """Return how late chroma is behind luminance; None where the record does not show it."""
    line_s = grid.line_s
    cut = grid.select(np.arange(min(len(grid), _MOST_LINES))).cut(9.2e-6, line_s - 1.2e-6)
    if not cut.which.size or cut.interval_s > _MOST_INTERVAL_S:
        return None
    order = grid.order[cut.which]
    after_s = cut.after_s[:, None] + cut.along_s
    angle = 2 * np.pi * burst.carrier_hz * (cut.at_s[:, None] + cut.along_s)
    carrier = np.exp(1j * angle) * burst.reference(order[:, None].astype(np.float64), after_s)
    # A clock that is off stretches the line, as far as two starts of a line tell.
    is_timed = math.isfinite(grid.sync.line_uncertainty_s)
    stretch = grid.line_s * float(SCANNING[system].line_hz) if is_timed else 1.0
    nominal_s = after_s / stretch
    alike = len(order) / grid.select(cut.which).count_samplings(burst.carrier_hz)
    fits = [
        fit
        for positive in _list_signs(system, burst, order)
        if (fit := _fit(cut, system, percent, nominal_s, carrier, positive, (noise_v, alike)))
    ]
    if not fits:
        return None
    delay = min(fits, key=lambda fit: fit.square).delay
    error_s = math.hypot(delay.uncertainty, _SHAPE_DOUBT_S)
    return Figure("chroma to luminance delay", delay.value, "s", error_s)


def _list_signs(system: str, burst: Burst, order: Index) -> list[NDArray[np.bool_]]:
    """Return whether V may be positive on each line: both ways where a burst does not tell."""
    even = order % 2 == 0
    if system.startswith("NTSC"):
        return [np.ones(len(order), dtype=bool)]
    if burst.alternates:
        even_positive = bool(burst.is_positive[0]) == (burst.order[0] % 2 == 0)
        return [even == even_positive]
    # A switch that has stopped leaves the same sign on all lines.
    same = np.ones(len(order), dtype=bool)
    return [same, ~same] if burst.swing_deg is not None else [even, ~even]


class _Delay(NamedTuple):
    """The delay of chroma, and the mean square of what its fit leaves."""

    delay: Mean
    square: float


def _fit(
    cut: Cut,
    system: str,
    percent: float,
    nominal_s: Samples,
    carrier: Vectors,
    positive: NDArray[np.bool_],
    noise: tuple[float, float],
) -> _Delay | None:
    """Return the delay with V of such signs; None where the bars do not fit."""
    late_y = late_c = Mean(0.0, 0.0)
    square = math.inf
    for _ in range(_ROUNDS):
        luma = _sample_luma(system, percent, nominal_s - late_y.value)
        chroma = _sample_chroma(system, percent, nominal_s - late_c.value, positive)
        steps = _fit_delays(cut, luma, chroma, carrier, noise)
        if steps is None:
            return None
        step_y, step_c, square = steps
        late_y = Mean(late_y.value + step_y.value, step_y.uncertainty)
        late_c = Mean(late_c.value + step_c.value, step_c.uncertainty)
        if max(abs(late_y.value), abs(late_c.value)) > _LONGEST_DELAY_S:
            return None
        if max(abs(step_y.value), abs(step_c.value)) < _SHAPE_DOUBT_S / 2:
            break
    return _Delay(late_c - late_y, square)


class _Shape(NamedTuple):
    """A signal of the bars, its slope, and how it bends at edges, for their rise time."""

    value: Vectors
    slope: Vectors
    """Times ``_SLOPE_S``."""
    bend: Vectors


def _sample_luma(system: str, percent: float, at_s: Samples) -> _Shape:
    """Return luminance of the bars at times after 0H."""
    line = draw_luminance_line(system, percent)
    return _take_slope(lambda step_s: np.asarray(line(at_s + step_s)))


def _sample_chroma(
    system: str, percent: float, at_s: Samples, positive: NDArray[np.bool_]
) -> _Shape:
    """Return U + jV of the bars at times after 0H."""
    u, v = draw_chrominance_lines(system, percent)
    sign = np.where(positive, 1.0, -1.0)[:, None]
    return _take_slope(lambda step_s: u(at_s + step_s) + 1j * sign * v(at_s + step_s))


def _take_slope(signal: Callable[[float], Vectors]) -> _Shape:
    before, value, after = (signal(step_s) for step_s in (-_SLOPE_S, 0.0, _SLOPE_S))
    bend = signal(_BEND_S) + signal(-_BEND_S) - 2 * value
    return _Shape(value, (after - before) / 2, bend)


def _fit_delays(
    cut: Cut, luma: _Shape, chroma: _Shape, carrier: Vectors, noise: tuple[float, float]
) -> tuple[Mean, Mean, float] | None:
    """Return the delays of luminance and of chroma that are left, and the square of the rest.

    ``noise`` is that of the samples in volts, and how many lines are sampled in the same way: what
    is left beyond the noise, the shape of edges, comes again on them.
    """
    waves = [part * carrier for part in chroma]
    columns = [np.ones(luma.value.shape), *luma]
    for wave in waves:
        columns += [wave.imag, wave.real]
    basis = np.column_stack([column.ravel() for column in columns])
    volts = cut.volts.ravel()
    normal = basis.T @ basis
    if np.linalg.cond(normal) > 1e12:
        return None
    scale = np.linalg.inv(normal)
    level, luma_slope, gain, chroma_slope = _find_columns(scale @ (basis.T @ volts))
    rest = volts - basis @ (scale @ (basis.T @ volts))
    square = float(rest @ rest) / (len(volts) - len(columns))
    error_v = math.sqrt(square + max(square - noise[0] ** 2, 0.0) * (noise[1] - 1))
    if level <= 0 or abs(gain) < 1e-6:
        return None
    # A delayed signal is itself less its delay times its slope.
    late_y = -luma_slope / level * _SLOPE_S
    late_c = -(chroma_slope / gain).real * _SLOPE_S
    error_y = error_v * math.sqrt(float(scale[2, 2])) / level * _SLOPE_S
    error_c = error_v * math.sqrt(float(scale[6, 6])) / abs(gain) * _SLOPE_S
    return Mean(late_y, error_y), Mean(late_c, error_c), square


def _find_columns(solved: Samples) -> tuple[float, float, complex, complex]:
    """Return luminance and its slope, chroma and its slope, from the shares of the columns."""
    _, level, slope, _, *colour = (float(share) for share in solved)
    return level, slope, complex(colour[0], colour[1]), complex(colour[2], colour[3])


def measure_differential(bars: BarReadings) -> list[Figure]:
    """Return differential gain and phase from black to white; none without all six colours."""
    coloured = [bar for bar in bars.bars if abs(bar.expected_chroma) > GREY]
    if len(coloured) < _FEWEST_COLOURS or not math.isfinite(coloured[0].amplitude.uncertainty):
        return []
    level = np.array([bar.expected_luminance for bar in coloured])
    expected = np.array([abs(bar.expected_chroma) for bar in coloured])
    gains = np.array([bar.amplitude.value for bar in coloured]) / expected
    errors = np.array([bar.amplitude.uncertainty for bar in coloured]) / expected
    mean = float(gains.mean())
    # Without chroma to speak of there is nothing that could change with level.
    if mean < _CLEARLY * float(errors.max()):
        return []
    slope = _fit_slope(level, gains, errors)
    scale = 100 * bars.white / mean
    figures = [Figure("differential gain", scale * slope.value, "%", scale * slope.uncertainty)]
    phases = [bar.phase_deg for bar in coloured if bar.phase_deg is not None]
    if len(phases) == len(coloured):
        places = np.degrees(np.angle([bar.expected_chroma for bar in coloured]))
        off = np.array([phase.value for phase in phases]) - places
        errors = np.array([phase.uncertainty for phase in phases])
        slope = _fit_slope(level, (off + 180) % 360 - 180, errors)
        # A subcarrier that is off turns on from bar to bar, as the level falls.
        behind = np.array([bar.lines_behind_burst for bar in coloured])
        turned = _fit_slope(level, behind, errors).value * bars.turn_error_deg
        error = math.hypot(slope.uncertainty, turned)
        name = "differential phase"
        figures.append(Figure(name, slope.value * bars.white, "°", error * bars.white))
    return figures


def _fit_slope(x: Samples, y: Samples, errors: Samples) -> Mean:
    """Return the slope of a straight line through points of independent errors."""
    centred = x - x.mean()
    squares = float(centred @ centred)
    error = math.sqrt(float(np.sum((centred * errors) ** 2)))
    return Mean(float(centred @ y) / squares, error / squares)
