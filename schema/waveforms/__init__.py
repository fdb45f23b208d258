"""Typed waveforms: each kind is stored as written and computes its own volts.

A new kind is one class with a literal ``kind`` in a file of the folder ``kinds``.
"""

from .base import Figures, Samples, Waveform
from .registry import WAVEFORM_KINDS, AnyWaveform

__all__ = ["WAVEFORM_KINDS", "AnyWaveform", "Figures", "Samples", "Waveform"]
