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

_PLACES: Final = 1000  # along a period
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
    places = int(min(_PLACES, max(1 / (hz * record.interval_s), 16)))
    count = max(int(len(record.volts) * record.interval_s * hz), 1)
    used = min(round(count / (hz * record.interval_s)), len(record.volts))
    volts = record.volts[:used]
    place = (np.mod(np.arange(used) * record.interval_s * hz, 1.0) * places).astype(np.intp)
    held = np.bincount(place, minlength=places)
    means = np.bincount(place, volts, minlength=places) / np.maximum(held, 1)
    at = np.flatnonzero(held)
    means = np.interp(np.arange(places), at, means[at], period=places)
    noise_v = float(np.std(np.diff(volts, 2))) / math.sqrt(6) if used > 3 else 0.0
    return Folded(means, noise_v / math.sqrt(max(used / places, 1.0)), 1 / hz)


def measure_sawtooth(record: Record, hz: float, rising: bool) -> Iterator[Figure]:
    """Yield retrace, S-correction and linearity of a sawtooth.

    The scan is fitted with a x + b x³, x from -1 to 1 along it; linearity is what is left, over
    the height. S-correction s is that of x - s x³.
    """
    folded = fold(record, hz)
    volts = folded.volts if rising else -folded.volts
    top, bottom = int(np.argmax(volts)), int(np.argmin(volts))
    places = len(volts)
    back = (bottom - top) % places
    height_v = float(volts[top] - volts[bottom])
    if height_v <= 0 or back > places * 0.6:
        return
    error = folded.error_v / height_v
    yield Figure("retrace", 100 * back / places, "%", 100 / places)
    scan = np.take(volts, bottom + np.arange(places - back + 1), mode="wrap")
    x = np.linspace(-1, 1, len(scan))
    inside = (x > 2 * _SCAN[0] - 1) & (x < 2 * _SCAN[1] - 1)
    basis = np.column_stack([np.ones_like(x), x, x**3])[inside]
    solved, *_ = np.linalg.lstsq(basis, scan[inside], rcond=None)
    rest = scan[inside] - basis @ solved
    scale = np.linalg.pinv(basis.T @ basis)
    cubic = -100 * float(solved[2] / solved[1])
    cubic_error = 100 * folded.error_v * math.sqrt(float(scale[2, 2])) / abs(float(solved[1]))
    yield Figure("S-correction", cubic, "%", cubic_error)
    worst = float(np.abs(_smooth(rest)).max())
    yield Figure("non-linearity", 100 * worst / height_v, "%", 100 * error)


def _smooth(volts: Samples) -> Samples:
    width = max(len(volts) // 25, 1)
    return np.convolve(volts, np.full(width, 1 / width), "valid")


def measure_hum_beside(record: Record, hz: float) -> Figure | None:
    """Return the hum on a signal of a field rate; None where it cannot be told from the signal.

    A record less itself one field later holds nothing of the signal, but 2 sin(pi f / hz) times a
    ripple of frequency f. That is nothing where the field is locked to the mains.
    """
    shift = round(1 / (hz * record.interval_s))
    found = list[Figure]()
    for mains_hz in _MAINS_HZ:
        share = 2 * abs(math.sin(math.pi * mains_hz / hz))
        rest = record.volts[shift:] - record.volts[:-shift]
        t_s = np.arange(len(rest), dtype=np.float64) * record.interval_s
        if share < _LEAST_SHARE or len(rest) < 32 or len(rest) * record.interval_s * mains_hz < 0.8:
            continue
        # Ways back that are not quite one above the other leave spikes.
        off = np.abs(np.diff(rest, prepend=rest[0]) - np.median(np.diff(rest)))
        calm = off <= max(float(np.quantile(off, _CALM)), 1e-12)
        size = fit_ripple(t_s[calm], rest[calm], mains_hz)
        found.append(Figure("hum", size.value / share, "Vpp", size.uncertainty / share))
    return max(found, key=lambda one: one.value - 2 * one.uncertainty, default=None)


def measure_flyback(record: Record, hz: float) -> Iterator[Figure]:
    """Yield peak and width of flyback pulses, and the ringing between them.

    Half a sine wave is above half its height for two thirds of its width at the foot.
    """
    folded = fold(record, hz)
    volts, places = folded.volts, len(folded.volts)
    rest_v = float(np.median(volts))
    sign = 1 if volts.max() - rest_v > rest_v - volts.min() else -1
    above = sign * (volts - rest_v)
    peak_v = float(above.max())
    if peak_v <= 0:
        return
    yield Figure("flyback peak", rest_v + sign * peak_v, "V", 2 * folded.error_v)
    half = np.roll(above, places // 2 - int(np.argmax(above)))
    inside = np.flatnonzero(half > peak_v / 2)
    start, end = int(inside[0]), int(inside[-1])
    if start < 1 or end > places - 2:
        return
    left = start - (half[start] - peak_v / 2) / (half[start] - half[start - 1])
    right = end + (half[end] - peak_v / 2) / (half[end] - half[end + 1])
    step_s = folded.period_s / places
    width_s = 1.5 * (right - left) * step_s
    slope = peak_v / max(right - left, 1.0)
    error_s = 1.5 * math.hypot(folded.error_v / slope, 0.3) * step_s
    yield Figure("flyback width", width_s, "s", error_s)
    foot = round(0.35 * (right - left))
    between = np.concatenate([half[: max(start - foot, 0)], half[end + foot :]])
    if between.size > 8:
        swing = float(np.ptp(_smooth_three(between))) / peak_v
        error = 3 * folded.error_v / peak_v
        yield Figure("ringing between pulses", 100 * max(swing - error, 0.0), "%", 100 * error)


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
    sizes_v, error_v = 2 * np.abs(fits.vectors_v[:, 0]), 2 * fits.vector_error_v
    count = len(sizes_v)
    size = average(sizes_v, error_v)
    rounding_v = 2 * record.carrier_error_v(fits.noise_v, size.value / 2)
    yield Figure("sine amplitude", size.value, "Vpp", math.hypot(size.uncertainty, rounding_v))
    if not size.value:
        return
    error = error_v / size.value / math.sqrt(count)
    if fits.vectors_v.shape[1] > 1:
        # On all stretches together, in step with the sine itself.
        turned = fits.vectors_v[:, 1:] * _turn_into_step(fits.vectors_v)
        shares = 2 * np.abs(turned.mean(axis=0)) / size.value
        power = float(np.maximum(shares**2 - 2 * error**2, 0.0).sum())
        doubt = math.sqrt(len(shares)) * math.hypot(error, rounding_v / size.value)
        yield Figure("harmonics", 100 * math.sqrt(power), "%", 100 * doubt)
    share = 1 / math.sqrt(2 * fits.freedom)
    yield Figure(_NOISE, fits.noise_v, "V", fits.noise_v * share)
    if count >= _FEWEST_BLOCKS:
        spread = math.sqrt(max(float(np.var(sizes_v, ddof=1)) - error_v**2, 0.0)) / size.value
        yield Figure("change of amplitude", 100 * spread, "%", 100 * max(error, spread / 10))


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
    length = min(max(round(_BLOCK_CYCLES / (hz * record.interval_s)), 9), len(record.volts))
    orders = [n for n in range(1, _HARMONICS + 1) if n * hz < 0.45 * record.rate_hz] or [1]
    orders = orders[: max((length - 3) // 4, 1)]
    angle = 2 * np.pi * hz * record.interval_s * np.arange(length)
    waves = [wave(n * angle) for n in orders for wave in (np.sin, np.cos)]
    basis = np.column_stack([np.ones(length), *waves])
    freedom = length - basis.shape[1]
    if freedom < 1:
        return None
    count = min(len(record.volts) // length, _MOST_BLOCKS)
    firsts = np.linspace(0, len(record.volts) - length, count).astype(np.intp)
    volts = record.volts[firsts[:, None] + np.arange(length)]
    scale = np.linalg.pinv(basis.T @ basis)
    solved = volts @ (basis @ scale)
    rest = volts - solved @ basis.T
    noise_v = math.sqrt(float(np.sum(rest**2)) / (count * freedom))
    vectors_v = solved[:, 1::2] + 1j * solved[:, 2::2]
    error_v = noise_v * math.sqrt(float(scale[1, 1] + scale[2, 2]) / 2)
    return _SineFits(vectors_v, error_v, noise_v, count * freedom)


def _turn_into_step(vectors_v: Vectors) -> Vectors:
    """Return the turns that bring the harmonics of all stretches into step with the sine."""
    phases = np.angle(vectors_v[:, 0])[:, None]
    return np.asarray(np.exp(-1j * phases * np.arange(2, vectors_v.shape[1] + 1)))
