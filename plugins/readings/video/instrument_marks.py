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
_SECOND_DIFFERENCE_VARIANCE: Final = 6  # times that of the noise
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
    # Without codes to count by, the next "code" is a quarter of the noise away.
    code_v = step_v or noise_v / 4
    same_v = step_v / 2 or noise_v / 1000
    fewest = max(_LEAST_SHARE * len(volts), _FEWEST_SAMPLES)
    for side, end_v, inward in (
        ("top", float(volts.max()), -1),
        ("bottom", float(volts.min()), 1),
    ):
        is_at_end = np.abs(volts - end_v) < same_v
        is_on_next_code = np.abs(volts - end_v - inward * code_v) < code_v / 2
        # Noise alone reaches the end for a sample or two, not for a run of them.
        in_runs = int(np.count_nonzero(_find_runs(is_at_end)))
        on_next_code = np.count_nonzero(is_on_next_code & ~is_at_end)
        if in_runs >= fewest and in_runs > _STEEPER * (on_next_code + 1):
            return side
    return None


def estimate_inner_noise_v(record: Record) -> float:
    """Return the noise of a signal of straight lines, from blocks that meet neither of its ends.

    From second differences, with 1 + 4 + 1 times the variance of the noise (von Neumann, 1941).
    """
    volts = record.volts
    block_count = (len(volts) - 2) // _BLOCK
    if block_count < 1:
        return 0.0
    shape = block_count, _BLOCK
    is_at_end = (volts == volts.max()) | (volts == volts.min())
    is_inner = ~is_at_end[: block_count * _BLOCK].reshape(shape).any(axis=1)
    if not is_inner.any():
        return 0.0
    variances = np.diff(volts, 2) ** 2 / _SECOND_DIFFERENCE_VARIANCE
    block_variances = variances[: block_count * _BLOCK].reshape(shape).mean(axis=1)
    return math.sqrt(float(np.median(block_variances[is_inner])))


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
        on_last_code = int(np.count_nonzero(np.abs(volts - end_v) < step_v / 2))
        next_code_v = end_v + inward * step_v
        on_next_code = int(np.count_nonzero(np.abs(volts - next_code_v) < step_v / 2))
        # Two standard deviations of a count are left as a margin.
        most_of_a_sine = _STEEPER * (on_next_code + 2 * math.sqrt(on_next_code) + 1)
        if on_last_code > max(most_of_a_sine, _LEAST_SHARE * len(volts), _FEWEST_ON_CARRIER):
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
    height_v, expected_height_v = float(np.ptp(record.volts)), float(np.ptp(expected_v))
    equal_v = record.step_v or height_v * _EQUAL
    # The same depth on the expected shape, with room for the rounding of either side.
    expected_depth_v = 1.5 * max(equal_v / (height_v or 1.0), _EQUAL) * expected_height_v
    for side, sign in (("top", 1), ("bottom", -1)):
        captured_share = _measure_end_share(sign * record.volts, equal_v / 2)
        expected_share = _measure_end_share(sign * expected_v, expected_depth_v)
        if captured_share > 2 * expected_share + _LEAST_LONGER:
            return side
    return None


def _measure_end_share(volts: Samples, depth_v: float) -> float:
    """Return the share of the samples that are within a depth of the highest."""
    return float(np.mean(volts > volts.max() - depth_v))


def _find_runs(flags: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the flags that have one on either side of them."""
    inside = np.zeros_like(flags)
    inside[1:-1] = flags[1:-1] & flags[:-2] & flags[2:]
    return inside
