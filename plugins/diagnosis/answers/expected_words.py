"""What a measurement should come to, in words: for the sheet that is taken to the bench."""

from __future__ import annotations

from typing import Final

from ....schema import Chip, print_value
from ...readings.places import find_part
from ..evidence.observations import limits_at

_RIPPLE_SHARE: Final = 0.01  # of the supply: what small-signal stages bear. Common practice.


def expected_words(chip: Chip, at: str, quantity: str, condition: str) -> str:
    """Return the limits of a point, ``11.4 V to 12.6 V``, or a part's value; empty where none is
    known."""
    part = find_part(chip, at) if not at.startswith("pin ") else None
    if part is not None:
        return " ± ".join(str(told) for told in (part.value, part.tolerance) if told)
    if quantity == "ripple":
        most_v = ripple_limit_v(chip, at)
        return "" if most_v is None else f"{print_value(most_v, 'Vpp')} or less"
    limits = limits_at(chip, at, condition).get(quantity)
    return "" if limits is None else limits.span


def ripple_limit_v(chip: Chip, at: str) -> float | None:
    """Return the ripple that a supply pin may show, peak to peak; None at any other point."""
    for supply in chip.supplies:
        if at in {f"pin {number}" for number in supply.pins}:
            return _RIPPLE_SHARE * abs(supply.voltage.nominal)
    return None
