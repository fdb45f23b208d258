"""Lines of composite video written down from the numbers of the standards.

ITU-R BT.470-6, BT.1700 and SMPTE 170M: times in seconds after 0H, levels on the scale of 1 V from
sync tip to white. It shares nothing with the waveforms of the package.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

BARS = np.array(
    [(1, 1, 1), (1, 1, 0), (0, 1, 1), (0, 1, 0), (1, 0, 1), (1, 0, 0), (0, 0, 1), (0, 0, 0)], float
)


@dataclass(frozen=True)
class Signal:
    """Colour bars of 75 %, with a fault where a figure differs from its nominal one."""

    lines: int = 625
    sync: float = 1.0
    burst: float = 1.0
    chroma: float = 1.0
    luma: float = 1.0
    """Of luminance and sync: 0 leaves the chrominance alone."""
    swing: bool = True
    turn_deg: float = 0.0
    """By how much the burst is turned against the colours."""
    gain: float = 1.0
    offset_v: float = 0.0
    noise_v: float = 0.005
    hum_v: float = 0.0
    """Peak of a ripple at 50 Hz."""
    jitter_s: float = 0.0
    chroma_delay_s: float = 0.0
    from_line: float = 100.3
    field_blanking: bool = True

    def samples(self, count: int, interval_s: float, seed: int = 1) -> np.ndarray:
        rng = np.random.default_rng(seed)
        t_s = np.arange(count) * interval_s
        at_s = t_s + (self.from_line - 1) * self.line_s
        line = np.floor(at_s / self.line_s + 0.02).astype(int)
        at_s = at_s - rng.normal(0, self.jitter_s, line.max() + 1)[line]
        volts = self._draw(at_s, line)
        hum_v = self.hum_v * np.sin(2 * np.pi * 50 * t_s)
        return self.gain * volts + self.offset_v + hum_v + rng.normal(0, self.noise_v, count)

    @property
    def line_s(self) -> float:
        return 64e-6 if self.lines == 625 else 143 / 2.25e6

    @property
    def carrier_hz(self) -> float:
        return 4433618.75 if self.lines == 625 else 315e6 / 88

    def _draw(self, at_s: np.ndarray, line: np.ndarray) -> np.ndarray:
        pal = self.lines == 625
        after_s = at_s - line * self.line_s
        black, white = (0.0, 0.7) if pal else (7.5 / 140, 100 / 140)
        rgb = BARS * 0.75
        if pal:
            rgb[0] = 1.0
        luma = rgb @ (0.299, 0.587, 0.114)
        u_of = 0.492111 * (rgb[:, 2] - luma)
        v_of = 0.877283 * (rgb[:, 0] - luma)
        edges = np.linspace(10.5e-6 if pal else 9.4e-6, self.line_s - 1.5e-6, 9)
        shown = self._is_shown(line)
        y, u, v = (np.zeros_like(at_s) for _ in range(3))
        for n in range(8):
            gate = _pulse(after_s, edges[n], edges[n + 1], 0.25e-6) * shown
            late = _pulse(after_s - self.chroma_delay_s, edges[n], edges[n + 1], 0.25e-6) * shown
            y += gate * (black + (white - black) * luma[n])
            u += late * (white - black) * u_of[n] * self.chroma
            v += late * (white - black) * v_of[n] * self.chroma
        switch = np.where((line % 2 == 0) | (not pal) | (not self.swing), 1.0, -1.0)
        angle = 2 * np.pi * self.carrier_hz * at_s
        colour = u * np.sin(angle) + v * switch * np.cos(angle)
        start_s, cycles, burst = (5.6e-6, 10, 0.15) if pal else (19 * 88 / 315e6, 9, 20 / 140)
        gate = _pulse(after_s, start_s, start_s + cycles / self.carrier_hz, 0.3e-6)
        place = np.deg2rad(135 if pal and self.swing else 180)
        turned = angle + np.deg2rad(self.turn_deg)
        wave = np.cos(place) * np.sin(turned) + np.sin(place) * switch * np.cos(turned)
        tip = -0.3 if pal else -40 / 140
        luma_and_sync = y + tip * self.sync * self._sync(at_s)
        return self.luma * luma_and_sync + colour + burst * self.burst * gate * wave

    def _is_shown(self, line: np.ndarray) -> np.ndarray:
        number = line % self.lines + 1
        if not self.field_blanking:
            return np.ones(len(line))
        ends = (24, 310, 336, 622) if self.lines == 625 else (21, 262, 284, 524)
        first, second = (number >= ends[0]) & (number <= ends[1]), number >= ends[2]
        return (first | (second & (number <= ends[3]))).astype(float)

    def _sync(self, at_s: np.ndarray) -> np.ndarray:
        """Return line sync, and field sync with its equalising pulses, of height 1."""
        half_s, pal = self.line_s / 2, self.lines == 625
        half = np.floor(at_s / half_s + 0.02).astype(int)
        after_s = at_s - half * half_s
        rise_s, group, first = (0.2e-6, 5, 0) if pal else (0.14e-6, 6, 6)
        widths = (4.7e-6, 2.35e-6, 27.3e-6) if pal else (4.7e-6, 2.3e-6, 27.1e-6)
        sync = np.where(half % 2 == 0, _pulse(after_s, 0, widths[0], rise_s), 0.0)
        if not self.field_blanking:
            return sync
        place = (half - first + group) % self.lines
        for start, width_s in ((0, widths[1]), (group, widths[2]), (2 * group, widths[1])):
            inside = (place >= start) & (place < start + group)
            sync = np.where(inside, _pulse(after_s, 0, width_s, rise_s), sync)
        return sync


def _pulse(at_s: np.ndarray, from_s: float, to_s: float, rise_s: float) -> np.ndarray:
    """Return a pulse with straight edges of a rise time from 10 to 90 %."""
    whole_s = 1.25 * rise_s
    up = np.clip((at_s - from_s) / whole_s + 0.5, 0, 1)
    return up - np.clip((at_s - to_s) / whole_s + 0.5, 0, 1)
