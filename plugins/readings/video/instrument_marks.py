"""Marks that the instrument leaves on a record: clipping at the end of its range."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ....schema.waveforms import Samples
from .figure import Record

_LEAST_SHARE: Final = 0.004  # of the samples that are at the very end of the range
_STEEPER: Final = 4.0  # times as many there as on the next codes beside them
_FEWEST_SAMPLES: Final = 6  # in a run at the rail
_FEWEST_ON_CARRIER: Final = 12  # samples at the rail
_BLOCK: Final = 16  # samples
_PHASES: Final = 64  # places along a cycle
_EQUAL: Final = 1e-6  # of the height
_LEAST_LONGER: Final = 0.01  # of the record
LEVELS_NOISY: Final = 0.5
"""Steps of noise of a signal that has levels of its own; some of it is the rounding to codes."""
_NOISY: Final = 0.35  # steps of noise elsewhere, below which a level may be all one code


def find_clipped(record: Record, noise_v: float, least_steps: float = _NOISY) -> str | None:
    """Return the end at which the record was cut off, ``top`` or ``bottom``; None for neither.

    Where noise moves every level over several codes, many equal samples at the very end can only
    be the end of the converter's range. A record without noise does not tell: its levels are
    single codes anyhow. ``least_steps`` is the noise that tells, in steps between codes.
    """
    volts, step_v = record.volts, record.step_v
    if noise_v <= 0 or (step_v and noise_v < least_steps * step_v):
        return None
    for side, end_v, inward in (
        ("top", float(volts.max()), -1),
        ("bottom", float(volts.min()), 1),
    ):
        width_v = step_v or noise_v / 4
        at_end = np.abs(volts - end_v) < (step_v / 2 or noise_v / 1000)
        fewest = max(_LEAST_SHARE * len(volts), _FEWEST_SAMPLES)
        if np.count_nonzero(at_end) < fewest:
            continue
        beside = np.abs(volts - end_v - inward * width_v) < width_v / 2
        in_runs = int(np.count_nonzero(_find_runs(at_end)))
        if in_runs < fewest:
            continue
        if in_runs > _STEEPER * (np.count_nonzero(beside & ~at_end) + 1):
            return side
    return None


def estimate_inner_noise_v(record: Record) -> float:
    """Return the noise of a signal of straight lines, from blocks that meet neither of its ends.

    From second differences, with 1 + 4 + 1 times the variance of the noise (von Neumann, 1941).
    """
    volts = record.volts
    at_end = (volts == volts.max()) | (volts == volts.min())
    blocks = (len(volts) - 2) // _BLOCK
    if blocks < 1:
        return 0.0
    squares = (np.diff(volts, 2) ** 2 / 6)[: blocks * _BLOCK].reshape(blocks, _BLOCK)
    inner = ~at_end[: blocks * _BLOCK].reshape(blocks, _BLOCK).any(axis=1)
    return math.sqrt(float(np.median(squares[inner].mean(axis=1)))) if inner.any() else 0.0


def find_clipped_carrier(record: Record, hz: float | None = None) -> str | None:
    """Return the end at which a carrier without levels was cut off; None for neither.

    Sampling that is locked to the frequency ``hz`` meets few phases, and tells nothing. A sine
    whose peak is in the last code has at most 1 / (√2 - 1) = 2.41 times as many samples there as
    in the code beside it (arcsine distribution).
    """
    volts, step_v = record.volts, record.step_v
    if not step_v or (hz is not None and not _meets_all_phases(record, hz)):
        return None
    for side, end_v, inward in (
        ("top", float(volts.max()), -1),
        ("bottom", float(volts.min()), 1),
    ):
        at_end = int(np.count_nonzero(np.abs(volts - end_v) < step_v / 2))
        beside = int(np.count_nonzero(np.abs(volts - end_v - inward * step_v) < step_v / 2))
        # The margin is that of two counts.
        least = _STEEPER * (beside + 2 * math.sqrt(beside) + 1)
        if at_end > max(least, _LEAST_SHARE * len(volts), _FEWEST_ON_CARRIER):
            return side
    return None


def _meets_all_phases(record: Record, hz: float) -> bool:
    """Return whether the samples lie all along the cycle of a frequency."""
    turns = np.mod(np.arange(len(record.volts)) * (hz * record.interval_s), 1.0)
    places = np.unique((turns * _PHASES).astype(np.intp))
    return len(places) > _PHASES / 2


def find_long_end(record: Record, expected_v: Samples) -> str | None:
    """Return the end at which equal samples last longer than the expected shape does; else None.

    ``expected_v`` is one period, evenly spaced. Such an end may be that of the instrument's range,
    or a flat signal without noise.
    """
    volts = record.volts
    width_v = record.step_v or float(np.ptp(volts)) * _EQUAL
    share = max(width_v / (float(np.ptp(volts)) or 1.0), _EQUAL)
    for side, sign in (("top", 1), ("bottom", -1)):
        found = float(np.mean(sign * volts > (sign * volts).max() - width_v / 2))
        depth_v = 1.5 * share * float(np.ptp(expected_v))
        wanted = float(np.mean(sign * expected_v > (sign * expected_v).max() - depth_v))
        if found > 2 * wanted + _LEAST_LONGER:
            return side
    return None


def _find_runs(flags: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the flags that have one on either side of them."""
    inside = np.zeros_like(flags)
    inside[1:-1] = flags[1:-1] & flags[:-2] & flags[2:]
    return inside
