"""Measurements of a captured trace: DC, peak to peak, frequency, duty, rise time, jitter, hum.

Levels, rise time and duty are those of IEEE Std 181 (transitions, pulses and related waveforms);
the levels are found here from order statistics, corrected for noise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Final

import numpy as np

from ...schema.waveforms import Samples
from .frequency import estimate_frequency
from .spectrum import NoFrequency, Spectrum

_LEVEL_SHARE: Final = 1e-3  # of the samples; a rarer value is a spike, not a level
_QUIET_ENOUGH: Final = 1 / 20  # noise over peak to peak, for a rise time to mean anything
_HUM_POINTS: Final = 64  # in a period of the mains
_SECOND_DIFFERENCE_VARIANCE: Final = 6  # 1 + 4 + 1 times that of the noise
_BLOCK: Final = 16  # samples
_FEWEST_BLOCKS: Final = 8
_QUIETEST: Final = 0.1  # share of the blocks
_QUIETEST_DEVIATION: Final = 0.685  # of that of pure noise, in the quietest blocks; simulated
_WITHIN_ONE_SIGMA: Final = 0.84  # of samples on a level lie above it less one standard deviation
_BLOM: Final = (0.375, 0.25)  # constants of Blom's plotting position
_MOST_ABOVE: Final = 0.999  # the quantile of 0 is infinite
_NOISE_ITERATIONS: Final = 10
_LOW_REFERENCE, _HIGH_REFERENCE = 0.1, 0.9  # of the height, for a rise time (IEEE Std 181)
_LEVEL_TRACE: Final = 1e-9  # of the mean: a height that is rounding
_LEAST_HEIGHT_NOISE: Final = 1e-3  # standard deviations of the noise


@dataclass(frozen=True)
class TraceMeasurements:
    """Measurements of one channel of a capture."""

    dc_v: float
    """Mean, over whole periods where there are any, as a meter reads it."""
    low_v: float
    high_v: float
    """Lowest and highest level of the trace, without noise and spikes."""
    noise_v: float
    """Standard deviation of the part that does not repeat; an upper bound with a fast signal."""
    rise_s: float | None
    """Median time from 10 % to 90 % of the height."""
    hum_vpp: tuple[float, float] | None
    """Peak to peak at the mains frequency and at twice it; None for less than a mains period."""
    frequency_hz: float | None = None
    frequency_uncertainty_hz: float | None = None
    """Standard uncertainty, without the error of the oscilloscope's own timebase."""
    why_no_frequency: str = ""
    """Reason why there is no frequency; empty when there is one."""
    duty: float | None = None
    """Share of the period above half height, 0 to 1."""
    jitter_s: float | None = None
    """Root mean square deviation of the rises from evenly spaced times."""

    @property
    def vpp_v(self) -> float:
        """Peak to peak, without noise and spikes."""
        return self.high_v - self.low_v


def measure_trace(t_s: Samples, volts: Samples, mains_hz: float = 50.0) -> TraceMeasurements:
    """Return the measurements of two evenly spaced samples or more; both arrays have one length.

    Hum is any signal at the mains frequency, including one that belongs there.
    """
    interval_s = float(t_s[-1] - t_s[0]) / (len(t_s) - 1)
    mean_v = float(volts.mean())
    centred_v = volts - mean_v
    spectrum = Spectrum.compute(centred_v, interval_s)
    # Both estimators count some signal as noise, so that the lower one is nearer.
    noise_v = min(spectrum.noise_v, _estimate_noise_v(volts))
    low_v, high_v = _estimate_levels_v(volts, noise_v)
    measured = TraceMeasurements(
        dc_v=mean_v,
        low_v=low_v,
        high_v=high_v,
        noise_v=noise_v,
        rise_s=_measure_rise_s(volts, interval_s, low_v, high_v, noise_v),
        hum_vpp=_fit_hum_vpp(volts, interval_s, mains_hz),
    )
    if high_v - low_v <= max(_LEVEL_TRACE * abs(mean_v), _LEAST_HEIGHT_NOISE * noise_v):
        return replace(measured, why_no_frequency="the trace is level")
    try:
        frequency = estimate_frequency(
            centred_v, spectrum, low_v - mean_v, high_v - mean_v, noise_v
        )
    except NoFrequency as reason:
        return replace(measured, why_no_frequency=str(reason))
    # Part of a period would weigh one half of the signal more than the other.
    whole_periods_v = volts[: _count_whole_periods(frequency.hz * interval_s, len(volts))]
    return replace(
        measured,
        dc_v=float(whole_periods_v.mean()),
        frequency_hz=frequency.hz,
        frequency_uncertainty_hz=frequency.uncertainty_hz,
        duty=float((whole_periods_v > (low_v + high_v) / 2).mean()),
        jitter_s=frequency.jitter_s,
    )


def _count_whole_periods(periods_a_sample: float, count: int) -> int:
    """Return the number of samples in as many whole periods as there are."""
    periods = math.floor(count * periods_a_sample)
    return round(periods / periods_a_sample) if periods else count


def _estimate_noise_v(volts: Samples) -> float:
    """Return the standard deviation of the noise on a trace that is smooth between samples.

    The second difference of a smooth trace is almost only noise, with 1 + 4 + 1 times its
    variance. Source: J. von Neumann et al., The mean square successive difference, Annals of
    Mathematical Statistics 12 (1941). Only the quietest blocks of the trace count, so that edges
    and chroma elsewhere do not disturb.
    """
    variances = np.diff(volts, 2) ** 2 / _SECOND_DIFFERENCE_VARIANCE
    if len(variances) < _FEWEST_BLOCKS * _BLOCK:
        return math.sqrt(float(variances.mean())) if variances.size else 0.0
    block_count = len(variances) // _BLOCK
    block_variances = variances[: block_count * _BLOCK].reshape(block_count, _BLOCK).mean(axis=1)
    quietest = float(np.quantile(block_variances, _QUIETEST))
    return math.sqrt(quietest) / _QUIETEST_DEVIATION


def _estimate_levels_v(volts: Samples, noise_v: float) -> tuple[float, float]:
    """Return the lowest and the highest level in volts, corrected for the noise on them."""
    count = len(volts)
    rank = max(1, round(count * _LEVEL_SHARE))
    ordered = np.partition(volts, (rank - 1, count - rank))
    low_v, high_v = float(ordered[rank - 1]), float(ordered[count - rank])
    if noise_v > 0:
        low_v = -_remove_noise_v(-low_v, -volts, rank, noise_v)
        high_v = _remove_noise_v(high_v, volts, rank, noise_v)
    return (low_v, high_v) if low_v < high_v else (float(np.median(volts)),) * 2


def _remove_noise_v(top_v: float, volts: Samples, rank: int, noise_v: float) -> float:
    """Return the level for which noise makes ``top_v`` the sample of that rank from the top.

    Of the samples on the level, that share lies above it by a quantile of the normal distribution
    (Blom's plotting position). Their number follows from the number above the level less one
    standard deviation, which is 84 % of them.
    """
    normal, level_v = NormalDist(), top_v
    for _ in range(_NOISE_ITERATIONS):
        samples_on_level = np.count_nonzero(volts > level_v - noise_v) / _WITHIN_ONE_SIGMA
        share_above = (rank - _BLOM[0]) / (samples_on_level + _BLOM[1])
        deviations = normal.inv_cdf(1 - min(share_above, _MOST_ABOVE))
        level_v = top_v - noise_v * max(deviations, 0.0)
    return level_v


def _measure_rise_s(
    volts: Samples, interval_s: float, low_v: float, high_v: float, noise_v: float
) -> float | None:
    """Return the median time from 10 % to 90 % of the height; None where noise hides it."""
    height_v = high_v - low_v
    if height_v <= 0 or noise_v > _QUIET_ENOUGH * height_v:
        return None
    low_reference_v = low_v + _LOW_REFERENCE * height_v
    high_reference_v = low_v + _HIGH_REFERENCE * height_v
    is_high = volts > high_reference_v
    # Samples between the references belong to a transition; a rise leads from low to high.
    settled_places = np.flatnonzero(is_high | (volts < low_reference_v))
    is_settled_high = is_high[settled_places]
    rise_index = np.flatnonzero(~is_settled_high[:-1] & is_settled_high[1:])
    if not rise_index.size:
        return None
    start, end = settled_places[rise_index], settled_places[rise_index + 1]
    # Both references are crossed between two samples: interpolated, in samples.
    left_low = start + (low_reference_v - volts[start]) / (volts[start + 1] - volts[start])
    reached_high = end - (volts[end] - high_reference_v) / (volts[end] - volts[end - 1])
    return float(np.median(reached_high - left_low)) * interval_s


def _fit_hum_vpp(volts: Samples, interval_s: float, mains_hz: float) -> tuple[float, float] | None:
    """Return peak to peak at the mains frequency and at twice it, by least squares."""
    if len(volts) * interval_s * mains_hz < 1:
        return None
    block = max(1, int(1 / (_HUM_POINTS * mains_hz * interval_s)))
    count = len(volts) // block
    means = volts[: count * block].reshape(count, block).mean(axis=1)
    angle = 2 * np.pi * mains_hz * interval_s * block * np.arange(count)
    columns = (np.ones(count), np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle))
    fit = np.linalg.lstsq(np.column_stack(columns), means, rcond=None)[0]
    return 2 * math.hypot(fit[1], fit[2]), 2 * math.hypot(fit[3], fit[4])
