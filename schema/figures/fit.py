"""Fit a waveform drawn in a data sheet with the known kinds; a polyline if none fits.

The drawn curve is the straight lines between the points, over the time they span. A kind fits
if the root mean square of the residual is within a stated share of the peak to peak.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..quantities import print_value
from ..waveforms import Waveform
from ..waveforms.kinds.basic_shapes import Steady
from ..waveforms.kinds.polyline import Polyline
from .least_squares import Floats, fit_shape
from .shapes import KINDS, round_quantity

WITHIN: Final = 0.05
"""Largest error of a kind that still fits: rms share of the peak to peak."""

_SAMPLES: Final = 1500
_MOST_PERIODS: Final = 8
_FAR: Final = 1000  # times the time drawn: no figure shows so many periods, or so little of one
_MOST_POINTS: Final = 1000  # of a polyline
_FEWEST_POINTS: Final = 4  # to a period, where a figure shows several
_CURVED_POINTS: Final = 8  # fewer points to a period speak for straight lines
_LEVEL_AND_HEIGHT: Final = 2  # parameters that every kind has
_ROUNDING: Final = 1e-9
_FLAT: Final = 0.01  # peak to peak of a steady level, as a share of the level
_AS_GOOD: Final = 0.01  # errors nearer than this are the same: then the simpler kind
_HEIGHT: Final = (0.7, 1.4)  # of the drawn peak to peak: a kind that misses the peaks fits nothing


@dataclass(frozen=True)
class KindFit:
    """How well one kind fits the drawn curve."""

    kind: str
    error: float
    """Rms residual, as a share of the peak to peak."""
    waveform: Waveform
    """The closest waveform of the kind."""
    mean_v: float
    """Mean to ground: the DC that a waveform which floats sits on."""
    parameters: int
    """How many figures it takes: fewer is simpler."""


@dataclass(frozen=True)
class FigureFit:
    """The waveform that fits a drawn curve, how well, and the other kinds tried."""

    waveform: Waveform
    """A known kind when one fits, else the polyline through the points."""
    error: float
    """Rms residual, as a share of the peak to peak; 0 for the polyline. For a steady level
    the drawn peak to peak as a share of the level."""
    mean_v: float
    """Mean to ground in volts, as a meter reads it."""
    periods: float
    """How many periods the figure shows."""
    within: float
    """The largest error that was allowed."""
    tried: tuple[KindFit, ...]
    """Every kind that was tried, the closest first."""

    @property
    def is_known(self) -> bool:
        """True when a known kind fits."""
        return not isinstance(self.waveform, Polyline)


def fit_figure(
    t_s: Floats, v: Floats, repeat_s: float | None = None, within: float = WITHIN
) -> FigureFit:
    """Return the waveform through points at ``t_s`` (seconds, from 0) with levels ``v`` (volts).

    It repeats every ``repeat_s``; when that is not known, after the time drawn, or after a whole
    part of it where the figure shows several periods. Raises ValueError for fewer than two
    points, falling times, or a repeat far from the time they span.
    """
    _check_points(t_s, v, repeat_s)
    span_s = float(t_s[-1])
    polyline = _make_polyline(t_s, v, repeat_s or span_s)
    swing_v, largest_v = np.ptp(v), np.abs(v).max()
    # The width of a drawn line is no signal.
    if swing_v <= _FLAT * largest_v:
        level = Steady(kind="steady", level=round_quantity(polyline.mean_v, "V", 3))
        error = float(swing_v / (largest_v or 1.0))
        return FigureFit(level, error, polyline.mean_v, 1.0, within, ())
    if repeat_s is not None:
        fits = _fit_kinds(t_s, v, repeat_s)
    else:
        fits = _fit_whole_periods(t_s, v, span_s, within)
    fits.sort(key=lambda fit: fit.error)
    close_fits = [fit for fit in fits if fit.error <= within]
    if not close_fits:
        periods = span_s / polyline.period_s
        return FigureFit(polyline, 0.0, polyline.mean_v, periods, within, tuple(fits))
    # Of fits that are about as close, the one with the fewest parameters says most.
    least_error = close_fits[0].error
    closest_fits = [fit for fit in close_fits if fit.error <= least_error + _AS_GOOD]
    best = min(closest_fits, key=lambda fit: (fit.parameters, fit.error))
    periods = span_s / best.waveform.period_s
    return FigureFit(best.waveform, best.error, best.mean_v, periods, within, tuple(fits))


def _check_points(t_s: Floats, v: Floats, repeat_s: float | None) -> None:
    """Raise ValueError for too few points, falling times, or a repeat far from them."""
    if len(t_s) < 2 or len(t_s) != len(v):
        raise ValueError(f"{len(t_s)} times, {len(v)} levels; give two points or more")
    if t_s[0] != 0 or not t_s[-1] > 0 or (np.diff(t_s) < 0).any():
        raise ValueError("the times do not rise from 0 s; sort the points by time")
    if repeat_s is not None and not t_s[-1] / _FAR <= repeat_s <= t_s[-1] * _FAR:
        drawn = print_value(float(t_s[-1]), "s")
        raise ValueError(f"repeat {repeat_s:g} s is far from the {drawn} drawn; give one near it")


def _fit_whole_periods(t_s: Floats, v: Floats, span_s: float, within: float) -> list[KindFit]:
    """Return the fits at the time drawn, or at its largest whole part at which a kind fits."""
    most = max(1, min(_MOST_PERIODS, len(t_s) // _FEWEST_POINTS))
    full_fit = _fit_kinds(t_s, v, span_s)
    fits, periods = full_fit, 1
    while not any(fit.error <= within for fit in fits):
        periods += 1
        if periods > most:
            return full_fit
        fits = _fit_kinds(t_s, v, span_s / periods)
    return fits


def _fit_kinds(t_s: Floats, v: Floats, period_s: float) -> list[KindFit]:
    """Return the closest waveform of every kind at one period."""
    end_s = max(float(t_s[-1]), period_s)
    samples_s = (np.arange(_SAMPLES) + 0.5) * end_s / _SAMPLES
    # Where the figure stops short of the period, its last point runs on to the next first.
    end_v = v[0] if end_s > t_s[-1] else v[-1]
    samples_v = np.interp(samples_s, np.append(t_s, end_s), np.append(v, end_v))
    phase = np.mod(samples_s / period_s, 1.0)
    points_a_period = len(t_s) * period_s / end_s
    swing_v = float(np.ptp(v))
    least_height, most_height = _HEIGHT
    fits = []
    for kind in KINDS:
        # A curve is drawn with more points: so few of them speak for straight lines.
        if kind.curved and points_a_period < _CURVED_POINTS:
            continue
        fit = fit_shape(kind.shape, phase, samples_v, kind.grid(phase, samples_v), kind.bounds)
        waveform = kind.make(fit, period_s)
        # A waveform that misses the peaks of the figure is no likeness of it.
        if waveform is None or not least_height < abs(fit.height_v) / swing_v < most_height:
            continue
        mean_v = fit.level_v + fit.height_v * kind.mean(fit.parameters)
        parameter_count = _LEVEL_AND_HEIGHT + len(kind.bounds)
        fits.append(KindFit(waveform.kind, fit.rms_v / swing_v, waveform, mean_v, parameter_count))
    return fits


def _make_polyline(t_s: Floats, v: Floats, repeat_s: float) -> Polyline:
    """Return the points of the first period, thinned to the most that a polyline may have."""
    is_inside = t_s <= repeat_s * (1 + _ROUNDING)
    t_s, v = np.minimum(t_s[is_inside], repeat_s), v[is_inside]
    # A polyline has two points at least.
    if len(t_s) == 1:
        t_s, v = np.append(t_s, repeat_s), np.append(v, v[0])
    if len(t_s) > _MOST_POINTS:
        kept_indexes = np.unique(np.linspace(0, len(t_s) - 1, _MOST_POINTS).round().astype(int))
        t_s, v = t_s[kept_indexes], v[kept_indexes]
    points = tuple(
        (round_quantity(t, "s", 6), round_quantity(level, "V", 4))
        for t, level in zip(t_s, v, strict=True)
    )
    return Polyline(kind="polyline", points=points, repeat=round_quantity(repeat_s, "s", 6))
