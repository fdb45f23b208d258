"""Places where something is read: a pin, a node, the end of a part."""

from __future__ import annotations

import re
from typing import Final

from ...schema.chip import Chip
from ...schema.chips.application import Part
from ...schema.chips.data import Pin
from ...schema.chips.lookup import UnknownPin, find_pin
from ...schema.chips.usual_faults import describe_endpoint
from ...schema.model import pin_number

# ``C406.2``, ``C406 lead 2``, ``end 2 of C406``
_ENDS: Final = (
    re.compile(r"(?P<ref>\S+?)(?:\.|/|\s+(?:end|lead|leg)\s*)(?P<end>[1-9])", re.I),
    re.compile(r"(?:end|lead|leg)\s*(?P<end>[1-9])\s+of\s+(?P<ref>\S+)", re.I),
)
_PIN: Final = re.compile(r"pin\s+", re.I)


def find_test_point(chip: Chip, name: str) -> Pin:
    """Return the pin or node at a place; a node as a pin numbered 0 with the node's id as symbol.

    A place is a pin's number or symbol, a node's id or name, or the end of a part: ``C406.2``,
    ``C406 lead 2``. Raises UnknownPin.
    """
    folded_name = " ".join(name.split()).casefold()
    for node in chip.application.nodes:
        if folded_name in (node.id, node.name.casefold()):
            # A node passes for a pin, so that readings there are judged like those at a pin.
            return Pin.model_construct(
                number=0, symbol=node.id, function=node.name, role="output",
                expectations=node.expectations,
            )  # fmt: skip
    joined_place = _find_end(chip, folded_name)
    if joined_place is not None:
        return find_test_point(chip, joined_place)
    try:
        return find_pin(chip, _PIN.sub("", name.strip(), count=1))
    except UnknownPin as unknown:
        part = find_part(chip, folded_name)
        if part is not None:
            ends = _list_ends(chip, part)
            raise UnknownPin(f"{part.ref} is a part: name one of its ends, {ends}") from None
        nodes = ", ".join(node.id for node in chip.application.nodes) or "none"
        raise UnknownPin(f"{unknown}; points beside the pins: {nodes}") from None


def list_spaced_names(chip: Chip) -> tuple[str, ...]:
    """Return the symbols of pins and the names of nodes that have a space in them."""
    symbols = (pin.symbol for pin in chip.pins)
    names = (node.name for node in chip.application.nodes)
    return tuple(dict.fromkeys(name for name in (*symbols, *names) if " " in name))


def name_place(place: Pin) -> str:
    """Return ``pin 13 SYNC IN``, or the name of a node."""
    return f"pin {place.number} {place.symbol}" if place.number else place.function


def find_part(chip: Chip, name: str) -> Part | None:
    """Return the part with this reference, unless a pin is called so."""
    if chip.pin(name) is not None:
        return None
    wanted = name.strip().casefold()
    return next((p for p in chip.application.parts if p.ref.casefold() == wanted), None)


def _find_end(chip: Chip, name: str) -> str | None:
    """Return the pin or node at the end of a part; None where the text names none."""
    for pattern in _ENDS:
        match = pattern.fullmatch(name)
        if match is None:
            continue
        part, end_number = find_part(chip, match["ref"]), int(match["end"])
        if part is not None and end_number <= len(part.joins):
            place = part.joins[end_number - 1]
            # Ground and supply rails are joined as well, but nothing is read there.
            return place if pin_number(place) is not None or _is_node(chip, place) else None
    return None


def _is_node(chip: Chip, name: str) -> bool:
    return any(node.id == name for node in chip.application.nodes)


def _list_ends(chip: Chip, part: Part) -> str:
    """Return ``C406.1 (pin 4 XTAL), C406.2 (ground)``."""
    ends = enumerate(part.joins, 1)
    return ", ".join(f"{part.ref}.{at} ({describe_endpoint(chip, end)})" for at, end in ends)
