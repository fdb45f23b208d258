"""Pins of the demonstration that carry a known signal, and that signal when all is well.

Levels are those of the demonstration's chip files; shapes come from the standards.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np

from .composite import Composite, Samples
from .pulses import FieldDrive, Flyback, Sandcastle, Silence, Sine
from .standards import NTSC, PAL, System

Signal = Composite | Sandcastle | Flyback | FieldDrive | Sine
Rates = dict[int, tuple[float, ...]]

VIDEO_RATES: Final[Rates] = {
    1_000: (10e6, 12.5e6),
    10_000: (12.5e6, 25e6, 50e6),
    100_000: (12.5e6, 25e6, 50e6, 100e6),
}
LINE_RATES: Final[Rates] = {
    1_000: (2.5e6, 5e6, 10e6),
    10_000: (5e6, 10e6, 25e6),
    100_000: (2.5e6, 5e6, 25e6),
}
FIELD_RATES: Final[Rates] = {
    1_000: (10e3, 20e3),
    10_000: (100e3, 200e3),
    100_000: (1e6, 2e6),
}
CRYSTAL_RATES: Final[Rates] = {
    1_000: (25e6, 100e6),
    10_000: (25e6, 100e6),
    100_000: (25e6, 100e6),
}
RESONATOR_RATES: Final[Rates] = {1_000: (5e6,), 10_000: (5e6, 25e6), 100_000: (5e6, 25e6)}


@dataclass(frozen=True)
class Place:
    """A pin in one state of the set."""

    chip: str
    """File of the demonstration."""
    pin: str
    sort: str
    signal: Signal
    rates: Rates
    mean_v: float | None = None
    """DC on the pin; None where the signal's own volts are to ground."""
    condition: str = "colour bars"

    @property
    def name(self) -> str:
        return f"{self.chip.upper()} {self.pin}"

    @property
    def vpp(self) -> float:
        """Peak to peak of the good signal."""
        return float(np.ptp(_look_at(self.signal)))

    def find_offset_v(self, signal: Signal | Silence) -> float:
        """Return the volts to add to a signal so that its mean is the DC on the pin."""
        return 0.0 if self.mean_v is None else self.mean_v - float(_look_at(signal).mean())

    @property
    def line_hz(self) -> float:
        return NTSC.line_hz if self.chip.startswith("ogx73") else PAL.line_hz


@cache
def _look_at(signal: Signal | Silence) -> Samples:
    """Return volts of whole lines within a picture, or of whole fields of a field drive."""
    if isinstance(signal, FieldDrive):
        return signal.volts(np.arange(10_000) / 5_000 / signal.field_hz)
    line_hz = getattr(signal, "system", PAL).line_hz
    return signal.volts((100 + np.arange(10_000) / 500) / line_hz)


def make_chroma(system: System, burst_vpp: float) -> Composite:
    """Return the chrominance of colour bars with a burst of so many volts."""
    return Composite(system, gain=burst_vpp / system.burst_vpp, sync=0.0, luma=0.0)


PLACES: Final = (
    Place("tqz5752", "3", "composite", Composite(PAL), VIDEO_RATES, 3.1),
    Place("ogx1524", "15", "composite", Composite(PAL, gain=2.0), VIDEO_RATES, 3.2),
    Place("tqz5710", "5", "composite", Composite(PAL, gain=2.0), VIDEO_RATES, 2.1),
    Place(
        "tqz5752",
        "13",
        "composite",
        Composite(PAL, burst=0.057 / 0.3, chroma=0.057 / 0.3),
        VIDEO_RATES,
        3.4,
    ),
    Place(
        "ogx7342",
        "37",
        "composite",
        Composite(NTSC, burst=0.038 / NTSC.burst_vpp, chroma=0.038 / NTSC.burst_vpp),
        VIDEO_RATES,
        3.8,
    ),
    Place("tqz5752", "5", "chroma", make_chroma(PAL, 0.3), VIDEO_RATES, 2.8, "Y/C bars"),
    Place("kye4728", "1", "chroma", make_chroma(PAL, 0.3), VIDEO_RATES, 4.2),
    Place("mdq4628", "4", "chroma", make_chroma(PAL, 0.6), VIDEO_RATES, 6.8),
    Place(
        "ogx7342",
        "2",
        "chroma",
        make_chroma(NTSC, 0.15),
        VIDEO_RATES,
        3.4,
    ),
    Place("tqz5752", "22", "sandcastle", Sandcastle(PAL, 0.2, 2.0, 3.0, 5.3), LINE_RATES),
    Place("kye4728", "7", "sandcastle", Sandcastle(PAL, 0.2, 2.5, 4.6, 8.0), LINE_RATES),
    Place("ogx7342", "26", "sandcastle", Sandcastle(NTSC, 0.2, 2.4, 4.2, 7.2), LINE_RATES),
    Place("tqz5752", "20", "flyback", Flyback(), LINE_RATES),
    Place("ogx7342", "28", "flyback", Flyback(NTSC.line_hz, 6.2, 11.5e-6), LINE_RATES),
    Place("tqz5752", "26", "field drive", FieldDrive(50.0, 1.26), FIELD_RATES, 3.0),
    Place("kye2620", "13", "field drive", FieldDrive(50.0, 1.0, rises=False), FIELD_RATES, 3.4),
    Place("ogx7342", "42", "field drive", FieldDrive(60 / 1.001, 1.3), FIELD_RATES, 3.6),
    Place("tqz5752", "46", "sine", Sine(PAL.subcarrier_hz, 0.48), CRYSTAL_RATES, 3.2),
    Place("tqz5752", "17", "sine", Sine(500e3, 1.1), RESONATOR_RATES, 4.1),
)
