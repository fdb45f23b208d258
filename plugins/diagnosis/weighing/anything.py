"""Readings where the model is wrong: as in a good set, or anything.

"Anything" is not any voltage alike: a failed part mostly leaves nothing, or a rail. Common
practice.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from .normal import compute_interval_probability, compute_normal_density
from .spreads import Spreads

_AT_NOTHING: Final = 0.25
_AT_A_RAIL: Final = 0.15
_WIDE: Final = 0.15  # beyond the chip's own rails, up to the highest voltage on the board
_NOTHING_V: Final = 0.15  # a meter's nothing: leaks and drops
_RAIL_SHARE: Final = 0.04


def compute_anything_density(spreads: Spreads, volts: float) -> float:
    """Return the density of a DC reading of which nothing is known but the board's rails, per
    volt."""
    zero = np.zeros(1)
    rails = np.array(spreads.rails_v)
    at_nothing = float(compute_normal_density(volts, zero, _NOTHING_V)[0])
    at_rails = float(
        compute_normal_density(volts, rails, _RAIL_SHARE * np.abs(rails) + 0.05).mean()
    )
    elsewhere = _WIDE / (2 * spreads.highest_v)
    if min(0.0, *spreads.rails_v) <= volts <= max(0.0, *spreads.rails_v):
        elsewhere += (1 - _WIDE) / _find_span_v(spreads)
    rest = 1 - _AT_NOTHING - _AT_A_RAIL
    return _AT_NOTHING * at_nothing + _AT_A_RAIL * at_rails + rest * elsewhere


def compute_anything_chance(spreads: Spreads, low: float, high: float) -> float:
    """Return the chance that such a reading lies in a range."""
    zero, rails = np.zeros(1), np.array(spreads.rails_v)
    at_nothing = float(compute_interval_probability(low, high, zero, np.full(1, _NOTHING_V))[0])
    at_rails = compute_interval_probability(low, high, rails, _RAIL_SHARE * np.abs(rails) + 0.05)
    wide = 2 * spreads.highest_v
    elsewhere = _WIDE * max(min(high, wide / 2) - max(low, -wide / 2), 0.0) / wide
    lowest, highest = min(0.0, *spreads.rails_v), max(0.0, *spreads.rails_v)
    inside = max(min(high, highest) - max(low, lowest), 0.0)
    elsewhere += (1 - _WIDE) * inside / _find_span_v(spreads)
    rest = 1 - _AT_NOTHING - _AT_A_RAIL
    return _AT_NOTHING * at_nothing + _AT_A_RAIL * float(at_rails.mean()) + rest * elsewhere


def _find_span_v(spreads: Spreads) -> float:
    """Return how far the chip's rails lie apart, ground counted."""
    return max(0.0, *spreads.rails_v) - min(0.0, *spreads.rails_v)
