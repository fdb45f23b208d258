"""What a captured trace measures: DC, peak to peak, frequency, duty, rise, jitter, hum.

Levels, rise time and duty are those of IEEE Std 181 (transitions, pulses and related waveforms);
the levels are found here by order statistics with the noise taken off.
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

_LEVEL_SHARE: Final = 1e-3  # of the samples: what is rarer than this is no level but a spike
_QUIET_ENOUGH: Final = 1 / 20  # noise over peak to peak, for a rise time to mean anything
_HUM_POINTS: Final = 64  # a period of the mains
_BLOCK: Final = 16  # samples
_QUIETEST: Final = 0.1  # share of the blocks
_QUIETEST_SHOW: Final = 0.685  # of the deviation of pure noise; simulated


@dataclass(frozen=True)
class TraceMeasurements:
    """What one channel of a capture measures."""

    dc_v: float
    """Mean, over whole periods where there are any: what a meter reads."""
    low_v: float
    high_v: float
    """Lowest and highest level that the trace holds, noise and spikes taken off."""
    noise_v: float
    """Standard deviation of what does not repeat; at most, where the signal is in the way."""
    rise_s: float | None
    """Median time from 10 % to 90 % of the height."""
    hum_vpp: tuple[float, float] | None
    """Volts peak to peak at the mains frequency and at twice; None for less than a mains period."""
    frequency_hz: float | None = None
    frequency_uncertainty_hz: float | None = None
    """Standard uncertainty, without the error of the oscilloscope's own timebase."""
    why_no_frequency: str = ""
    """Why there is no frequency; empty when there is one."""
    duty: float | None = None
    """Share of the period above half height, 0 to 1."""
    jitter_s: float | None = None
    """Root mean square of how far the rises are from evenly spaced times."""

    @property
    def vpp_v(self) -> float:
        """Peak to peak, noise and spikes taken off."""
        return self.high_v - self.low_v


def measure_trace(t_s: Samples, volts: Samples, mains_hz: float = 50.0) -> TraceMeasurements:
    """Measure a trace of evenly spaced samples, two or more; both arrays of one length.

    Hum is what there is at the mains frequency, and so also a signal that belongs there.
    """
    interval_s = float(t_s[-1] - t_s[0]) / (len(t_s) - 1)
    mean_v = float(volts.mean())
    centred = volts - mean_v
    spectrum = Spectrum.of(centred, interval_s)
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
    if high_v - low_v <= max(1e-9 * abs(mean_v), 1e-3 * noise_v):
        return replace(measured, why_no_frequency="the trace is level")
    try:
        found = estimate_frequency(centred, spectrum, low_v - mean_v, high_v - mean_v, noise_v)
    except NoFrequency as reason:
        return replace(measured, why_no_frequency=str(reason))
    whole = volts[: _count_whole_periods(found.hz * interval_s, len(volts))]
    return replace(
        measured,
        dc_v=float(whole.mean()),
        frequency_hz=found.hz,
        frequency_uncertainty_hz=found.uncertainty_hz,
        duty=float((whole > (low_v + high_v) / 2).mean()),
        jitter_s=found.jitter_s,
    )


def _count_whole_periods(periods_a_sample: float, count: int) -> int:
    """As many samples as make whole periods."""
    periods = math.floor(count * periods_a_sample)
    return round(periods / periods_a_sample) if periods else count


def _estimate_noise_v(volts: Samples) -> float:
    """Standard deviation of the noise on a trace that is smooth from sample to sample.

    The second difference of a smooth trace is nearly nothing but noise, of 1 + 4 + 1 times its
    variance. Source: J. von Neumann et al., The mean square successive difference, Annals of
    Mathematical Statistics 12 (1941). Only the quietest blocks of the trace count: neither
    edges nor chroma on the rest disturb.
    """
    squares = np.diff(volts, 2) ** 2 / 6
    blocks = max(len(squares) // _BLOCK, 1)
    if len(squares) < 8 * _BLOCK:
        return math.sqrt(float(squares.mean())) if squares.size else 0.0
    means = squares[: blocks * _BLOCK].reshape(blocks, _BLOCK).mean(axis=1)
    return math.sqrt(float(np.quantile(means, _QUIETEST))) / _QUIETEST_SHOW


def _estimate_levels_v(volts: Samples, noise_v: float) -> tuple[float, float]:
    """The lowest and the highest level, without the noise that lies on them."""
    count = len(volts)
    rank = max(1, round(count * _LEVEL_SHARE))
    ordered = np.partition(volts, (rank - 1, count - rank))
    low_v, high_v = float(ordered[rank - 1]), float(ordered[count - rank])
    if noise_v > 0:
        low_v = -_remove_noise_v(-low_v, -volts, rank, noise_v)
        high_v = _remove_noise_v(high_v, volts, rank, noise_v)
    return (low_v, high_v) if low_v < high_v else (float(np.median(volts)),) * 2


def _remove_noise_v(top_v: float, volts: Samples, rank: int, noise_v: float) -> float:
    """The level of which noise makes ``top_v`` the sample of that rank, counted from the top.

    That share of the samples that lie on the level are above it by a quantile of the normal
    distribution (Blom's plotting position); who lies on it is found by counting who is above it
    less one standard deviation, which should be 84 % of them.
    """
    normal, level_v = NormalDist(), top_v
    for _ in range(10):
        on_level = np.count_nonzero(volts > level_v - noise_v) / 0.84
        share = (rank - 0.375) / (on_level + 0.25)
        level_v = top_v - noise_v * max(normal.inv_cdf(1 - min(share, 0.999)), 0.0)
    return level_v


def _measure_rise_s(
    volts: Samples, interval_s: float, low_v: float, high_v: float, noise_v: float
) -> float | None:
    """Median time between leaving the lowest tenth of the height and reaching the highest."""
    height_v = high_v - low_v
    if height_v <= 0 or noise_v > _QUIET_ENOUGH * height_v:
        return None
    tenth_v, ninth_v = low_v + 0.1 * height_v, high_v - 0.1 * height_v
    above = volts > ninth_v
    clear = np.flatnonzero(above | (volts < tenth_v))
    side = above[clear]
    at = np.flatnonzero(~side[:-1] & side[1:])
    if not at.size:
        return None
    start, end = clear[at], clear[at + 1]
    left = start + (tenth_v - volts[start]) / (volts[start + 1] - volts[start])
    reached = end - (volts[end] - ninth_v) / (volts[end] - volts[end - 1])
    return float(np.median(reached - left)) * interval_s


def _fit_hum_vpp(volts: Samples, interval_s: float, mains_hz: float) -> tuple[float, float] | None:
    """Sines of the mains frequency and of twice that, fitted by least squares."""
    if len(volts) * interval_s * mains_hz < 1:
        return None
    block = max(1, int(1 / (_HUM_POINTS * mains_hz * interval_s)))
    count = len(volts) // block
    means = volts[: count * block].reshape(count, block).mean(axis=1)
    angle = 2 * np.pi * mains_hz * interval_s * block * np.arange(count)
    parts = (np.ones(count), np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle))
    fit = np.linalg.lstsq(np.column_stack(parts), means, rcond=None)[0]
    return 2 * math.hypot(fit[1], fit[2]), 2 * math.hypot(fit[3], fit[4])
