"""Least-squares fit of a periodic shape to a drawn curve.

A shape is a function of the phase (0 to 1) and a few parameters that bend or shift it; height and
level enter linearly and are solved exactly at every step (variable projection: G. H. Golub and
V. Pereyra, SIAM J. Numer. Anal. 10, 1973), the others by damped Gauss-Newton steps (D. W.
Marquardt, J. SIAM 11, 1963) from the best point of a coarse grid.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Shape = Callable[[Floats, Floats], Floats]
"""From phases and parameters to a curve of any height and level."""

_STEPS: Final = 60
_STEP: Final = 1e-4  # of the numerical slope; phases and shares are of the order of 1
_SMALLEST: Final = 1e-12
_STARTS: Final = 3
_SETTLED: Final = 1e-5  # a step that gains a smaller share of the residual is the last


@dataclass(frozen=True, eq=False)
class ShapeFit:
    """The closest curve ``height * shape + level``."""

    parameters: Floats
    """Parameters of the shape."""
    height_v: float
    """Volts for 1 of the shape; below zero where it is turned over."""
    level_v: float
    """Volts where the shape is 0."""
    rms_v: float
    """Root mean square of the residual."""


def fit_shape(
    shape: Shape,
    phase: Floats,
    v: Floats,
    grid: Sequence[Sequence[float]],
    bounds: Sequence[tuple[float, float]],
) -> ShapeFit:
    """Fit a shape to volts ``v`` at the phases ``phase``; both have one value for each sample.

    ``grid`` holds the starting values of each parameter, ``bounds`` its lowest and highest value.
    """
    starts = sorted(
        (_fitted(shape, phase, v, np.array(start)) for start in product(*grid)),
        key=lambda fit: fit.rms_v,
    )
    low, high = np.array(bounds, dtype=np.float64).reshape(-1, 2).T
    improved = [_improved(shape, phase, v, start, low, high) for start in starts[:_STARTS]]
    return min(improved, key=lambda fit: fit.rms_v)


def _fitted(shape: Shape, phase: Floats, v: Floats, parameters: Floats) -> ShapeFit:
    """Return the fit with height and level by linear least squares at these parameters."""
    height_v, level_v, residual = _solved(shape, phase, v, parameters)
    rms_v = float(np.sqrt(residual @ residual / len(v)))
    return ShapeFit(parameters, height_v, level_v, rms_v)


def _residual(shape: Shape, phase: Floats, v: Floats, parameters: Floats) -> Floats:
    return _solved(shape, phase, v, parameters)[2]


def _solved(
    shape: Shape, phase: Floats, v: Floats, parameters: Floats
) -> tuple[float, float, Floats]:
    """Return height and level, and the residual of the curve they make: curve less volts."""
    s = shape(phase, parameters)
    mean, mean_v = s.sum() / len(s), v.sum() / len(v)
    about = s - mean
    power = float(about @ about)
    height_v = float(about @ v) / power if power > _SMALLEST else 0.0
    return height_v, float(mean_v - height_v * mean), height_v * about - (v - mean_v)


def _improved(
    shape: Shape, phase: Floats, v: Floats, start: ShapeFit, low: Floats, high: Floats
) -> ShapeFit:
    """Return the fit after damped Gauss-Newton steps, taken until none gets closer."""
    best, damping = start, 1e-3
    for _ in range(_STEPS if len(low) else 0):
        residual = _residual(shape, phase, v, best.parameters)
        slope = _slope(shape, phase, v, best.parameters, low, high)
        normal, pull = slope.T @ slope, slope.T @ residual
        while damping < 1e9:
            damped = normal + damping * np.diag(np.diag(normal) + _SMALLEST)
            step = np.linalg.lstsq(damped, pull, rcond=None)[0]
            tried = _fitted(shape, phase, v, np.clip(best.parameters - step, low, high))
            if tried.rms_v < best.rms_v:
                break
            damping *= 4
        else:
            return best
        settled = best.rms_v - tried.rms_v < _SETTLED * best.rms_v
        best, damping = tried, damping / 8
        if settled:
            return best
    return best


def _slope(
    shape: Shape, phase: Floats, v: Floats, parameters: Floats, low: Floats, high: Floats
) -> Floats:
    """Return the change of the residual with each parameter: samples x parameters."""
    columns = []
    for place in range(len(parameters)):
        before, after = parameters.copy(), parameters.copy()
        before[place] = max(before[place] - _STEP, low[place])
        after[place] = min(after[place] + _STEP, high[place])
        change = _residual(shape, phase, v, after) - _residual(shape, phase, v, before)
        columns.append(change / (after[place] - before[place]))
    return np.stack(columns, axis=1)
