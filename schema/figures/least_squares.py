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
# Marquardt's damping: where it starts, how it grows after a bad step and falls after a good one.
_FIRST_DAMPING: Final = 1e-3
_MOST_DAMPING: Final = 1e9
_DAMPING_UP: Final = 4
_DAMPING_DOWN: Final = 8
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
    """Return the closest fit of a shape to volts ``v`` at ``phase``, both of shape (samples,).

    ``grid`` holds the starting values of each parameter, ``bounds`` its lowest and highest value.
    """
    # Least squares may settle in a hollow beside the best fit, so several starts are improved.
    starts = sorted(
        (_fit_linear(shape, phase, v, np.array(start)) for start in product(*grid)),
        key=lambda fit: fit.rms_v,
    )
    low, high = np.array(bounds, dtype=np.float64).reshape(-1, 2).T
    improved = [_improve(shape, phase, v, start, low, high) for start in starts[:_STARTS]]
    return min(improved, key=lambda fit: fit.rms_v)


def _fit_linear(shape: Shape, phase: Floats, v: Floats, parameters: Floats) -> ShapeFit:
    """Return the fit with height and level by linear least squares at these parameters."""
    height_v, level_v, residual = _solve_linear(shape, phase, v, parameters)
    rms_v = float(np.sqrt(residual @ residual / len(v)))
    return ShapeFit(parameters, height_v, level_v, rms_v)


def _find_residual(shape: Shape, phase: Floats, v: Floats, parameters: Floats) -> Floats:
    return _solve_linear(shape, phase, v, parameters)[2]


def _solve_linear(
    shape: Shape, phase: Floats, v: Floats, parameters: Floats
) -> tuple[float, float, Floats]:
    """Return height and level, and the residual of the curve they make: curve less volts."""
    curve = shape(phase, parameters)
    mean, mean_v = curve.sum() / len(curve), v.sum() / len(v)
    centred = curve - mean
    power = float(centred @ centred)
    # A flat shape has no height: any would fit as well.
    height_v = float(centred @ v) / power if power > _SMALLEST else 0.0
    return height_v, float(mean_v - height_v * mean), height_v * centred - (v - mean_v)


def _improve(
    shape: Shape, phase: Floats, v: Floats, start: ShapeFit, low: Floats, high: Floats
) -> ShapeFit:
    """Return the fit after damped Gauss-Newton steps, taken until none gets closer.

    Source: the Levenberg-Marquardt method, damping in proportion to the diagonal (Marquardt 1963).
    """
    best, damping = start, _FIRST_DAMPING
    for _ in range(_STEPS if len(low) else 0):
        residual = _find_residual(shape, phase, v, best.parameters)
        slope = _find_slope(shape, phase, v, best.parameters, low, high)  # samples x parameters
        normal, gradient = slope.T @ slope, slope.T @ residual
        # More damping makes a shorter step, down the gradient in the end.
        while damping < _MOST_DAMPING:
            damped = normal + damping * np.diag(np.diag(normal) + _SMALLEST)
            step = np.linalg.lstsq(damped, gradient, rcond=None)[0]
            parameters = np.clip(best.parameters - step, low, high)
            candidate = _fit_linear(shape, phase, v, parameters)
            if candidate.rms_v < best.rms_v:
                break
            damping *= _DAMPING_UP
        else:
            return best
        is_settled = best.rms_v - candidate.rms_v < _SETTLED * best.rms_v
        best, damping = candidate, damping / _DAMPING_DOWN
        if is_settled:
            return best
    return best


def _find_slope(
    shape: Shape, phase: Floats, v: Floats, parameters: Floats, low: Floats, high: Floats
) -> Floats:
    """Return the change of the residual with each parameter: samples x parameters."""
    columns = []
    for index in range(len(parameters)):
        before, after = parameters.copy(), parameters.copy()
        before[index] = max(before[index] - _STEP, low[index])
        after[index] = min(after[index] + _STEP, high[index])
        change = _find_residual(shape, phase, v, after) - _find_residual(shape, phase, v, before)
        columns.append(change / (after[index] - before[index]))
    return np.stack(columns, axis=1)
