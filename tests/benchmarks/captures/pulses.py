"""Samples of sandcastles, flyback pulses, field drives and oscillators.

The pulses' shapes are common practice: a sandcastle's key holds the burst of the standard, its
line blanking the line blanking interval, its field blanking the field blanking interval.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .composite import Samples, make_edge
from .standards import PAL, System


@dataclass(frozen=True)
class Sandcastle:
    """Three levels over a base, in volts."""

    system: System = PAL
    base_v: float = 0.2
    field_v: float = 2.0
    line_v: float = 3.0
    key_v: float = 5.3
    key_start_s: float = 5.2e-6
    key_s: float = 4e-6
    line_hz: float | None = None
    jitter_s: float = 0.0
    seed: int = 0

    def volts(self, t_s: Samples) -> Samples:
        """Return volts to ground; frames begin at 0."""
        system = self.system
        x = t_s * (self.line_hz or system.line_hz) + system.front_porch_s * system.line_hz
        if self.jitter_s:
            chance = np.random.default_rng(self.seed)
            line = np.floor(x).astype(np.int64)
            steps = chance.normal(0.0, self.jitter_s, int(line.max() - line.min()) + 1)
            x = x + steps[line - line.min()] * system.line_hz
        late_s = (x % 1) * system.line_s
        blanking_s = system.front_porch_s + system.picture_start_s
        key_start_s = system.front_porch_s + self.key_start_s
        blanked = _pulse(late_s, 0.2e-6, blanking_s - 0.2e-6)
        key = _pulse(late_s, key_start_s, self.key_s)
        half = np.floor(2 * x).astype(np.int64) % system.lines
        in_field = half < system.first_picture_half_line
        if system.lines == 625:  # field blanking takes in the equalising pulses before the broad
            in_field |= half >= system.lines - system.equalising_before
        low = np.where(in_field, self.field_v, self.base_v)
        return low + (self.line_v - low) * blanked + (self.key_v - self.line_v) * key


@dataclass(frozen=True)
class Flyback:
    """Half a sine wave on each line."""

    line_hz: float = PAL.line_hz
    peak_v: float = 7.7
    width_s: float = 12e-6
    limit_v: float | None = None
    ringing_v: float = 0.0
    """Peak of a decaying oscillation of 250 kHz after the pulse."""

    def volts(self, t_s: Samples) -> Samples:
        """Return volts to ground; a pulse begins at 0."""
        late_s = (t_s * self.line_hz % 1) / self.line_hz
        pulse = self.peak_v * np.sin(np.pi * np.clip(late_s / self.width_s, 0.0, 1.0))
        if self.limit_v is not None:
            pulse = np.minimum(pulse, self.limit_v)
        after_s = np.maximum(late_s - self.width_s, 0.0)
        return pulse + self.ringing_v * np.exp(-after_s / 10e-6) * np.sin(
            2 * np.pi * 250e3 * after_s
        )


@dataclass(frozen=True)
class FieldDrive:
    """A sawtooth with S-correction, slower at both ends of the trace by a cubic term.

    The JSON Schema of chip files defines S-correction as the share of that term.
    """

    field_hz: float = 50.0
    vpp: float = 1.26
    rises: bool = True
    retrace: float = 0.05
    s_correction: float = 0.06
    bend: float = 0.0
    """Share of the height by which the middle of the trace is off the straight line."""

    def volts(self, t_s: Samples) -> Samples:
        """Return volts about the middle; a trace begins at 0."""
        phase = t_s * self.field_hz % 1
        trace = 1 - self.retrace
        x = np.where(phase < trace, 2 * phase / trace - 1, 1 - 2 * (phase - trace) / self.retrace)
        y = (x - self.s_correction * x**3) / (1 - self.s_correction) - 2 * self.bend * (1 - x**2)
        return (1 if self.rises else -1) * self.vpp / 2 * y


@dataclass(frozen=True)
class Sine:
    """An oscillator."""

    hertz: float = 4433618.75
    vpp: float = 0.48
    second_harmonic: float = 0.0
    third_harmonic: float = 0.0
    jumps: float = 0.0
    """Share by which the amplitude falls in every second of four stretches of the record."""

    def volts(self, t_s: Samples) -> Samples:
        """Return volts about the middle."""
        angle = 2 * np.pi * self.hertz * t_s
        shape = np.sin(angle) + self.second_harmonic * np.sin(2 * angle)
        shape += self.third_harmonic * np.sin(3 * angle)
        stretch = np.floor(4 * (t_s - t_s[0]) / (t_s[-1] - t_s[0]))
        return self.vpp / 2 * shape * np.where(stretch % 2 == 1, 1 - self.jumps, 1.0)


@dataclass(frozen=True)
class Silence:
    """A pin without a signal."""

    def volts(self, t_s: Samples) -> Samples:
        """Return zeros."""
        return np.zeros_like(t_s)


def _pulse(late_s: Samples, start_s: float, width_s: float) -> Samples:
    return make_edge(late_s - start_s, 0.2e-6) - make_edge(late_s - start_s - width_s, 0.2e-6)
