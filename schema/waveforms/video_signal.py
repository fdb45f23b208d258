"""One line of colour bars: luminance with sync, and the modulated chrominance, for 1 Vpp.

Scale: sync tip to reference (100 %) white is 1 V, blanking is 0 V, t = 0 is 0H. The chrominance
is U sin(wt) ± V cos(wt) with w t counted from t = 0, so its phase and the PAL V switch go on from
line to line as they do on the air (ITU-R BT.470-6, SMPTE 170M); the V switch is positive on the
line that starts at t = 0. NTSC burst is at 180° from +U, PAL burst at ±135° with the V switch.

Edges are straight. Those of the bars last 0.25 µs and those of the burst 0.3 µs from 10 to 90 %
(about the values of SMPTE 170M for blanking and burst; from memory). Luminance and chrominance
change together, so that nothing between two bars goes beyond both of them.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Final, NamedTuple

from ..systems import SCANNING, VIDEO_LEVELS, VIDEO_TIMING
from .base import Samples
from .colour_bars import bar_colours, compute_chrominance, compute_luminance, spread_over_line
from .corners import Change, Corners
from .line_table import LineTable

BAR_RISE_S: Final = 0.25e-6
BURST_RISE_S: Final = 0.3e-6


class Bar(NamedTuple):
    """Level and chroma amplitude of one bar or of the burst, on the scale of 1 Vpp."""

    luminance_v: float
    amplitude_v: float


@lru_cache(maxsize=32)
def compute_bar_figures(system: str, percent: float) -> tuple[Bar, ...]:
    """Return luminance and chroma amplitude (half peak to peak) of the bars from white to black."""
    levels = VIDEO_LEVELS[system]
    black, span = float(levels.black), float(levels.white - levels.black)
    return tuple(
        Bar(
            black + span * compute_luminance(colour),
            span * math.hypot(*compute_chrominance(colour)),
        )
        for colour in bar_colours(system, percent)
    )


@lru_cache(maxsize=32)
def draw_sync_line(system: str) -> Corners:
    """Return line sync alone: zero at blanking level, the sync tip below it."""
    timing, levels = VIDEO_TIMING[system], VIDEO_LEVELS[system]
    down = Change(0.0, float(levels.sync), timing.sync_rise_s)
    up = Change(timing.sync_s, 0.0, timing.sync_rise_s)
    return Corners.from_steps(float(1 / SCANNING[system].line_hz), (down, up))


@lru_cache(maxsize=32)
def draw_luminance_line(system: str, percent: float) -> Corners:
    """Return the bars without sync and chrominance, from setup (if any) to white."""
    levels = [bar.luminance_v for bar in compute_bar_figures(system, percent)]
    return spread_over_line(system, levels, BAR_RISE_S)


@lru_cache(maxsize=32)
def gate_burst(system: str) -> Corners:
    """Return the envelope of the burst: 1 while it lasts, 0 otherwise."""
    timing, scanning = VIDEO_TIMING[system], SCANNING[system]
    end_s = timing.burst_start_s + timing.burst_cycles / float(scanning.subcarrier_hz[0])
    steps = (Change(timing.burst_start_s, 1.0, BURST_RISE_S), Change(end_s, 0.0, BURST_RISE_S))
    return Corners.from_steps(float(1 / scanning.line_hz), steps)


@lru_cache(maxsize=32)
def draw_chrominance_lines(system: str, percent: float) -> tuple[Corners, Corners]:
    """Return U and V of the bars along the line."""
    span = float(VIDEO_LEVELS[system].white - VIDEO_LEVELS[system].black)
    pairs = [compute_chrominance(colour) for colour in bar_colours(system, percent)]
    return (
        spread_over_line(system, [span * u for u, _ in pairs], BAR_RISE_S),
        spread_over_line(system, [span * v for _, v in pairs], BAR_RISE_S),
    )


def modulate_chrominance(system: str, percent: float, t_s: Samples) -> Samples:
    """Return burst and modulated bars at the times ``t_s``, on the scale of 1 Vpp."""
    return tabulate_bars(system, percent, 0.0, 1.0)(t_s)


@lru_cache(maxsize=32)
def tabulate_bars(system: str, percent: float, luminance: float, colour: float) -> LineTable:
    """Return shares of the bars' luminance with sync and of their colour with burst, added up."""
    grey, sync = draw_luminance_line(system, percent), draw_sync_line(system)
    u_line, v_line = draw_chrominance_lines(system, percent)

    def add_up(t_s: Samples) -> tuple[Samples, Samples, Samples]:
        u, v = switch_subcarrier(system, u_line(t_s), v_line(t_s), t_s)
        return luminance * (grey(t_s) + sync(t_s)), colour * u, colour * v

    line_s = float(1 / SCANNING[system].line_hz)
    parts = grey, sync, u_line, v_line, gate_burst(system)
    corners_s = [
        number * line_s + at_s for part in parts for at_s in part.times_s for number in range(2)
    ]
    # The V switch repeats after two lines, and changes where nothing is on the subcarrier.
    subcarrier_hz = float(SCANNING[system].subcarrier_hz[0])
    return LineTable(2 * line_s, [*corners_s, 0.0, line_s], subcarrier_hz, add_up)


def modulate_subcarrier(system: str, u: Samples, v: Samples, t_s: Samples) -> Samples:
    """Return burst, ``u`` and ``v`` (as at the times ``t_s``) on the PAL or NTSC subcarrier."""
    import numpy as np

    u, v = switch_subcarrier(system, u, v, t_s)
    angle = 2 * np.pi * float(SCANNING[system].subcarrier_hz[0]) * np.asarray(t_s)
    return np.asarray(u * np.sin(angle) + v * np.cos(angle))


def switch_subcarrier(system: str, u: Samples, v: Samples, t_s: Samples) -> tuple[Samples, Samples]:
    """Return what goes on sine and cosine of the subcarrier: ``u`` and ``v`` with the burst."""
    import numpy as np

    burst = gate_burst(system)(t_s) * float(VIDEO_LEVELS[system].burst_pp) / 2
    if not system.startswith("PAL"):
        return u - burst, v
    line = np.floor(np.multiply(t_s, float(SCANNING[system].line_hz)))
    switch = 1 - 2 * np.mod(line, 2)
    half = math.sqrt(0.5)
    return u - burst * half, switch * (v + burst * half)
