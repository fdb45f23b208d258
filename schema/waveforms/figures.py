"""What waveforms measure, worked out once for all that are equal: a catalogue says few of them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from .base import Waveform


@dataclass(frozen=True, slots=True)
class Figures:
    """Lowest, highest and mean volts, peak to peak, and the frequency."""

    low_v: float
    high_v: float
    mean_v: float
    vpp_v: float
    frequency_hz: float


@lru_cache(maxsize=4096)
def figures(waveform: Waveform) -> Figures:
    """The figures of a waveform, the same as its own properties."""
    return Figures(*waveform.extremes_v, waveform.vpp_v, waveform.frequency_hz)
