"""Typed waveforms: each kind is stored as written and computes its own volts."""

from __future__ import annotations

from .base import Samples, Waveform
from .simple import Sine, Steady

AnyWaveform = Steady | Sine

__all__ = ["AnyWaveform", "Samples", "Sine", "Steady", "Waveform"]
