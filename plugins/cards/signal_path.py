"""Neighbours of a pin on the signal path, through stages inside the chip and parts outside."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final, NamedTuple

from ...schema.chip import Chip
from ...schema.chips.application import Block, Part
from ...schema.chips.data import Pin
from ...schema.model import pin_number

# Parts that pass a signal in series. A diode or a transistor may pass one too, but its direction
# does not follow from the points it joins.
_SERIES_PARTS: Final = {
    "resistor",
    "capacitor",
    "electrolytic capacitor",
    "coil",
    "ceramic filter",
    "delay line",
    "potentiometer",
    "transformer",
}


class Neighbour(NamedTuple):
    """The next point of the signal path: a stage of the chip, another pin, or a node outside."""

    kind: str
    """``block``, ``pin`` or ``node``."""
    name: str
    """Name of the stage, symbol of the pin, or name of the node."""
    pin: int | None = None
    """Number of the pin, where it is one."""
    through: str | None = None
    """Reference of the part in between, if any."""

    def document(self) -> dict[str, Any]:
        """Return the fields that are not None as plain data."""
        return {name: value for name, value in self._asdict().items() if value is not None}

    def __str__(self) -> str:
        place = f"pin {self.pin} {self.name}" if self.pin is not None else self.name
        return f"{place} through {self.through}" if self.through else place


class SignalPath(NamedTuple):
    """The neighbours of one pin, upstream and downstream."""

    fed_by: tuple[Neighbour, ...]
    feeds: tuple[Neighbour, ...]


def trace_signal_path(chip: Chip, pin: Pin) -> SignalPath:
    """Return the neighbours of a pin.

    Inside the chip the block diagram gives the direction. Outside, parts have none: they are taken
    to lead away from an output, and towards any other pin.
    """
    end = f"pin {pin.number}"
    driving_stages = [
        _build_block_neighbour(block) for block in chip.blocks if end in block.outputs
    ]
    taking_stages = [
        _build_block_neighbour(block)
        for block in chip.blocks
        if end in (*block.inputs, *block.needs)
    ]
    outside = tuple(dict.fromkeys(_yield_outside(chip, end)))
    leads_out = pin.role in ("output", "bus") or (driving_stages and not taking_stages)
    if leads_out:
        return SignalPath(fed_by=tuple(driving_stages), feeds=(*taking_stages, *outside))
    return SignalPath(fed_by=(*driving_stages, *outside), feeds=tuple(taking_stages))


def _build_block_neighbour(block: Block) -> Neighbour:
    """Return a stage as a neighbour."""
    return Neighbour("block", block.name)


def _yield_outside(chip: Chip, end: str) -> Iterator[Neighbour]:
    """Yield the points one part away that are neither ground nor a supply."""
    supplies = {f"pin {pin.number}" for pin in chip.pins if pin.role in ("supply", "ground")}
    for part in chip.application.parts:
        if part.kind in _SERIES_PARTS and end in part.joins:
            for other in part.joins:
                if other not in {end, "ground"} | supplies and not other.startswith("rail"):
                    yield _build_neighbour(chip, part, other)


def _build_neighbour(chip: Chip, part: Part, endpoint: str) -> Neighbour:
    """Return a pin or node at the far end of a part as a neighbour."""
    number = pin_number(endpoint)
    if number is not None:
        pin = chip.pin(number)
        return Neighbour("pin", pin.symbol if pin else endpoint, number, part.ref)
    node = next((node for node in chip.application.nodes if node.id == endpoint), None)
    return Neighbour("node", node.name if node else endpoint, None, part.ref)
