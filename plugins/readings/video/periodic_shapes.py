"""Sawtooth, flyback pulse and sine: the figures of one period, and of all of them together."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from ....schema.waveforms import Samples
from .averages import average
from .carrier_fit import Vectors
from .disturbances import fit_ripple
from .figure import Figure, Record

_PLACES: Final = 1000  # along a period, at most
_FEWEST_PLACES: Final = 16
_LONGEST_RETRACE: Final = 0.6  # of the period: longer, it is no sawtooth
_FEWEST_FOR_HUM: Final = 32  # samples
_LEAST_PERIODS: Final = 0.8  # of a hum in the record
_LEAST_SLOPE_V: Final = 1e-12  # a step of less is rounding
_SINE_WIDTH: Final = 1.5  # foot of half a sine wave over its width at half height
_EDGE_PLACES: Final = 0.3  # to which a crossing between two places is known
_FOOT: Final = 0.35  # of the width at half height, from there to the foot
_FEWEST_BETWEEN: Final = 8  # places between pulses
_HARMONICS: Final = 5
_BLOCK_CYCLES: Final = 8  # over which an amplitude is read
_FEWEST_BLOCKS: Final = 4
_MOST_BLOCKS: Final = 200
_NOISE: Final = "noise"
_MAINS_HZ: Final = (50.0, 60.0, 100.0, 120.0)
_LEAST_SHARE: Final = 0.5  # of a ripple that is left a field later
_CALM: Final = 0.9  # of the samples that are not on a way back
_SCAN: Final = (0.06, 0.94)  # of the scan, the part of the picture


@dataclass(frozen=True, eq=False)
class Folded:
    """The mean of all periods of a record."""

    volts: Samples
    """Shape (places,), from the most negative step on: the way back of a rising sawtooth."""
    error_v: float
    """Standard uncertainty of one place."""
    period_s: float


def fold(record: Record, hz: float) -> Folded:
    """Return the mean period of a record that repeats at a frequency."""
    interval_s = record.interval_s
    place_count = int(min(_PLACES, max(1 / (hz * interval_s), _FEWEST_PLACES)))
    # Whole periods only, so that each place has as many samples.
    periods = max(int(len(record.volts) * interval_s * hz), 1)
    used = min(round(periods / (hz * interval_s)), len(record.volts))
    volts = record.volts[:used]
    place = (np.mod(np.arange(used) * interval_s * hz, 1.0) * place_count).astype(np.intp)
    samples_at = np.bincount(place, minlength=place_count)
    means_v = np.bincount(place, volts, minlength=place_count) / np.maximum(samples_at, 1)
    filled = np.flatnonzero(samples_at)
    means_v = np.interp(np.arange(place_count), filled, means_v[filled], period=place_count)
    # Second differences have 1 + 4 + 1 times the variance of the noise (von Neumann, 1941).
    noise_v = float(np.std(np.diff(volts, 2))) / math.sqrt(6) if used > 3 else 0.0
    return Folded(means_v, noise_v / math.sqrt(max(used / place_count, 1.0)), 1 / hz)


def measure_sawtooth(record: Record, hz: float, rising: bool) -> Iterator[Figure]:
    """Yield retrace, S-correction and linearity of a sawtooth.

    The scan is fitted with a x + b x³, x from -1 to 1 along it; linearity is what is left, over
    the height. S-correction s is that of x - s x³.
    """
    folded = fold(record, hz)
    volts = folded.volts if rising else -folded.volts
    place_count = len(volts)
    top, bottom = int(np.argmax(volts)), int(np.argmin(volts))
    retrace_places = (bottom - top) % place_count
    height_v = float(volts[top] - volts[bottom])
    if height_v <= 0 or retrace_places > place_count * _LONGEST_RETRACE:
        return
    yield Figure("retrace", 100 * retrace_places / place_count, "%", 100 / place_count)

    scan_v = np.take(volts, bottom + np.arange(place_count - retrace_places + 1), mode="wrap")
    x = np.linspace(-1, 1, len(scan_v))
    # The ends of the scan are outside the picture, and rounded by the retrace.
    from_share, to_share = _SCAN
    is_picture = (x > 2 * from_share - 1) & (x < 2 * to_share - 1)
    basis = np.column_stack([np.ones_like(x), x, x**3])[is_picture]  # places x unknowns
    solved, *_ = np.linalg.lstsq(basis, scan_v[is_picture], rcond=None)
    _, slope_v, cubic_v = solved
    covariance = np.linalg.pinv(basis.T @ basis)
    s_correction = -100 * float(cubic_v / slope_v)
    cubic_error_v = folded.error_v * math.sqrt(float(covariance[2, 2]))
    yield Figure("S-correction", s_correction, "%", 100 * cubic_error_v / abs(float(slope_v)))
    residual_v = _smooth(scan_v[is_picture] - basis @ solved)
    worst_v = float(np.abs(residual_v).max())
    relative_error = folded.error_v / height_v
    yield Figure("non-linearity", 100 * worst_v / height_v, "%", 100 * relative_error)


def _smooth(volts: Samples) -> Samples:
    width = max(len(volts) // 25, 1)
    return np.convolve(volts, np.full(width, 1 / width), "valid")


def measure_hum_beside(record: Record, hz: float) -> Figure | None:
    """Return the hum on a signal of a field rate; None where it cannot be told from the signal.

    A record less itself one field later holds nothing of the signal, but 2 sin(pi f / hz) times a
    ripple of frequency f. That is nothing where the field is locked to the mains.
    """
    shift = round(1 / (hz * record.interval_s))
    rest_v = record.volts[shift:] - record.volts[:-shift]
    t_s = np.arange(len(rest_v), dtype=np.float64) * record.interval_s
    rest_s = len(rest_v) * record.interval_s
    candidates: list[Figure] = []
    for mains_hz in _MAINS_HZ:
        share_left = 2 * abs(math.sin(math.pi * mains_hz / hz))
        is_too_short = len(rest_v) < _FEWEST_FOR_HUM or rest_s * mains_hz < _LEAST_PERIODS
        if share_left < _LEAST_SHARE or is_too_short:
            continue
        # Ways back that are not quite one above the other leave spikes.
        jumps_v = np.abs(np.diff(rest_v, prepend=rest_v[0]) - np.median(np.diff(rest_v)))
        is_calm = jumps_v <= max(float(np.quantile(jumps_v, _CALM)), _LEAST_SLOPE_V)
        ripple = fit_ripple(t_s[is_calm], rest_v[is_calm], mains_hz)
        candidates.append(
            Figure("hum", ripple.value / share_left, "Vpp", ripple.uncertainty / share_left)
        )
    return max(candidates, key=lambda hum: hum.value - 2 * hum.uncertainty, default=None)


def measure_flyback(record: Record, hz: float) -> Iterator[Figure]:
    """Yield peak and width of flyback pulses, and the ringing between them.

    Half a sine wave is above half its height for two thirds of its width at the foot.
    """
    folded = fold(record, hz)
    volts, place_count = folded.volts, len(folded.volts)
    rest_v = float(np.median(volts))
    sign = 1 if volts.max() - rest_v > rest_v - volts.min() else -1
    height_v = sign * (volts - rest_v)
    peak_v = float(height_v.max())
    if peak_v <= 0:
        return
    yield Figure("flyback peak", rest_v + sign * peak_v, "V", 2 * folded.error_v)

    # With the peak in the middle of the period, its width at half height between two places.
    centred_v = np.roll(height_v, place_count // 2 - int(np.argmax(height_v)))
    upper_half = np.flatnonzero(centred_v > peak_v / 2)
    start, end = int(upper_half[0]), int(upper_half[-1])
    if start < 1 or end > place_count - 2:
        return
    left = start - (centred_v[start] - peak_v / 2) / (centred_v[start] - centred_v[start - 1])
    right = end + (centred_v[end] - peak_v / 2) / (centred_v[end] - centred_v[end + 1])
    step_s = folded.period_s / place_count
    width_s = _SINE_WIDTH * (right - left) * step_s
    slope_v = peak_v / max(right - left, 1.0)  # a place
    error_s = _SINE_WIDTH * math.hypot(folded.error_v / slope_v, _EDGE_PLACES) * step_s
    yield Figure("flyback width", width_s, "s", error_s)

    foot = round(_FOOT * (right - left))
    between_v = np.concatenate([centred_v[: max(start - foot, 0)], centred_v[end + foot :]])
    if between_v.size > _FEWEST_BETWEEN:
        swing = float(np.ptp(_smooth_three(between_v))) / peak_v
        noise_swing = 3 * folded.error_v / peak_v
        ringing = max(swing - noise_swing, 0.0)
        yield Figure("ringing between pulses", 100 * ringing, "%", 100 * noise_swing)


def _smooth_three(volts: Samples) -> Samples:
    return np.convolve(volts, np.full(3, 1 / 3), "valid")


def measure_sine(record: Record, hz: float) -> Iterator[Figure]:
    """Yield the amplitude of a sine, its harmonics, its noise, and how steady its amplitude is.

    A sine of known frequency and its harmonics are fitted to stretches of a few cycles, evenly
    spread over the record; the rest is noise (IEEE Std 1057, sine fit; from memory).
    """
    fits = _fit_stretches(record, hz)
    if fits is None:
        return
    sizes_vpp, error_vpp = 2 * np.abs(fits.vectors_v[:, 0]), 2 * fits.vector_error_v
    stretch_count = len(sizes_vpp)
    size = average(sizes_vpp, error_vpp)
    rounding_vpp = 2 * record.carrier_error_v(fits.noise_v, size.value / 2)
    yield Figure("sine amplitude", size.value, "Vpp", math.hypot(size.uncertainty, rounding_vpp))
    if not size.value:
        return
    relative_error = error_vpp / size.value / math.sqrt(stretch_count)
    if fits.vectors_v.shape[1] > 1:
        # On all stretches together, in step with the sine itself.
        harmonics_v = fits.vectors_v[:, 1:] * _turn_into_step(fits.vectors_v)
        shares = 2 * np.abs(harmonics_v.mean(axis=0)) / size.value
        # Noise lengthens a vector: its part of the power is taken off.
        power = float(np.maximum(shares**2 - 2 * relative_error**2, 0.0).sum())
        error = math.sqrt(len(shares)) * math.hypot(relative_error, rounding_vpp / size.value)
        yield Figure("harmonics", 100 * math.sqrt(power), "%", 100 * error)
    # A standard deviation from n residuals is known to 1/√2n of itself.
    yield Figure(_NOISE, fits.noise_v, "V", fits.noise_v * (1 / math.sqrt(2 * fits.freedom)))
    if stretch_count >= _FEWEST_BLOCKS:
        variance = max(float(np.var(sizes_vpp, ddof=1)) - error_vpp**2, 0.0)
        spread = math.sqrt(variance) / size.value
        error = max(relative_error, spread / 10)
        yield Figure("change of amplitude", 100 * spread, "%", 100 * error)


@dataclass(frozen=True, eq=False)
class _SineFits:
    """A sine and its harmonics on stretches of a record."""

    vectors_v: Vectors
    """Half peak to peak, shape (stretches, orders), counted from the start of each."""
    vector_error_v: float
    """Standard uncertainty of either part of the sine on one stretch."""
    noise_v: float
    freedom: int


def _fit_stretches(record: Record, hz: float) -> _SineFits | None:
    """Return the fits; None for a record with too few samples for them."""
    sample_count = len(record.volts)
    length = min(max(round(_BLOCK_CYCLES / (hz * record.interval_s)), 9), sample_count)
    # Harmonics below half the sampling rate, and no more than the samples can tell apart.
    highest_hz = 0.45 * record.rate_hz
    orders = [order for order in range(1, _HARMONICS + 1) if order * hz < highest_hz] or [1]
    orders = orders[: max((length - 3) // 4, 1)]
    angle = 2 * np.pi * hz * record.interval_s * np.arange(length)
    waves = [wave(order * angle) for order in orders for wave in (np.sin, np.cos)]
    basis = np.column_stack([np.ones(length), *waves])  # samples x (1 + 2 orders)
    freedom = length - basis.shape[1]
    if freedom < 1:
        return None
    stretch_count = min(sample_count // length, _MOST_BLOCKS)
    first_samples = np.linspace(0, sample_count - length, stretch_count).astype(np.intp)
    volts = record.volts[first_samples[:, None] + np.arange(length)]  # stretches x samples
    covariance = np.linalg.pinv(basis.T @ basis)
    solved = volts @ (basis @ covariance)
    residuals_v = volts - solved @ basis.T
    total_freedom = stretch_count * freedom
    noise_v = math.sqrt(float(np.sum(residuals_v**2)) / total_freedom)
    vectors_v = solved[:, 1::2] + 1j * solved[:, 2::2]
    error_v = noise_v * math.sqrt(float(covariance[1, 1] + covariance[2, 2]) / 2)
    return _SineFits(vectors_v, error_v, noise_v, total_freedom)


def _turn_into_step(vectors_v: Vectors) -> Vectors:
    """Return the turns that bring the harmonics of all stretches into step with the sine."""
    phases = np.angle(vectors_v[:, 0])[:, None]
    return np.asarray(np.exp(-1j * phases * np.arange(2, vectors_v.shape[1] + 1)))
