"""Expected minutes until the set works, and how a measurement or a repair shortens them.

Suspects that no measurement parts are tried one after another, by chance per minute; that order is
optimal where one thing is at fault and each try tells. Where measurements still part them, the way
is thought of as so many bits at the best rate at which bits are to be had, and then one repair.
Sources: Heckerman, Breese and Rommelse, Decision-theoretic troubleshooting, Communications of the
ACM 38(3), 1995; the entropy as the work that is left: de Kleer and Williams (1987), section 4.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

_LEAST_CHANCE: Final = 1e-12


@dataclass(frozen=True, eq=False)
class ExpectedMinutes:
    """Expected minutes until the set works, from chances of things on the last axis."""

    repair_minutes: Numbers
    """Shape (things,)."""
    bits_a_minute: float
    """The most that any measurement tells; 0 where none tells anything."""
    look_ahead: float = 1.25
    """How much dearer a measurement is that is not the next one: not each is the best."""

    def expect(self, chances: Numbers) -> Numbers:
        """Return the minutes; chances need not add up to 1, the result is weighted by their sum."""
        in_order = sum_minutes_in_order(chances, self.repair_minutes)
        if self.bits_a_minute <= 0:
            return in_order
        measured = self.look_ahead * compute_weighted_bits(chances) / self.bits_a_minute
        measured = measured + (chances * self.repair_minutes).sum(axis=-1)
        return np.asarray(np.minimum(in_order, measured))

    def expect_after_measuring(self, joint: Numbers, minutes: Numbers) -> Numbers:
        """Return the minutes when this is measured first, shape (measurements,).

        ``joint``: chances of outcomes and things, shape (measurements, outcomes, things).
        """
        return np.asarray(minutes + self.expect(joint).sum(axis=-1))

    def expect_after_repairing(self, chances: Numbers, thing: int) -> float:
        """Return the minutes when this is tried first: proved, soldered again, exchanged."""
        others = chances.copy()
        others[thing] = 0.0
        return float(self.repair_minutes[thing] + self.expect(others))


def sum_minutes_in_order(chances: Numbers, minutes: Numbers) -> Numbers:
    """Return the expected minutes of trying things one after another, by chance per minute."""
    order = np.argsort(-chances / minutes, axis=-1)
    sorted_chances = np.take_along_axis(chances, order, axis=-1)
    sorted_minutes = np.take(minutes, order)
    left = np.cumsum(sorted_chances[..., ::-1], axis=-1)[..., ::-1]
    return np.asarray((left * sorted_minutes).sum(axis=-1))


def compute_weighted_bits(chances: Numbers) -> Numbers:
    """Return the entropy of chances on the last axis, times their sum."""
    total = chances.sum(axis=-1)
    own = -(chances * np.log2(np.maximum(chances, _LEAST_CHANCE))).sum(axis=-1)
    return np.asarray(np.maximum(own + total * np.log2(np.maximum(total, _LEAST_CHANCE)), 0.0))


def compute_expected_bits(joint: Numbers) -> Numbers:
    """Return the information of each measurement on the things, in bits (Shannon 1948).

    ``joint``: chances of outcomes and things, shape (measurements, outcomes, things).
    """
    bits_before = compute_weighted_bits(joint.sum(axis=1))
    bits_after = compute_weighted_bits(joint).sum(axis=1)
    return np.asarray(np.maximum(bits_before - bits_after, 0.0))
