"""Many pins at once: what only shows when they are seen together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median
from typing import Final

from ...schema.quantities import print_value
from .verdict import AS_EXPECTED, PinVerdict

_FEWEST_FOLLOWERS: Final = 2  # pins beside the supply that must have scaled along
_RATIO_TOLERANCE: Final = 0.06  # how closely pins that scale with their supply scale
_LEAST_SUPPLY_ERROR: Final = 0.03  # a supply nearer than this to its voltage is no explanation


def describe_supply_scaling(judged: Sequence[PinVerdict]) -> str | None:
    """A supply that is off by the same share as the other pins that are wrong, in words.

    Common practice: bias voltages are divided down from the supply and follow it.
    """
    ratios = {j.pin.number: ratio for j in judged if (ratio := _compute_dc_ratio(j)) is not None}
    supplies = [j for j in judged if j.pin.role == "supply" and j.pin.number in ratios]
    for supply in supplies:
        share = ratios[supply.pin.number]
        others = [
            ratios[j.pin.number]
            for j in judged
            if j.pin.role not in ("supply", "ground")
            and j.pin.number in ratios
            and j.verdict != AS_EXPECTED
        ]
        if abs(share - 1) < _LEAST_SUPPLY_ERROR or len(others) < _FEWEST_FOLLOWERS:
            continue
        if math.isclose(median(others), share, rel_tol=_RATIO_TOLERANCE):
            read = print_value(_find_dc_value(supply), "V")
            return (
                f"Pin {supply.pin.number} {supply.pin.symbol} is at {read}, {share:.0%} of what it"
                f" should be, and {len(others)} other pins are off by the same share: mend the"
                " supply first."
            )
    return None


def _compute_dc_ratio(judged: PinVerdict) -> float | None:
    for result in judged.results:
        if result.expected.quantity == "dc" and result.expected.typ > 0.2:
            return result.corrected.value / result.expected.typ
    return None


def _find_dc_value(judged: PinVerdict) -> float:
    return next(r.corrected.value for r in judged.results if r.expected.quantity == "dc")
