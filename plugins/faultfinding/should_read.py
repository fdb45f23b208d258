"""What a measurement should come to, in words: for the sheet that is taken to the bench."""

from __future__ import annotations

from ...schema import Chip, print_value
from ...schema.chips.limits import find_limits
from ..readings.checks import find_test_point
from .points import OUT_OF_CIRCUIT, Point
from .ripple import most_v
from .set_off import with_resistance


def should_read(chip: Chip, point: Point, condition: str) -> str:
    """The limits of a point, ``11.4 V to 12.6 V``, or a part's value; empty where none is known.

    Between the leads of a part in its circuit only a resistor's is told: no more than its own.
    """
    part = next((p for p in chip.application.parts if p.ref == point.at), None)
    if part is not None:
        value = " ± ".join(str(told) for told in (part.value, part.tolerance) if told)
        if point.quantity == OUT_OF_CIRCUIT:
            return value
        return f"{part.value} or less" if part.kind == "resistor" and part.value else ""
    place = find_test_point(chip, point.at)
    if point.quantity == "ripple":
        most = most_v(chip, point)
        return "" if most is None else f"{print_value(most, 'Vpp')} or less"
    expectation = place.expectation(condition)
    if point.quantity == "resistance":
        expectation = with_resistance(place)
    limits = (
        find_limits(place, expectation).get(point.quantity) if expectation is not None else None
    )
    return "" if limits is None else limits.span
