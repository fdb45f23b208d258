"""Suspects, measurements and steps as a technician says them."""

from __future__ import annotations

from typing import Final

from ....schema import Chip
from ....schema.chips.usual_faults import describe_endpoint
from ..board.cloud import Hypothesis

QUANTITY: Final = {
    "dc": "DC voltage",
    "vpp": "signal, peak to peak",
    "frequency": "frequency",
    "ripple": "ripple",
    "resistance": "resistance, set off",
    "out of circuit": "out of circuit",
}

_PREPOSITIONS: Final = ("at", "behind", "before", "between", "across", "in", "on")


def parse_joint_pin(what: str) -> str:
    """Return ``pin 9`` for a joint's pin, however it is written."""
    return what if what.startswith("pin ") else f"pin {what}"


def describe_suspect(chip: Chip, suspect: Hypothesis) -> str:
    """Return a suspect and how it failed: ``C418 leaky``, ``joint of pin 9 VCC open``."""
    if suspect.kind == "stage":
        return f"{name_block(chip, suspect.what)}, inside the chip, {suspect.failure}"
    if suspect.kind == "outside":
        return f"from outside, {describe_endpoint(chip, suspect.what)}: {suspect.failure}"
    if suspect.kind == "supply":
        return f"supply {suspect.what} {suspect.failure}"
    if suspect.kind == "joint":
        return f"joint of {describe_endpoint(chip, parse_joint_pin(suspect.what))} open"
    if suspect.kind == "none":
        return "none of these"
    return f"{suspect.what} {suspect.failure}"


def describe_thing(chip: Chip, kind: str, what: str) -> str:
    """Return a suspect's name, without how it failed."""
    if kind in ("chip", "stage"):
        return f"the chip, {chip.part}"
    if kind == "joint":
        return f"the joint of {describe_endpoint(chip, parse_joint_pin(what))}"
    if kind == "supply":
        return f"supply {what}"
    if kind == "outside":
        return f"from outside: {describe_endpoint(chip, what)}"
    return "none of these" if kind == "none" else what


def name_block(chip: Chip, block_id: str) -> str:
    """Return the name of a stage, or its id without one."""
    return next((block.name for block in chip.blocks if block.id == block_id), block_id)


def describe_measurement(chip: Chip, at: str, quantity: str) -> str:
    """Return a measurement in words: ``DC voltage at pin 9 VCC``."""
    if quantity == "out of circuit":
        return f"{at} out of circuit, one lead lifted"
    if quantity == "resistance":
        if any(part.ref == at for part in chip.application.parts):
            return f"resistance across {at} in circuit, set off"
        return f"resistance to ground {describe_place(chip, at)}, set off"
    return f"{QUANTITY[quantity]} {describe_place(chip, at)}"


def describe_place(chip: Chip, at: str) -> str:
    """Return ``at pin 9 VCC``, ``between the crystal and its capacitor``."""
    place = describe_endpoint(chip, at)
    return place if place.split(" ")[0] in _PREPOSITIONS else f"at {place}"
