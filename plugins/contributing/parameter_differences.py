"""Compare characteristics of two chips: the same name, at the same pins or supply, in one unit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from ...schema import Chip, Quantity
from ...schema.chips.expectation import ASSUMED_WAVEFORM_PERCENT
from ...schema.chips.parameter import Parameter
from .difference import Difference
from .same_function import compare_wordings


def compare_parameters(fitted: Chip, other: Chip) -> Iterator[Difference]:
    """Yield characteristics that both chips state, and of which the other's is worse."""
    for here, there in pair_parameters(fitted, other):
        pin = fitted.pin(here.pins[0]) if here.pins else None
        gives = pin is not None and pin.role == "output" and here.value.unit in _GIVEN
        if there is None or not _is_worse(here.value, there.value, gives):
            continue
        sides = (f"{here.name} {here.value}", f"{there.value}")
        place = (pin.number, pin.symbol) if pin else (None, "")
        yield Difference("change", "parameter", sides, "see that the board allows it", *place)


# A maximum of an output is its ability: current into the load, power.
_GIVEN: Final = ("A", "W")


def pair_parameters(fitted: Chip, other: Chip) -> Iterator[tuple[Parameter, Parameter | None]]:
    """Yield each parameter of the fitted chip with the other's of the same name, else None."""
    left = [*other.parameters]
    for parameter in fitted.parameters:
        same = next((p for p in left if _is_same(parameter, p)), None)
        if same is not None:
            left.remove(same)
        yield parameter, same


def _is_same(one: Parameter, other: Parameter) -> bool:
    """Return whether two parameters state the same quantity of the same place."""
    if one.value.unit != other.value.unit or one.supply != other.supply:
        return False
    if not (set(one.pins) & set(other.pins) or (not one.pins and not other.pins)):
        return False
    return (
        one.name.lower() == other.name.lower() or compare_wordings(one.name, other.name) == "same"
    )


def _is_worse(here: Quantity, there: Quantity, gives: bool) -> bool:
    """Return whether the other value leaves the limits; of a single limit, to the bad side."""
    share = ASSUMED_WAVEFORM_PERCENT / 100
    room = abs(here.nominal) * share
    if _is_only_maximum(here) and _is_only_maximum(there):
        more = there.nominal - here.nominal
        return -more > room if gives else more > room
    if _is_only_minimum(here) and _is_only_minimum(there):
        return here.nominal - there.nominal > room
    (low, high), (other_low, other_high) = (
        quantity.limits(ASSUMED_WAVEFORM_PERCENT) for quantity in (here, there)
    )
    return low > other_high or other_low > high


def _is_only_maximum(value: Quantity) -> bool:
    return value.typ is None and value.low is None


def _is_only_minimum(value: Quantity) -> bool:
    return value.typ is None and value.high is None
