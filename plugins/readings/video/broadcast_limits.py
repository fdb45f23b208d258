"""Limits of a composite video signal by the standards, and by common practice where they end.

| figures | source |
|---|---|
| sync, porches, burst position and cycles | ITU-R BT.470-6, tables 1-1 and 2; BT.1700 |
| the same, 525 lines | SMPTE 170M, clauses 8 and 11; BT.470-6, table 1-1 |
| levels | BT.470-6, table 1; SMPTE 170M, clause 7 |
| burst 43 % ± 5 % of white, alternating ±135° | BT.470-6, table 2 (PAL) |
| chroma gain, delay, phase; differential gain and phase; noise, hum | common practice |

Times and levels are read in the tables named above by way of secondary sources that agree; the
numbers of clauses of SMPTE 170M are from memory. A set adds its own errors to those of the
transmitter, so that amplitudes get at least the tolerance of the pin's own peak to peak.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ....schema.systems import SCANNING, VIDEO_LEVELS, VIDEO_TIMING

SYNC_TOLERANCE_S: Final = {625: 0.2e-6, 525: 0.1e-6}
BURST_START_TOLERANCE_S: Final = {625: 0.1e-6, 525: 0.1e-6}
BURST_CYCLES_TOLERANCE: Final = 1.0
SETUP_TOLERANCE: Final = 2.5 / 140  # of sync tip to white, 525 lines
SWING_TOLERANCE_DEG: Final = 10.0  # each burst of PAL, common practice of studio limits
CASCADE_S: Final = 0.15e-6
"""What the stages of a set may add to a time of the standard. Common practice."""

LEAST_CHROMA_GAIN: Final = 0.71
MOST_CHROMA_GAIN: Final = 1.41
"""Chroma over luminance, 3 dB either way. Common practice; a studio keeps 0.5 dB."""
MOST_CHROMA_DELAY_S: Final = 170e-9
"""Receivers are pre-corrected by 170 ns (47 CFR 73.687, BT.470-6 note on group delay)."""
MOST_PHASE_ERROR_DEG: Final = 10.0
"""Of the burst against the colours; a hue error of 5° is just seen. Common practice."""
MOST_DIFFERENTIAL_GAIN_PERCENT: Final = 10.0
MOST_DIFFERENTIAL_PHASE_DEG: Final = 10.0
LEAST_SIGNAL_TO_NOISE_DB: Final = 32.0
"""Of white over noise, not weighted: noise that is plainly seen. Common practice."""
MOST_HUM_PERCENT: Final = 7.0
"""Peak to peak of hum, of sync tip to white. Common practice."""
MOST_ALTERNATION: Final = 0.04
"""Of sync tip to white: blanking of neighbouring lines. Common practice."""
MOST_JITTER_S: Final = 50e-9
"""Root mean square, from line to line, of a signal that is locked. Common practice."""
MOST_OVERSHOOT_PERCENT: Final = 15.0
LEAST_BANDWIDTH_HZ: Final = 0.6e6
"""To -3 dB, that of edges of 0.6 µs: less blurs sync itself. Common practice."""
LEAST_SYNC_SHARE: Final = 0.75
"""Of the sync that belongs to the measured white: less is compressed. Common practice."""
MOST_SYNC_SHARE: Final = 1.35


@dataclass(frozen=True)
class Nominal:
    """Nominal figures of a system, on the scale of 1 V from sync tip to white."""

    lines: int
    colour: str
    line_hz: float
    carrier_hz: float
    sync: float
    black: float
    white: float
    burst_pp: float
    sync_s: float
    burst_start_s: float
    burst_cycles: int


def read_nominal(system: str) -> Nominal:
    """Return the nominal figures of a television system."""
    scanning, levels, timing = SCANNING[system], VIDEO_LEVELS[system], VIDEO_TIMING[system]
    return Nominal(
        lines=scanning.lines,
        colour=system.split("-")[0],
        line_hz=float(scanning.line_hz),
        carrier_hz=float(scanning.subcarrier_hz[0]),
        sync=-float(levels.sync),
        black=float(levels.black),
        white=float(levels.white),
        burst_pp=float(levels.burst_pp),
        sync_s=timing.sync_s,
        burst_start_s=timing.burst_start_s,
        burst_cycles=timing.burst_cycles,
    )


MOST_NOISE: Final = 0.06
"""Root mean square over the peak to peak, of other signals than video. Common practice."""
