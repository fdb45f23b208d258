"""Levels and times of line sync and its porches, from the lines of a picture."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from .averages import Mean, average, read_blanking, read_flat_part
from .figure import Figure
from .line_grid import LineGrid

_TIP_S: Final = (0.7e-6, 3.9e-6)
_FRONT_PORCH_S: Final = (-1.2e-6, -0.4e-6)
_EDGE_S: Final = 0.42e-6
_CORNERS_OF_RISE: Final = math.sqrt(6)  # two ends and a middle of twice their size
_WHOLE_EDGE_S: Final = 0.2e-6  # duration of an edge of sync, about
_RISE_OF_AREA: Final = 3.225
_SHAPE_SHARE: Final = 0.025 / 3.225 / math.sqrt(3)
"""Rise time over the area between an edge and an ideal step of height 1: exactly 3.2 for a straight
edge, 3.21 for a Gaussian one, 3.249 for a sine-squared one (integrals of the shapes). Which of them
an edge is stays unknown: half their distance over √3 is a standard uncertainty."""
_FURTHER_TERMS: Final = 0.28  # sqrt(1 - 90/π⁴), of the root mean square of the polynomial
_SETTLED_S: Final = (0.25e-6, 1.6e-6)  # behind the leading edge: overshoot and ringing
_FINE_STEP_S: Final = 25e-9  # of the folded edge
_QUIET_TIP_S: Final = (2.0e-6, 4.0e-6)  # behind overshoot and ringing
_SLOWEST_FOR_RISE_S: Final = 0.2e-6
_SLOWEST_FOR_OVERSHOOT_S: Final = 0.1e-6


def measure_levels(grid: LineGrid) -> Iterator[Figure]:
    """Yield sync amplitude, width and rise, and the step from front to back porch."""
    tip = read_flat_part(grid, *_TIP_S)
    back = read_blanking(grid)
    if tip is None or back is None:
        return
    sync = back.average(grid.record) - tip.average(grid.record)
    yield Figure("sync amplitude", sync.value, "V", sync.uncertainty)

    edge_error_s = _compute_edge_error_s(grid, tip.noise_v, sync.value)
    # A wrong level moves both edges, in opposite directions.
    level_error_v = tip.noise_v * math.sqrt(1 / tip.samples + 1 / (2 * back.samples))
    level_error_s = 2 * _EDGE_S * level_error_v / abs(sync.value)
    noise_s = math.hypot(math.sqrt(2) * edge_error_s, level_error_s)
    width = average(grid.sync.widths_s, noise_s)
    # Sampling and rounding may be the same on all lines, which no averaging lessens.
    coarse_s = 2 * _compute_coarse_s(grid)
    rounding_s = _compute_rounding_s(grid, tip.noise_v, sync.value)
    error_s = math.hypot(width.uncertainty, coarse_s, rounding_s)
    yield Figure("sync width", width.value, "s", error_s)

    rise = _measure_rise(grid, tip.noise_v)
    if rise is not None:
        yield Figure("sync rise time", rise.value, "s", rise.uncertainty)
    front = read_flat_part(grid, *_FRONT_PORCH_S)
    if front is not None:
        step = back.average(grid.record) - front.average(grid.record)
        yield Figure("back porch over front porch", step.value, "V", step.uncertainty)


def _compute_edge_error_s(grid: LineGrid, noise_v: float, height_v: float) -> float:
    """Return the standard uncertainty of one edge timed by area."""
    interval_s = grid.record.interval_s
    samples = max(3, 2 * round(_EDGE_S / interval_s) + 1)
    noise_s = noise_v / height_v * math.sqrt(samples) * interval_s
    # A few samples on an edge do not tell where between them it is.
    coarse_s = max(interval_s - _EDGE_S / 2, 0.0) / math.sqrt(12)
    return math.hypot(noise_s, coarse_s)


def compute_start_error_s(grid: LineGrid) -> float:
    """Return the standard uncertainty of 0H, averaged over the lines: noise, rounding, sampling."""
    heights_v = grid.sync.heights_v
    noise_s = grid.sync.edge_error_s / math.sqrt(len(heights_v))
    tip = read_flat_part(grid, *_TIP_S)
    height_v = float(heights_v.mean())
    # Chroma alone has no sync: its lines are laid by the burst.
    if tip is None or not height_v:
        return noise_s
    # A width has two edges, each of which is as uncertain.
    rounding_s = _compute_rounding_s(grid, tip.noise_v, height_v) / math.sqrt(2)
    return math.hypot(noise_s, rounding_s, math.sqrt(2) * _compute_coarse_s(grid))


def _compute_rounding_s(grid: LineGrid, noise_v: float, height_v: float) -> float:
    """Return the standard uncertainty of a width by the rounding of samples to codes.

    Samples on the two edges are rounded each in a way of its own, those of a level all alike: the
    edges then lie between two levels that are off.
    """
    record = grid.record
    samples = max(_WHOLE_EDGE_S / record.interval_s, 1.0)
    own_v = record.repeated_error_v(noise_v) / math.sqrt(grid.count_samplings())
    own_s = math.sqrt(2 * samples) * record.interval_s * own_v
    levels_s = math.sqrt(2) * _WHOLE_EDGE_S * record.mean_error_v(noise_v)
    return math.hypot(own_s, levels_s) / abs(height_v)


def _measure_rise(grid: LineGrid, noise_v: float) -> Mean | None:
    """Return the time from 10 to 90 % of the leading edge; None where samples are too far apart."""
    interval_s = grid.record.interval_s
    # A line that is cut short has no edge of its own: the place of its start is reckoned.
    cut = grid.select(np.isin(grid.order, grid.sync.numbers)).cut(-_EDGE_S, _EDGE_S)
    if interval_s > _SLOWEST_FOR_RISE_S or not cut.which.size:
        return None
    tip, back = read_flat_part(grid, *_TIP_S), read_flat_part(grid, *_FRONT_PORCH_S)
    if tip is None or back is None:
        return None
    before_v, after_v = float(back.means_v.mean()), float(tip.means_v.mean())
    share = (cut.volts - before_v) / (after_v - before_v)  # lines x samples, 0 to 1
    after_start_s = cut.after_s[:, None] + cut.along_s
    # The area between the edge and an ideal step at 0H.
    areas_s = np.where(after_start_s < 0, share, 1 - share).sum(axis=1) * interval_s
    relative_noise = noise_v / abs(after_v - before_v)
    noise_s = relative_noise * math.sqrt(share.shape[1]) * interval_s
    level_error_s = _EDGE_S * relative_noise * math.sqrt(1 / tip.samples + 1 / back.samples)
    area = average(areas_s, math.hypot(noise_s, level_error_s))
    error_s = math.hypot(area.uncertainty, _CORNERS_OF_RISE * _compute_coarse_s(grid))
    rise_s = _RISE_OF_AREA * area.value
    return Mean(rise_s, math.hypot(_RISE_OF_AREA * error_s, _SHAPE_SHARE * rise_s))


def _compute_coarse_s(grid: LineGrid) -> float:
    """Return the error that a few samples on an edge make in its area, for one corner of it.

    The sum of samples of a straight edge of duration w differs from its area by a second Bernoulli
    polynomial at each corner: dt² / 2w times one of root mean square 1/sqrt(180). Where sampling
    and lines are locked it is the same on all lines; else the mean over lines leaves the share
    that the first term of its Fourier series leaves, and the further terms.
    """
    interval_s = grid.record.interval_s
    turns = np.exp(2j * np.pi * grid.starts_s / interval_s)
    left = math.hypot(float(abs(np.mean(turns))), _FURTHER_TERMS)
    return min(left, 1.0) * interval_s**2 / (2 * _WHOLE_EDGE_S) / math.sqrt(180)


def measure_overshoot(grid: LineGrid) -> Figure | None:
    """Return by how far the edge of sync goes beyond the tip, in percent of its height."""
    if grid.record.interval_s > _SLOWEST_FOR_OVERSHOOT_S:
        return None
    cut = grid.cut(*_SETTLED_S)
    tip = read_flat_part(grid, *_QUIET_TIP_S)
    front = read_flat_part(grid, *_FRONT_PORCH_S)
    if not cut.which.size or tip is None or front is None:
        return None
    tip_v = float(tip.means_v.mean())
    height_v = float(front.means_v.mean()) - tip_v
    if height_v <= 0:
        return None

    # All lines are laid over one another, in fine steps of time behind the edge.
    after_edge_s = (cut.after_s[:, None] + cut.along_s).ravel()
    step_s = max(_FINE_STEP_S, cut.interval_s)
    place = ((after_edge_s - _SETTLED_S[0]) / step_s).astype(np.intp)
    samples_at = np.bincount(place)
    is_filled = samples_at > 0
    folded_v = np.bincount(place, cut.volts.ravel()) / np.maximum(samples_at, 1)
    beyond_v = tip_v - float(folded_v[is_filled].min())
    noise_v = tip.noise_v / math.sqrt(max(float(np.median(samples_at[is_filled])), 1.0))
    # The least of several noisy places lies below the level even without overshoot.
    by_noise_v = noise_v * math.sqrt(2 * math.log(max(len(folded_v), 2)))
    overshoot = max(beyond_v - by_noise_v, 0.0) / height_v
    error = math.hypot(noise_v, grid.record.step_v / math.sqrt(12)) / height_v
    return Figure("overshoot of sync", 100 * overshoot, "%", 100 * error)
