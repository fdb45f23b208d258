"""Findings that only several pins together show: a supply that takes its followers with it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median
from typing import Final

from ...schema.quantities import print_value
from .verdict import AS_EXPECTED, PinVerdict

_FEWEST_FOLLOWERS: Final = 2  # pins other than the supply
_RATIO_TOLERANCE: Final = 0.06  # between the supply's ratio and the median of its followers
_LEAST_SUPPLY_ERROR: Final = 0.03  # a supply closer to its voltage explains nothing
_LEAST_DC_V: Final = 0.2  # expected DC below which a ratio means nothing


def describe_supply_scaling(verdicts: Sequence[PinVerdict]) -> str | None:
    """Return a sentence about a supply that is off by the same ratio as the wrong pins, or None.

    Common practice: bias voltages are divided down from the supply and follow it.
    """
    measured = [
        (verdict, ratio)
        for verdict in verdicts
        if (ratio := _compute_dc_ratio(verdict)) is not None
    ]
    follower_ratios = [
        ratio
        for verdict, ratio in measured
        if verdict.pin.role not in ("supply", "ground") and verdict.verdict != AS_EXPECTED
    ]
    # One wrong pin beside the supply may be wrong for a reason of its own.
    if len(follower_ratios) < _FEWEST_FOLLOWERS:
        return None
    for supply, supply_ratio in measured:
        if supply.pin.role != "supply" or abs(supply_ratio - 1) < _LEAST_SUPPLY_ERROR:
            continue
        if math.isclose(median(follower_ratios), supply_ratio, rel_tol=_RATIO_TOLERANCE):
            voltage = print_value(_find_dc_value(supply), "V")
            return (
                f"Pin {supply.pin.number} {supply.pin.symbol} is at {voltage}, {supply_ratio:.0%}"
                f" of what it should be, and {len(follower_ratios)} other pins are off by the same"
                " share: mend the supply first."
            )
    return None


def _compute_dc_ratio(verdict: PinVerdict) -> float | None:
    """Return corrected over expected DC voltage, None without a useful expectation."""
    for result in verdict.results:
        if result.expected.quantity == "dc" and result.expected.typ > _LEAST_DC_V:
            return result.corrected.value / result.expected.typ
    return None


def _find_dc_value(verdict: PinVerdict) -> float:
    """Return the corrected DC voltage of a verdict that has one."""
    return next(
        result.corrected.value for result in verdict.results if result.expected.quantity == "dc"
    )
