"""Chrominance as vectors: each colour bar and the burst by its amplitude and phase.

Phase is counted from +U against the clock, amplitude in bursts: chroma peak to peak over burst
peak to peak. So neither depends on the gain up to where the signal is measured, and phase is
is relative to the burst, as in a decoder. With PAL the line of positive V counts; on the line
between, everything is mirrored about the U axis (ITU-R BT.470-6, SMPTE 170M).
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from ..systems import SCANNING, VIDEO_LEVELS, VIDEO_TIMING
from .base import Samples
from .colour_bars import BAR_NAMES, bar_colours, compute_chrominance

_MIDDLE = 0.2  # of a bar or of the burst is left out at both ends, for its edges
_FEWEST = 8  # samples that fix level, amplitude and phase
_NO_BURST_V = 1e-9
_COLOURED_BARS = BAR_NAMES[1:7]  # without white and black, which have no colour


class Vector(NamedTuple):
    """One colour bar or a burst."""

    name: str
    amplitude: float
    """In bursts."""
    phase_deg: float
    """From +U against the clock, from 0 up to 360."""


def find_burst_phases_deg(system: str) -> tuple[float, ...]:
    """Return the burst phases from +U: 180° in NTSC; +135° and -135° on alternate lines of PAL.

    Raises ``ValueError`` for SECAM, whose colour is frequency-modulated and has no vectors.
    """
    if system.startswith("SECAM"):
        raise ValueError(f"{system} has no vectors: its colour is frequency-modulated")
    return (135.0, -135.0) if system.startswith("PAL") else (180.0,)


def list_bar_vectors(system: str, bars: float) -> tuple[Vector, ...]:
    """Return the six coloured bars of ``bars`` percent, from yellow to blue."""
    find_burst_phases_deg(system)  # refuses SECAM
    levels = VIDEO_LEVELS[system]
    bursts = 2 * float((levels.white - levels.black) / levels.burst_pp)
    coloured = zip(_COLOURED_BARS, bar_colours(system, bars)[1:7], strict=True)
    pairs = [(name, *compute_chrominance(colour)) for name, colour in coloured]
    return tuple(
        Vector(name, bursts * math.hypot(u, v), _measure_angle_deg(u, v)) for name, u, v in pairs
    )


def list_burst_vectors(system: str) -> tuple[Vector, ...]:
    """Return the burst, or both bursts of PAL, at an amplitude of 1."""
    return tuple(Vector("burst", 1.0, phase % 360) for phase in find_burst_phases_deg(system))


def list_vector_points(system: str, bars: float) -> tuple[tuple[str, float, float], ...]:
    """Return bars and bursts as (name, along +U, along +V), in bursts."""
    return tuple(
        (
            name,
            amplitude * float(np.cos(np.deg2rad(phase_deg))),
            amplitude * float(np.sin(np.deg2rad(phase_deg))),
        )
        for name, amplitude, phase_deg in (
            *list_bar_vectors(system, bars),
            *list_burst_vectors(system),
        )
    )


def measure_vectors(volts: Samples, t_s: Samples, system: str) -> tuple[Vector, ...]:
    """Return the six bars of one line of composite video or chrominance, relative to its burst.

    ``volts`` are samples at the times ``t_s`` in seconds, both of shape (n,), all within one
    line; a whole line number times the line lies at its 0H, which also tells the sign of V in
    PAL. The subcarrier must be sampled at more than twice its frequency. Each part is fitted with
    a level, a sine and a cosine by least squares. Raises ``ValueError`` where the samples leave
    the burst or a bar out, where there is no burst, and for SECAM.
    """
    reference_deg = find_burst_phases_deg(system)
    line_s = float(1 / SCANNING[system].line_hz)
    line = int(np.floor(np.median(t_s) / line_s))
    # PAL has two phases of the burst, for lines with V as it is and with V reversed.
    is_v_reversed = len(reference_deg) == 2 and line % 2 == 1
    line_times_s = np.asarray(t_s) - line * line_s
    (burst_start_s, burst_end_s), *bar_spans_s = _list_spans(system)
    burst = _fit(volts, line_times_s, burst_start_s, burst_end_s, system)
    if abs(burst) < _NO_BURST_V:
        raise ValueError("no burst to compare the colours with; give a line with a burst")
    # Dividing by the burst removes its size and the unknown phase of the subcarrier.
    burst_deg = reference_deg[-1 if is_v_reversed else 0]
    to_burst = np.exp(1j * np.deg2rad(burst_deg)) / burst
    bars = [to_burst * _fit(volts, line_times_s, start, end, system) for start, end in bar_spans_s]
    vectors = [bar.conjugate() if is_v_reversed else bar for bar in bars]
    return tuple(
        Vector(name, float(abs(vector)), _measure_angle_deg(vector.real, vector.imag))
        for name, vector in zip(_COLOURED_BARS, vectors, strict=True)
    )


def _measure_angle_deg(u: float, v: float) -> float:
    return float(np.degrees(np.arctan2(v, u)) % 360)


def _list_spans(system: str) -> list[tuple[float, float]]:
    """Return start and end of the burst and of the six coloured bars, in seconds after 0H."""
    timing, scanning = VIDEO_TIMING[system], SCANNING[system]
    burst_s = timing.burst_cycles / float(scanning.subcarrier_hz[0])
    end_s = float(1 / scanning.line_hz) - timing.front_porch_s
    edges_s = [float(edge) for edge in np.linspace(timing.picture_start_s, end_s, 9)]
    spans = [(timing.burst_start_s, timing.burst_start_s + burst_s)]
    return spans + list(pairwise(edges_s[1:8]))


def _fit(volts: Samples, at_s: Samples, start_s: float, end_s: float, system: str) -> complex:
    """Return the chroma between two times as U + jV; raise ValueError for too few samples."""
    margin_s = _MIDDLE * (end_s - start_s)
    inside = (at_s >= start_s + margin_s) & (at_s <= end_s - margin_s)
    if np.count_nonzero(inside) < _FEWEST:
        raise ValueError(
            f"{np.count_nonzero(inside)} samples from {start_s * 1e6:.1f} to "
            f"{end_s * 1e6:.1f} µs after 0H are too few; give {_FEWEST} or more"
        )
    angle = 2 * np.pi * float(SCANNING[system].subcarrier_hz[0]) * at_s[inside]
    basis = np.column_stack([np.ones_like(angle), np.sin(angle), np.cos(angle)])
    _, u, v = np.linalg.lstsq(basis, np.asarray(volts)[inside], rcond=None)[0]
    return complex(u, v)
