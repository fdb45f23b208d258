"""Suspects and measurements as a technician says them."""

from __future__ import annotations

from typing import Final

from ...schema import Chip
from ...schema.chips.usual_faults import describe_endpoint
from .hypotheses import Hypothesis
from .points import OUT_OF_CIRCUIT, Point

QUANTITY: Final = {
    "dc": "DC voltage",
    "vpp": "signal, peak to peak",
    "frequency": "frequency",
    "ripple": "ripple",
    "resistance": "resistance, set off",
    OUT_OF_CIRCUIT: "out of circuit",
}


def said(chip: Chip, suspect: Hypothesis) -> str:
    """A suspect."""
    if suspect.sort == "stage":
        name = next(block.name for block in chip.blocks if block.id == suspect.what)
        return f"{name}, inside the chip, {suspect.failure}"
    if suspect.sort == "outside":
        return f"no signal from outside at {describe_endpoint(chip, suspect.what)}"
    if suspect.sort == "supply":
        return f"supply {suspect.what} {suspect.failure}"
    if suspect.sort == "joint":
        return f"joint of {describe_endpoint(chip, suspect.what)} open"
    return str(suspect)


def said_shortly(chip: Chip, suspect: Hypothesis) -> str:
    """What a suspect is, without how it failed."""
    if suspect.sort == "stage":
        return next(block.name for block in chip.blocks if block.id == suspect.what)
    if suspect.sort in ("part", "none"):
        return suspect.what
    if suspect.sort == "supply":
        return f"supply {suspect.what}"
    return said(chip, suspect)


def measured(chip: Chip, point: Point) -> str:
    """A measurement: ``DC voltage at pin 9 VCC``, ``R402 out of circuit, one lead lifted``."""
    if point.quantity == OUT_OF_CIRCUIT:
        return f"{point.at} out of circuit, one lead lifted"
    if point.quantity == "resistance":
        part = next((p for p in chip.application.parts if p.ref == point.at), None)
        if part is not None:
            return f"resistance between the leads of {point.at}, set off"
        return f"resistance to ground at {describe_endpoint(chip, point.at)}, set off"
    return f"{QUANTITY[point.quantity]} at {describe_endpoint(chip, point.at)}"
