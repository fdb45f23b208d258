"""The trace on the screen of an oscilloscope, as numbers.

The signal is computed on a fine grid of times and gathered column by column: the lowest and the
highest point of the beam, and the share of time at each height. A carrier faster than the screen is
wide is gathered over several sweeps, which find it at other phases, as on the tube. A colour
subcarrier thus becomes a graded band, and slow parts stay a line.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ...schema.chips.expectation import Expectation
from .scope_settings import DIVISIONS_ACROSS, DIVISIONS_UP, ScopeSettings

Numbers = NDArray[np.float64]
Seen = Callable[[Numbers], Numbers]

BINS_PER_DIV: Final = 20
_DIVISIONS_BEFORE_TRIGGER: Final = 1
_SAMPLES_A_CYCLE: Final = 100
_FEWEST_A_COLUMN: Final = 24
_MOST_SAMPLES: Final = 400_000
_SWEEPS: Final = 8  # after as many lines the subcarrier of PAL has gone through its phases twice
_BLURRED_CYCLES: Final = 0.5  # of a carrier in a column: it is no longer seen as a line


@dataclass(frozen=True, eq=False)
class Trace:
    """The beam column by column, in volts at the input after its coupling."""

    t_s: Numbers
    """Middle of each column in seconds after the trigger, shape (columns,)."""
    low_v: Numbers
    """Lowest volts in each column, joined to its neighbours, shape (columns,)."""
    high_v: Numbers
    """Highest volts in each column, joined to its neighbours, shape (columns,)."""
    density: Numbers
    """Share of a column's time at each step of height, from the bottom of the screen to the top.

    Shape (columns, 8 x 20); each column adds up to 1.
    """
    centre_v: float
    """Volts at the middle line of the screen, a whole number of divisions."""
    removed_v: float
    """The DC voltage removed by AC coupling; 0 with DC coupling."""


def compute_trace(
    expectation: Expectation,
    settings: ScopeSettings,
    columns: int = 500,
    seen: Seen | None = None,
) -> Trace:
    """Return the trace of an expectation on a screen of ``columns`` columns with these settings.

    ``seen`` returns the volts that reach the screen at evenly spaced times, where instruments
    change the signal; by default these are the volts on the pin.
    """
    span_s = DIVISIONS_ACROSS * settings.time_per_div_s
    start_s = -_DIVISIONS_BEFORE_TRIGGER * settings.time_per_div_s
    samples = _choose_samples_a_column(expectation, span_s, columns)
    sweep_starts_s = _list_sweep_starts_s(expectation, span_s / columns)
    # Sweeps differ in phase, so that together they need as many samples as a single one.
    if len(sweep_starts_s) > 1:
        samples = max(samples // len(sweep_starts_s) + 1, _FEWEST_A_COLUMN)
    sample_count = columns * samples
    sample_numbers = np.arange(sample_count, dtype=np.float64)
    t_s: Numbers = start_s + (sample_numbers + 0.5) * (span_s / sample_count)

    low_v, high_v, mean_v = _compute_levels(expectation)
    # A capacitor at the input takes the mean away.
    removed_v = mean_v if settings.coupling == "AC" else 0.0
    volts_at = seen or expectation.volts
    sweeps = [volts_at(t_s + start_s).reshape(columns, samples) for start_s in sweep_starts_s]
    volts = np.stack(sweeps) - removed_v  # sweeps x columns x samples
    column_low_v, column_high_v = _join_columns(volts)
    column_volts = volts.swapaxes(0, 1).reshape(columns, -1)  # columns x samples of all sweeps
    centre_v = _choose_centre_v(low_v - removed_v, high_v - removed_v, settings)
    return Trace(
        t_s=t_s.reshape(columns, samples).mean(axis=1),
        low_v=column_low_v,
        high_v=column_high_v,
        density=_compute_density((column_volts - centre_v) / settings.volts_per_div),
        centre_v=centre_v,
        removed_v=removed_v,
    )


def _list_sweep_starts_s(expectation: Expectation, column_s: float) -> tuple[float, ...]:
    """Return how long after the first each sweep starts: several where a carrier is a band."""
    waveform = expectation.waveform
    if waveform is None or not waveform.frequency_hz:
        return (0.0,)
    is_modulated = waveform.carrier_hz > waveform.frequency_hz
    if not is_modulated or waveform.carrier_hz * column_s < _BLURRED_CYCLES:
        return (0.0,)
    return tuple(sweep / waveform.frequency_hz for sweep in range(_SWEEPS))


def _choose_samples_a_column(expectation: Expectation, span_s: float, columns: int) -> int:
    """Return the number of samples in a column that shows the fastest part of the waveform."""
    fastest_hz = expectation.waveform.fastest_hz if expectation.waveform is not None else 0.0
    sample_count = fastest_hz * span_s * _SAMPLES_A_CYCLE
    return int(np.clip(sample_count / columns + 1, _FEWEST_A_COLUMN, _MOST_SAMPLES / columns))


def _compute_levels(expectation: Expectation) -> tuple[float, float, float]:
    """Return lowest, highest and mean volts to ground."""
    if expectation.waveform is None:
        level_v = expectation.dc.nominal if expectation.dc is not None else 0.0
        return level_v, level_v, level_v
    low_v, high_v, mean_v = (v + expectation.offset_v for v in expectation.waveform.extremes_v)
    return low_v, high_v, mean_v


def _choose_centre_v(low_v: float, high_v: float, settings: ScopeSettings) -> float:
    """Return the volts at the middle line, which centre signal and zero on whole divisions."""
    middle_v = (max(high_v, 0.0) + min(low_v, 0.0)) / 2
    return round(middle_v / settings.volts_per_div) * settings.volts_per_div


def _join_columns(volts: Numbers) -> tuple[Numbers, Numbers]:
    """Return lowest and highest of each column, extended to half-way towards its neighbours.

    ``volts`` are sweeps x columns x samples.
    """
    low, high = volts.min(axis=2), volts.max(axis=2)
    meeting = (volts[:, :-1, -1] + volts[:, 1:, 0]) / 2
    for part in (slice(None, -1), slice(1, None)):
        low[:, part] = np.minimum(low[:, part], meeting)
        high[:, part] = np.maximum(high[:, part], meeting)
    return low.min(axis=0), high.max(axis=0)


def _compute_density(divisions: Numbers) -> Numbers:
    """Return the share of each row at each height; ``divisions`` counts from the middle line."""
    columns, samples = divisions.shape
    bins = DIVISIONS_UP * BINS_PER_DIV
    height = np.floor((divisions + DIVISIONS_UP / 2) * BINS_PER_DIV + 1e-9).astype(np.intp)
    flat = np.clip(height, 0, bins - 1) + np.arange(columns)[:, None] * bins
    counts = np.bincount(flat.ravel(), minlength=columns * bins)
    return np.asarray(counts.reshape(columns, bins) / samples)
