"""What a chip reads with every failure of what is around it: worked out once for a condition."""

from __future__ import annotations

from dataclasses import dataclass

from ...schema import Chip
from .failures import FaultDictionary, fault_dictionary
from .set_off import SetOff, set_off


@dataclass(frozen=True)
class WorkedOut:
    """The fault dictionary with the set on and with the set off."""

    dictionary: FaultDictionary
    off: SetOff


def work_out(chip: Chip, condition: str) -> WorkedOut:
    """Solve the circuits; up to a second for a large chip."""
    return WorkedOut(fault_dictionary(chip, condition), set_off(chip))


def working_condition(chip: Chip) -> str:
    """The condition in which most pins show a signal: what a fault is hunted in."""
    counts = {condition.name: 0 for condition in chip.conditions}
    for pin in chip.pins:
        for expectation in pin.expectations:
            if expectation.waveform is not None and expectation.waveform.period_s:
                counts[expectation.condition] += 1
    return max(counts, key=lambda name: counts[name])
