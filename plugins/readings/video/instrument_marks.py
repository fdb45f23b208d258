"""Marks that the instrument leaves on a record: clipping at the end of its range."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from .figure import Record

_LEAST_SHARE: Final = 0.004  # of the samples that are at the very end of the range
_STEEPER: Final = 4.0  # times as many there as on the next codes beside them
_FEWEST_SAMPLES: Final = 6  # in a run at the rail
_NOISY: Final = 0.35  # steps of noise elsewhere, below which a level may be all one code


def find_clipped(record: Record, noise_v: float) -> str | None:
    """Return the end at which the record was cut off, ``top`` or ``bottom``; None for neither.

    Where noise moves every level over several codes, many equal samples at the very end can only
    be the end of the converter's range. A record without noise does not tell: its levels are
    single codes anyhow.
    """
    volts, step_v = record.volts, record.step_v
    if noise_v <= 0 or (step_v and noise_v < _NOISY * step_v):
        return None
    for side, end_v, inward in (
        ("top", float(volts.max()), -1),
        ("bottom", float(volts.min()), 1),
    ):
        width_v = step_v or noise_v / 4
        at_end = np.abs(volts - end_v) < (step_v / 2 or noise_v / 1000)
        beside = np.abs(volts - end_v - inward * width_v) < width_v / 2
        in_runs = int(np.count_nonzero(_find_runs(at_end)))
        if in_runs < max(_LEAST_SHARE * len(volts), _FEWEST_SAMPLES):
            continue
        if in_runs > _STEEPER * (np.count_nonzero(beside & ~at_end) + 1):
            return side
    return None


def _find_runs(flags: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the flags that have one on either side of them."""
    inside = np.zeros_like(flags)
    inside[1:-1] = flags[1:-1] & flags[:-2] & flags[2:]
    return inside
