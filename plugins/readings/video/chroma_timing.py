"""Chroma against luminance in time, and how both change with level: delay, gain and phase.

Delays: the whole line is fitted at once, by least squares, with the luminance and the chroma of the
bars and with their slopes; the share of a slope is the delay of its signal. The differential gain
and phase of bars are the change of chroma gain and phase from black to white, by a straight line
through the six colours; a modulated staircase would show the same, a textbook's definition.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ....schema.systems import SCANNING
from ....schema.waveforms import Samples
from ....schema.waveforms.video_signal import draw_chrominance_lines, draw_luminance_line
from .averages import Mean
from .bars import GREY, BarReading, BarReadings
from .burst import TIME_BASE, Burst
from .carrier_fit import Vectors
from .figure import Figure
from .line_grid import Cut, LineGrid
from .sync_pulses import Index

_MOST_LINES: Final = 16
_FROM_S, _END_BEFORE_S = 9.2e-6, 1.2e-6  # the part that is fitted, after 0H and before the next
_ROUNDS: Final = 8  # of shifting by the delay found so far
_SLOPE_S: Final = 20e-9  # unit of a slope, to keep the columns of a fit alike in size
_STEP_S: Final = 4e-9
_ROUNDED_S: Final = 0.196e-6
"""Straight edges of 0.25 µs averaged so long rise like sine-squared ones of 0.3 µs, 10 to 90 %."""
_BEND_S: Final = 150e-9  # about half an edge
_SHAPE_DOUBT_S: Final = 0.25e-9  # by the shape of edges: straight ones against half sine waves
_NEAR_S: Final = 0.1e-9
_MOST_INTERVAL_S: Final = 101e-9
_LONGEST_DELAY_S: Final = 0.8e-6
_CLEARLY: Final = 20.0  # standard uncertainties
_CERTAINLY: Final = 3.0  # standard uncertainties
_LEVER_S: Final = 10e-6
"""Between the middles of the edges of luminance and of those of chroma, about."""
_FEWEST_COLOURS: Final = 6
_WORST_CONDITION: Final = 1e12  # of a fit that still tells its columns apart
_LEAST_GAIN: Final = 1e-6


def measure_delay(
    grid: LineGrid, system: str, percent: float, burst: Burst, noise_v: float
) -> Figure | None:
    """Return how late chroma is behind luminance; None where the record does not show it."""
    first_lines = grid.select(np.arange(min(len(grid), _MOST_LINES)))
    cut = first_lines.cut(_FROM_S, grid.line_s - _END_BEFORE_S)
    if not cut.which.size or cut.interval_s > _MOST_INTERVAL_S:
        return None
    order = grid.order[cut.which]
    after_s = cut.after_s[:, None] + cut.along_s
    angle = 2 * np.pi * burst.carrier_hz * (cut.at_s[:, None] + cut.along_s)
    carrier = np.exp(1j * angle) * burst.reference(order[:, None].astype(np.float64), after_s)
    stretch = _find_stretch(grid, system)
    nominal_s = after_s / stretch.value
    alike = len(order) / grid.select(cut.which).count_samplings(burst.carrier_hz)
    fits = [
        fit
        for positive in _list_signs(system, burst, order)
        if (fit := _fit(cut, system, percent, nominal_s, carrier, positive, (noise_v, alike)))
    ]
    # The right signs of V leave the least behind.
    if not fits:
        return None
    delay = min(fits, key=lambda fit: fit.square).delay
    error_s = math.hypot(delay.uncertainty, _SHAPE_DOUBT_S, stretch.uncertainty * _LEVER_S)
    return Figure("chroma to luminance delay", delay.value, "s", error_s)


def _find_stretch(grid: LineGrid, system: str) -> Mean:
    """Return the duration of a line over its nominal one, as far as starts of lines tell.

    The instrument's time base and the line frequency are usually good to some parts in a million;
    few lines tell less than that.
    """
    error = grid.sync.line_uncertainty_s / grid.line_s
    if not math.isfinite(error):
        return Mean(1.0, TIME_BASE)
    off = grid.line_s * float(SCANNING[system].line_hz) - 1
    # A free-running line oscillator is clearly off by far more.
    if abs(off) > _CERTAINLY * math.hypot(error, TIME_BASE):
        return Mean(1 + off, error)
    weight = TIME_BASE**2 / (TIME_BASE**2 + error**2)
    return Mean(1 + weight * off, math.sqrt(weight) * error)


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
    late_y_s = late_c_s = 0.0
    error_s = square = math.inf
    for _ in range(_ROUNDS):
        luma = _sample_luma(system, percent, nominal_s - late_y_s)
        chroma = _sample_chroma(system, percent, nominal_s - late_c_s, positive)
        step = _fit_delays(cut, luma, chroma, carrier, noise)
        if step is None:
            return None
        error_s, square = step.error_s, step.square
        late_y_s, late_c_s = late_y_s + step.luma_s, late_c_s + step.chroma_s
        if max(abs(late_y_s), abs(late_c_s)) > _LONGEST_DELAY_S:
            return None
        if max(abs(step.luma_s), abs(step.chroma_s)) < _NEAR_S:
            break
    return _Delay(Mean(late_c_s - late_y_s, error_s), square)


class _Shape(NamedTuple):
    """A signal of the bars, its slope, and how it bends at edges, for their rise time."""

    value: Samples | Vectors
    slope: Samples | Vectors
    """Times ``_SLOPE_S``."""
    bend: Samples | Vectors


class _LineTable(NamedTuple):
    """Luminance, U and V of one line of bars in fine steps, each with its slope and its bend."""

    times_s: Samples
    shapes: tuple[tuple[Samples, Samples, Samples], ...]

    def read(self, signal: int, at_s: Samples) -> _Shape:
        """Return luminance (0), U (1) or V (2) at times after 0H."""
        return _Shape(*(np.interp(at_s, self.times_s, part) for part in self.shapes[signal]))


@lru_cache(maxsize=8)
def _tabulate_line(system: str, percent: float) -> _LineTable:
    line_s = float(1 / SCANNING[system].line_hz)
    times_s = np.arange(0.0, line_s, _STEP_S)
    lines = draw_luminance_line(system, percent), *draw_chrominance_lines(system, percent)
    return _LineTable(times_s, tuple(_take_shape(np.asarray(line(times_s))) for line in lines))


def _take_shape(straight: Samples) -> tuple[Samples, Samples, Samples]:
    """Return a signal with rounded edges, its slope and its bend, from one with straight edges."""
    width = round(_ROUNDED_S / _STEP_S)
    value = np.convolve(straight, np.full(width, 1 / width), mode="same")
    slope = np.gradient(value, _STEP_S) * _SLOPE_S
    apart = round(_BEND_S / _STEP_S)
    bend = np.roll(value, apart) + np.roll(value, -apart) - 2 * value
    return value, slope, bend


def _sample_luma(system: str, percent: float, at_s: Samples) -> _Shape:
    """Return luminance of the bars at times after 0H."""
    return _tabulate_line(system, percent).read(0, at_s)


def _sample_chroma(
    system: str, percent: float, at_s: Samples, positive: NDArray[np.bool_]
) -> _Shape:
    """Return U + jV of the bars at times after 0H."""
    table = _tabulate_line(system, percent)
    sign = np.where(positive, 1.0, -1.0)[:, None]
    pairs = zip(table.read(1, at_s), table.read(2, at_s), strict=True)
    return _Shape(*(u + 1j * sign * v for u, v in pairs))


class _Step(NamedTuple):
    """Delays that are left after a fit."""

    luma_s: float
    chroma_s: float
    error_s: float
    """Standard uncertainty of their difference."""
    square: float
    """Mean square of the rest of the fit, in V²."""


def _fit_delays(
    cut: Cut, luma: _Shape, chroma: _Shape, carrier: Vectors, noise: tuple[float, float]
) -> _Step | None:
    """Return the delays of luminance and of chroma that are left; None where no bars are seen.

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
    if np.linalg.cond(normal) > _WORST_CONDITION:
        return None
    scale = np.linalg.inv(normal)
    solved = scale @ (basis.T @ volts)
    level, luma_slope, gain, chroma_slope = _find_columns(solved)
    if level <= 0 or abs(gain) < _LEAST_GAIN:
        return None
    rest = volts - basis @ solved
    square = float(rest @ rest) / (len(volts) - len(columns))
    variance_v2 = square + max(square - noise[0] ** 2, 0.0) * (noise[1] - 1)
    # A delayed signal is itself less its delay times its slope.
    luma_s = -luma_slope / level * _SLOPE_S
    chroma_s = -(chroma_slope / gain).real * _SLOPE_S
    # The change of their difference with each share; few samples do not part luminance and chroma.
    change_s = np.zeros(len(columns))
    change_s[_LUMA_SLOPE] = _SLOPE_S / level
    change_s[_CHROMA_SLOPE] = -_SLOPE_S * np.array([gain.real, gain.imag]) / abs(gain) ** 2
    error_s = math.sqrt(variance_v2 * float(change_s @ scale @ change_s))
    return _Step(luma_s, chroma_s, error_s, square)


_LUMA_SLOPE: Final = 2  # behind a level and luminance
_CHROMA_SLOPE: Final = slice(6, 8)  # behind the bend of luminance and two shares of chroma


def _find_columns(solved: Samples) -> tuple[float, float, complex, complex]:
    """Return luminance and its slope, chroma and its slope, from the shares of the columns."""
    gain, slope = solved[4:6], solved[_CHROMA_SLOPE]
    return (
        float(solved[1]),
        float(solved[_LUMA_SLOPE]),
        complex(gain[0], gain[1]),
        complex(slope[0], slope[1]),
    )


def measure_differential(bars: BarReadings) -> list[Figure]:
    """Return differential gain and phase from black to white; none without all six colours."""
    coloured = [bar for bar in bars.bars if abs(bar.expected_chroma) > GREY]
    if len(coloured) < _FEWEST_COLOURS or not math.isfinite(coloured[0].amplitude.uncertainty):
        return []
    gain = _measure_differential_gain(coloured, bars.white)
    # Without chroma to speak of there is nothing that could change with level.
    if gain is None:
        return []
    phase = _measure_differential_phase(coloured, bars)
    return [gain] if phase is None else [gain, phase]


def _measure_differential_gain(coloured: Sequence[BarReading], white: float) -> Figure | None:
    """Return how much chroma changes from black to white; None where there is hardly any."""
    levels = np.array([bar.expected_luminance for bar in coloured])  # all of shape (colours,)
    expected = np.array([abs(bar.expected_chroma) for bar in coloured])
    gains = np.array([bar.amplitude.value for bar in coloured]) / expected
    gain_errors = np.array([bar.amplitude.uncertainty for bar in coloured]) / expected
    mean_gain = float(gains.mean())
    if mean_gain < _CLEARLY * float(gain_errors.max()):
        return None
    slope = _fit_slope(levels, gains, gain_errors)
    percent = 100 * white / mean_gain
    return Figure("differential gain", percent * slope.value, "%", percent * slope.uncertainty)


def _measure_differential_phase(coloured: Sequence[BarReading], bars: BarReadings) -> Figure | None:
    """Return how far chroma turns from black to white; None where a colour has no phase."""
    phases = [bar.phase_deg for bar in coloured if bar.phase_deg is not None]
    if len(phases) < len(coloured):
        return None
    levels = np.array([bar.expected_luminance for bar in coloured])  # all of shape (colours,)
    nominal_deg = np.degrees(np.angle([bar.expected_chroma for bar in coloured]))
    off_deg = np.array([phase.value for phase in phases]) - nominal_deg
    errors_deg = np.array([phase.uncertainty for phase in phases])
    slope = _fit_slope(levels, (off_deg + 180) % 360 - 180, errors_deg)  # between ±180°
    # A subcarrier that is off turns on from bar to bar, as the level falls.
    lines_behind = np.array([bar.lines_behind_burst for bar in coloured])
    drift = _fit_slope(levels, lines_behind, errors_deg).value * bars.turn_error_deg
    error_deg = math.hypot(slope.uncertainty, drift) * bars.white
    return Figure("differential phase", slope.value * bars.white, "°", error_deg)


def _fit_slope(x: Samples, y: Samples, errors: Samples) -> Mean:
    """Return the slope of a straight line through points of independent errors."""
    centred = x - x.mean()
    squares = float(centred @ centred)
    error = math.sqrt(float(np.sum((centred * errors) ** 2)))
    return Mean(float(centred @ y) / squares, error / squares)
