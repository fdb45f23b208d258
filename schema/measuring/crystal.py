"""The frequency of a crystal oscillator and its shift by the capacitance of a probe.

The Butterworth-Van Dyke circuit: a series arm L1, C1 (and R1) in parallel with the holder's C0.
Source: IEC 60122-1 and IEC 60444; the formulas also in any text on quartz crystals.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple


class Resonator(NamedTuple):
    """A crystal or ceramic resonator by its nominal frequency and its equivalent circuit."""

    nominal_hz: float
    """Frequency with ``load_f`` across it."""
    motional_f: float
    """C1 of the series arm, in farad."""
    holder_f: float
    """C0 in parallel with it, in farad."""
    load_f: float
    """Load capacitance that the nominal frequency is stated for, in farad."""

    @property
    def series_hz(self) -> float:
        """Series resonance: the nominal frequency without the pull of its load."""
        return self.nominal_hz / math.sqrt(1 + self.motional_f / (self.holder_f + self.load_f))

    def loaded_hz(self, load_f: float) -> float:
        """Return the frequency with another load capacitance: fs sqrt(1 + C1 / (C0 + CL))."""
        return self.series_hz * math.sqrt(1 + self.motional_f / (self.holder_f + load_f))


# Equivalent circuits of television crystals and ceramic resonators. Common practice, from memory.
_CRYSTAL: Final = (16e-15, 5e-12, 20e-12)
_CERAMIC: Final = (15e-12, 250e-12, 330e-12)


def typical_resonator(kind: str, nominal_hz: float) -> Resonator:
    """Return a typical ``crystal`` or ``ceramic resonator`` of a frequency.

    A ceramic one is scaled from 500 kHz: its plate's capacitances fall as the frequency rises.
    """
    if kind == "crystal":
        return Resonator(nominal_hz, *_CRYSTAL)
    scale = 500e3 / nominal_hz
    motional_f, holder_f, load_f = _CERAMIC
    return Resonator(nominal_hz, motional_f * scale, holder_f * scale, load_f * scale)


def compute_frequency_shift_hz(
    resonator: Resonator, pin_f: float, other_f: float, probe_f: float
) -> float:
    """Return the frequency shift when a probe adds ``probe_f`` at the pin; negative is down.

    The pin's capacitance ``pin_f`` and the capacitance ``other_f`` at the resonator's other end
    are in series across it. The oscillator is taken to be on frequency without the probe.
    """
    before_f = compute_series_capacitance_f(pin_f, other_f)
    after_f = compute_series_capacitance_f(pin_f + probe_f, other_f)
    moved = resonator.loaded_hz(after_f) / resonator.loaded_hz(before_f)
    return resonator.nominal_hz * (moved - 1)


def compute_series_capacitance_f(first_f: float, second_f: float) -> float:
    """Return the capacitance of two capacitors in series.

    >>> compute_series_capacitance_f(40e-12, 40e-12)
    2e-11
    """
    return first_f * second_f / (first_f + second_f)
