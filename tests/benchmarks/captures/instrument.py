"""A digitising oscilloscope: the signal on a pin as samples in a capture."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, floor, log10

import numpy as np
from pinfolio.loaders.captures.capture import Capture

from .composite import Samples

_DIVISIONS = 10


@dataclass(frozen=True)
class Recording:
    """One record, and the faults of the way from pin to file."""

    samples: int
    rate_hz: float
    start_s: float
    seed: int
    noise_share: float = 0.003
    """Noise, rms, as a share of the good signal's peak to peak."""
    bits: int = 8
    gain_error: float = 0.0
    clock_error: float = 0.0
    hum_share: float = 0.0
    """Hum, peak to peak, as a share of the good signal's peak to peak."""
    hum_hz: float = 50.0
    factor: float = 1.0
    """0.1: the probe divides by ten and nobody told the oscilloscope."""
    is_inverted: bool = False
    is_ac_coupled: bool = False
    cut_share: float = 0.0
    """Share of the peak to peak that is above the screen."""

    @property
    def duration_s(self) -> float:
        return self.samples / self.rate_hz


def record(
    volts: Callable[[Samples], Samples], offset_v: float, good_vpp: float, how: Recording
) -> Capture:
    """Return the record of a signal that sits ``offset_v`` above ground."""
    t_s = np.arange(how.samples) / how.rate_hz
    signal = volts(how.start_s + t_s * (1 + how.clock_error)) + offset_v
    chance = np.random.default_rng(how.seed)
    hum_phase = chance.uniform(0, 2 * np.pi)
    hum = np.sin(2 * np.pi * how.hum_hz * t_s + hum_phase)
    signal = signal + how.hum_share * good_vpp / 2 * hum
    if how.is_inverted:
        signal = 2 * signal.mean() - signal
    if how.is_ac_coupled:
        signal = signal - signal.mean()
    noise = chance.normal(0.0, 1.0, how.samples) * how.noise_share * good_vpp
    shown = how.factor * (1 + how.gain_error) * (signal + noise)
    return Capture(t_s, (_digitise(shown, how),), 1 / how.rate_hz, ("CH1",))


def _digitise(volts: Samples, how: Recording) -> Samples:
    """Return volts in steps of the converter, which spans ten divisions of 1, 2 or 5."""
    low, high = float(volts.min()), float(volts.max())
    high -= how.cut_share * (high - low)
    span = max(high - low, 1e-3) / 0.9
    division = _round_up_to_1_2_5(span / _DIVISIONS)
    if how.cut_share:
        division = span * 0.9 / _DIVISIONS
    step = division * _DIVISIONS / 2**how.bits
    middle = (low + high) / 2
    most = 2 ** (how.bits - 1)
    counts = np.clip(np.round((volts - middle) / step), -most, most - 1)
    return middle + counts * step


def _round_up_to_1_2_5(volts: float) -> float:
    decade = 10.0 ** floor(log10(volts))
    share = ceil(volts / decade * 1e6) / 1e6
    return decade * next(mark for mark in (1, 2, 5, 10) if mark >= min(share, 10))
