"""Disturbances of a video signal: noise, hum and jitter, from levels that should not change."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from ....schema.waveforms import Samples
from .averages import Mean, read_blanking, read_flat_part
from .figure import Figure
from .line_grid import LineGrid
from .sync_pulses import HALF_EDGE_S, Sync

HUM_HZ: Final = (50.0, 60.0, 100.0, 120.0)
_LEAST_PERIODS: Final = 0.8  # of a hum in the record, to be told from a slope
_WEIGHTING_S, _WEIGHTING_RATIO = 245e-9, 4.5
"""Unified weighting network for noise in television (ITU-T J.61 and Rec. 567, from memory)."""
_VIDEO_HZ: Final = 5e6
_TIP_S: Final = (0.7e-6, 3.9e-6)  # of sync, after 0H
_FEWEST_FOR_NOISE: Final = 10  # degrees of freedom
_FEWEST_LINES_TO_WEIGH, _FEWEST_SAMPLES_TO_WEIGH = 4, 16
_FEWEST_FOR_HUM: Final = 12  # lines
_FIRST_BIN: Final = 2  # of a windowed spectrum that the mean of the record does not reach
_LOW_PLACES: Final = 32
_FEWEST_FOR_JITTER: Final = 4  # lines
_FITTED_EDGE_S: Final = 0.2e-6  # samples further apart place an edge by their grid
_Z_95: Final = 1.96  # standard deviations that hold 95 % of a normal distribution
_LEAST_CHI_SQUARE: Final = 1e-3
_FEWEST_FOR_WANDER: Final = 8
_FEWEST_FOR_ALTERNATION: Final = 4
_NEIGHBOURS: Final = math.sqrt(8 / 3)
"""Each line is in three differences: noise s of a line leaves sqrt(3/2) s in one of them, but 2 s
over the root of their number in their alternating mean."""
ALTERNATION: Final = "ripple at half the line rate"


@dataclass(frozen=True)
class Hum:
    """The strongest ripple at a frequency of the mains."""

    hz: float
    vpp: Mean


def measure_noise(grid: LineGrid, white_v: float, *, tips_only: bool = False) -> list[Figure]:
    """Return noise and signal to noise, plain and weighted, from tips and porches.

    ``tips_only`` leaves the porches out. ``white_v`` is the height of white over blanking to which
    the ratio refers.
    """
    porch = None if tips_only else read_blanking(grid)
    parts = [part for part in (read_flat_part(grid, *_TIP_S), porch) if part]
    freedoms = [len(part.means_v) * (part.samples - 1) for part in parts]
    freedom = sum(freedoms)
    if not parts or freedom < _FEWEST_FOR_NOISE or white_v <= 0:
        return []
    squares = sum(part.noise_v**2 * own for part, own in zip(parts, freedoms, strict=True))
    noise_v = math.sqrt(squares / freedom)
    # Each part is rounded to codes in a way of its own.
    rounding_v2 = grid.record.scatter_error_v2(noise_v) / math.sqrt(len(parts))
    rounding_v = math.sqrt(noise_v**2 + rounding_v2) - noise_v
    relative_error = math.hypot(1 / math.sqrt(2 * freedom), rounding_v / (noise_v or math.inf))
    error_v = math.hypot(noise_v * relative_error, rounding_v)
    figures = [Figure("noise", noise_v, "V", error_v)]
    if noise_v <= rounding_v:  # rounding hides the noise, and with it the ratio
        return figures
    ratio_db = 20 * math.log10(white_v / noise_v)
    ratio_error_db = 20 / math.log(10) * relative_error
    figures.append(Figure("signal to noise", ratio_db, "dB", ratio_error_db))
    weight = _weigh_noise(grid)
    if weight is not None:
        weighted_db = ratio_db - 10 * math.log10(weight.value)
        weight_error_db = 10 / math.log(10) * weight.uncertainty / weight.value
        error_db = math.hypot(ratio_error_db, weight_error_db)
        figures.append(Figure("signal to noise, weighted", weighted_db, "dB", error_db))
    return figures


def _weigh_noise(grid: LineGrid) -> Mean | None:
    """Return the share of the noise power that the weighting network passes, up to 5 MHz."""
    cut = grid.cut(*_TIP_S)
    lines, samples = cut.volts.shape
    has_enough = lines >= _FEWEST_LINES_TO_WEIGH and samples >= _FEWEST_SAMPLES_TO_WEIGH
    if not has_enough or grid.record.rate_hz < 2 * _VIDEO_HZ:
        return None
    window = np.hanning(samples + 2)[1:-1]
    centred_v = cut.volts - cut.volts.mean(axis=1, keepdims=True)
    powers = np.abs(np.fft.rfft(centred_v * window, axis=1)) ** 2  # lines x bins
    hz = np.fft.rfftfreq(samples, cut.interval_s).astype(np.float64)
    weights = np.where(hz < _VIDEO_HZ, compute_noise_weight(hz), 0.0)
    # A mean that is taken off takes the lowest frequencies with it: their density is that of the
    # next ones, and their weight the mean of the network below.
    low_hz = np.linspace(0.0, float(hz[_FIRST_BIN - 1 : _FIRST_BIN + 1].mean()), _LOW_PLACES)
    weights[:_FIRST_BIN] = float(compute_noise_weight(low_hz).mean())
    next_bins = powers[:, _FIRST_BIN : 2 * _FIRST_BIN + 1].mean(axis=1)
    whole_powers = np.column_stack([next_bins * (_FIRST_BIN - 0.5), powers[:, _FIRST_BIN:]])
    passed = (whole_powers * weights[_FIRST_BIN - 1 :]).sum(axis=1)  # shape (lines,)
    total = whole_powers.sum(axis=1)
    if not total.all():
        return None
    share = float(passed.sum() / total.sum())
    # The error of a ratio of two sums, from its scatter between lines.
    residuals = passed - share * total
    error = float(np.std(residuals, ddof=1)) / math.sqrt(lines) / float(total.mean())
    return Mean(share, error) if share > 0 else None


def compute_noise_weight(hz: Samples) -> Samples:
    """Return the power that the unified weighting network passes at each frequency."""
    turn = 2 * np.pi * hz * _WEIGHTING_S
    return np.asarray(
        (1 + (turn / _WEIGHTING_RATIO) ** 2) / (1 + ((1 + 1 / _WEIGHTING_RATIO) * turn) ** 2)
    )


def measure_hum(grid: LineGrid) -> Hum | None:
    """Return the strongest ripple of the blanking level; None for too short a record."""
    line_s, levels_v = grid.sync.starts_s, grid.sync.blankings_v
    if len(line_s) < _FEWEST_FOR_HUM:
        return None
    span_s = float(line_s[-1] - line_s[0])
    blanking = read_blanking(grid)
    noise_v = blanking.noise_v if blanking is not None else 0.0
    hums = []
    for hz in HUM_HZ:
        if span_s * hz < _LEAST_PERIODS:
            continue
        ripple = fit_ripple(line_s, levels_v, hz)
        # Blanking that moves slowly over the codes is rounded as a slow sine is.
        rounding_vpp = 2 * grid.record.carrier_error_v(noise_v, ripple.value / 2)
        error_vpp = math.hypot(ripple.uncertainty, rounding_vpp)
        hums.append(Hum(hz, Mean(ripple.value, error_vpp)))
    return max(hums, key=lambda hum: hum.vpp.value, default=None)


def measure_alternation(grid: LineGrid) -> Figure | None:
    """Return how far blanking differs from line to line, a ripple at half the line rate.

    Lines are compared with the mean of their neighbours, so that slower ripple does not count.
    """
    levels_v, numbers = grid.sync.blankings_v, grid.sync.numbers
    has_neighbours = (numbers[2:] - numbers[:-2] == 2) & (np.diff(numbers)[1:] == 1)
    middle = np.flatnonzero(has_neighbours) + 1
    if len(middle) < _FEWEST_FOR_ALTERNATION:
        return None
    off_v = levels_v[middle] - (levels_v[middle - 1] + levels_v[middle + 1]) / 2
    swings_v = off_v * np.where(numbers[middle] % 2 == 0, 1.0, -1.0)
    spread_v = float(np.std(swings_v, ddof=1)) * _NEIGHBOURS / math.sqrt(len(middle))
    error_v = math.hypot(spread_v, grid.record.mean_error_v(0.0) / 2)
    return Figure(ALTERNATION, abs(float(swings_v.mean())), "Vpp", error_v)


def measure_wander(grid: LineGrid) -> Mean | None:
    """Return how far blanking moves along a record too short for hum, by a parabola through it."""
    at_s, levels_v = grid.sync.starts_s, grid.sync.blankings_v
    if len(at_s) < _FEWEST_FOR_WANDER:
        return None
    x = 2 * (at_s - at_s[0]) / (at_s[-1] - at_s[0]) - 1
    basis = np.column_stack([np.ones_like(x), x, x**2])
    solved, *_ = np.linalg.lstsq(basis, levels_v, rcond=None)
    path = basis @ solved
    rest = levels_v - path
    noise = math.sqrt(float(rest @ rest) / (len(x) - 3))
    # Both ends of a fitted parabola are known to about three times the mean.
    return Mean(float(np.ptp(path)), 3 * math.sqrt(2) * noise / math.sqrt(len(x)))


def fit_ripple(at_s: Samples, levels_v: Samples, hz: float) -> Mean:
    """Return the peak to peak of a sine through levels at these times, by least squares."""
    angle = 2 * np.pi * hz * at_s
    basis = np.column_stack([np.ones_like(angle), np.sin(angle), np.cos(angle)])
    solved, *_ = np.linalg.lstsq(basis, levels_v, rcond=None)
    rest = levels_v - basis @ solved
    noise = math.sqrt(float(rest @ rest) / (len(at_s) - 3))
    scale = np.linalg.pinv(basis.T @ basis)
    error = noise * math.sqrt(float(scale[1, 1] + scale[2, 2]) / 2)
    size = math.hypot(float(solved[1]), float(solved[2]))
    return Mean(2 * size, 2 * error)


def measure_jitter(sync: Sync, noise_v: float, interval_s: float) -> list[Figure]:
    """Return root mean square and peak deviation of line sync from an even grid.

    The part that noise on the edges makes is taken off. None for a record of few lines.
    """
    late_s = sync.late_s
    line_count = len(late_s)
    if line_count < _FEWEST_FOR_JITTER:
        return []
    height_v = float(np.median(sync.heights_v))
    samples = max(3, 2 * round(HALF_EDGE_S / interval_s) + 1)
    # The levels before and after the edge have their own noise, with as many samples each.
    noise_s = noise_v / height_v * math.sqrt(1.5 * samples) * interval_s
    coarse_s = max(interval_s - _FITTED_EDGE_S, 0.0) / math.sqrt(12)
    edge_s2 = noise_s**2 + coarse_s**2

    # Two degrees of freedom are those of the even grid: its start and the duration of a line.
    freedom = line_count - 2
    total_s2 = float(late_s @ late_s) / freedom
    low, high = _find_chi_square(freedom)
    least_s = math.sqrt(max(total_s2 * freedom / high - edge_s2, 0.0))
    most_s = math.sqrt(max(total_s2 * freedom / low - edge_s2, 0.0))
    # The root of a mean square of few lines is on average too small by a quarter of their number.
    rms_s = math.sqrt(max(total_s2 * (1 + 1 / (2 * freedom)) - edge_s2, 0.0))
    peak_s = float(np.ptp(late_s))
    return [
        Figure("line jitter, rms", rms_s, "s", (most_s - least_s) / 4),
        Figure("line jitter, peak to peak", peak_s, "s", math.hypot(noise_s, coarse_s) * 2),
    ]


def _find_chi_square(freedom: int) -> tuple[float, float]:
    """Return what a sum of so many squares of normal numbers lies between in 95 % of all cases.

    Source: E. B. Wilson and M. M. Hilferty, The distribution of chi-square, PNAS 17 (1931).
    """
    part = 2 / (9 * freedom)
    low, high = (freedom * (1 - part + z * math.sqrt(part)) ** 3 for z in (-_Z_95, _Z_95))
    return max(low, _LEAST_CHI_SQUARE), high


def measure_line_rate(sync: Sync) -> Figure | None:
    """Return the line frequency; None for a single line."""
    if not math.isfinite(sync.line_uncertainty_s):
        return None
    hz = 1 / sync.line_s
    return Figure("line frequency", hz, "Hz", hz * sync.line_uncertainty_s / sync.line_s)
