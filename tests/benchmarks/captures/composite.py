"""Samples of composite video and of its chrominance, from the numbers of the standards."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .standards import BARS, EDGE_S, LUMA, PAL, U_OF_B_Y, V_OF_R_Y, System

Samples = NDArray[np.float64]

_RISE_OF_EDGE: Final = 0.5903
"""10 to 90 % of a sine-squared edge, as a share of the whole edge: arithmetic."""


@dataclass(frozen=True)
class Composite:
    """A composite signal of 75 % colour bars; the fields after ``system`` spoil it."""

    system: System = PAL
    gain: float = 1.0
    """1: 1 V from sync tip to white."""
    sync: float = 1.0
    luma: float = 1.0
    burst: float = 1.0
    chroma: float = 1.0
    """The bars' chrominance, beside the burst."""
    chroma_turn_deg: float = 0.0
    chroma_delay_s: float = 0.0
    chroma_loss_at_white: float = 0.0
    """Differential gain: the share lost where the luminance is white."""
    pal_switch_runs: bool = True
    subcarrier_hz: float | None = None
    line_hz: float | None = None
    white_limit: float | None = None
    """Luminance is held below this share of white."""
    jitter_s: float = 0.0
    seed: int = 0

    def volts(self, t_s: Samples) -> Samples:
        """Return volts over blanking at the times; frames begin at 0."""
        system = self.system
        x = t_s * (self.line_hz or system.line_hz)
        if self.jitter_s:
            x = x + self._wander(np.floor(x).astype(np.int64)) * system.line_hz
        line = np.floor(x).astype(np.int64)
        late_s = (x - line) * system.line_s
        luma, u, v = self._picture(line, late_s)
        if self.chroma_delay_s:
            _, u, v = self._picture(line, late_s - self.chroma_delay_s)
        volts = (
            luma
            - self.sync * system.sync_v * self._sync(line, late_s)
            + self._modulate(t_s, line, late_s, luma, u, v)
        )
        return self.gain * volts

    def _wander(self, line: NDArray[np.int64]) -> Samples:
        chance = np.random.default_rng(self.seed)
        first = int(line.min())
        return chance.normal(0.0, self.jitter_s, int(line.max()) - first + 1)[line - first]

    def _half_line(self, line: NDArray[np.int64], late_s: Samples) -> NDArray[np.int64]:
        """Return half lines counted from the start of the field."""
        half = 2 * line + (late_s >= self.system.line_s / 2)
        return half % self.system.lines

    def _sync(self, line: NDArray[np.int64], late_s: Samples) -> Samples:
        """Return 1 on sync tips: line, equalising and broad pulses."""
        system = self.system
        half_s = system.line_s / 2
        volts = np.zeros_like(late_s)
        # Each pulse is summed with its neighbours' edges, which reach over 0H.
        for step in (-1, 0, 1):
            half = 2 * line + np.floor(late_s / half_s).astype(np.int64) + step
            start_s = (half - 2 * line) * half_s
            width_s = self._pulse_width(half)
            volts += (width_s > 0) * (
                make_edge(late_s - start_s, system.rise_s)
                - make_edge(late_s - start_s - width_s, system.rise_s)
            )
        return volts

    def _pulse_width(self, half: NDArray[np.int64]) -> Samples:
        """Return the width of the sync pulse that begins with a half line, or 0."""
        system, group = self.system, self.system.equalising_before
        k = half % system.lines
        line_pulse = np.where(half % 2 == 0, system.sync_s, 0.0)
        if system.lines == 625:  # a frame begins with the broad pulses
            broad = k < group
            equalising = (k < 2 * group) | (k >= system.lines - group)
        else:
            broad = (k >= group) & (k < 2 * group)
            equalising = k < 3 * group
        return np.where(
            broad, system.broad_s, np.where(equalising, system.equalising_s, line_pulse)
        )

    def _picture(
        self, line: NDArray[np.int64], late_s: Samples
    ) -> tuple[Samples, Samples, Samples]:
        """Return luminance, U and V in volts, with sine-squared edges."""
        system = self.system
        end_s = system.line_s - system.front_porch_s
        bar_s = (end_s - system.picture_start_s) / len(BARS)
        half = self._half_line(line, late_s)
        shown = half >= system.first_picture_half_line
        if system.lines == 625:
            shown &= half < system.lines - system.equalising_before
        total = [np.zeros_like(late_s) for _ in range(3)]
        for number, rgb in enumerate(BARS):
            start_s = system.picture_start_s + number * bar_s
            inside = make_edge(late_s - start_s, EDGE_S) - make_edge(
                late_s - start_s - bar_s, EDGE_S
            )
            for part, level in zip(total, self._levels(rgb), strict=True):
                part += level * inside
        luma, u, v = (part * shown for part in total)
        return luma * self.luma, u, v

    def _levels(self, rgb: tuple[int, int, int]) -> tuple[float, float, float]:
        """Return Y, U, V of a bar in volts."""
        system = self.system
        red, green, blue = (system.white_bar if rgb == (1, 1, 1) else 0.75 * c for c in rgb)
        y = LUMA[0] * red + LUMA[1] * green + LUMA[2] * blue
        span = system.white_v * (1 - system.setup)
        volts = system.white_v * system.setup + span * y
        if self.white_limit is not None:
            volts = min(volts, self.white_limit * system.white_v)
        return volts, span * U_OF_B_Y * (blue - y), span * V_OF_R_Y * (red - y)

    def _modulate(
        self,
        t_s: Samples,
        line: NDArray[np.int64],
        late_s: Samples,
        luma: Samples,
        u: Samples,
        v: Samples,
    ) -> Samples:
        """Return burst and chrominance: U on the sine, V on the cosine."""
        system = self.system
        angle = 2 * np.pi * (self.subcarrier_hz or system.subcarrier_hz) * t_s
        switch = np.where(line % 2 == 0, 1.0, -1.0) if system.has_pal_switch else 1.0
        if not self.pal_switch_runs:
            switch = 1.0
        turn = np.deg2rad(self.chroma_turn_deg)
        kept = self.chroma * (1 - self.chroma_loss_at_white * luma / system.white_v)
        bars = kept * (u * np.sin(angle + turn) + switch * v * np.cos(angle + turn))
        start_s = system.burst_start_s
        width_s = system.burst_cycles / system.subcarrier_hz
        gate = make_edge(late_s - start_s, EDGE_S) - make_edge(late_s - start_s - width_s, EDGE_S)
        peak = self.burst * system.burst_vpp / 2 * gate * self._has_burst(line)
        burst_angle = switch * np.deg2rad(135.0) if system.has_pal_switch else np.pi
        return bars + peak * np.sin(angle + burst_angle)

    def _has_burst(self, line: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Return whether a line carries burst; the nine lines of each field are from memory."""
        if self.system.lines == 525:
            return (2 * line) % 525 >= 18
        number = line % 625 + 1
        odd = (line // 625) % 2 == 1
        last, first = np.where(odd, 623, 622), np.where(odd, 5, 6)
        middle = np.where(odd, 311, 310)
        without = (number >= last) | (number <= first)
        return ~(without | ((number >= middle) & (number <= middle + 8)))


def make_edge(after_s: Samples, rise_s: float) -> Samples:
    """Return a sine-squared edge from 0 to 1 whose middle is at 0."""
    share = np.clip(after_s / (rise_s / _RISE_OF_EDGE) + 0.5, 0.0, 1.0)
    return np.sin(share * np.pi / 2) ** 2
