"""The parts on a pin and the usual faults of each. Common practice throughout."""

from __future__ import annotations

from typing import Any, Final, NamedTuple

from ..model import pin_number
from .application import Part
from .data import ChipData, Pin

# Failures of each kind of part, most frequent first. Common practice.
USUAL_FAULTS: Final[dict[str, str]] = {
    "resistor": "drifts up or goes open, above all high values and hot ones",
    "potentiometer": "dirty or worn track: jumps when touched",
    "capacitor": "leaky or open; ceramics crack near the edge of a board",
    "electrolytic capacitor": "dries out: value falls, series resistance rises; may leak",
    "trimmer capacitor": "dirty or corroded: jumps when touched, drifts with warmth",
    "coil": "dry joint or open; shorted turns are rare",
    "transformer": "dry joints on its pins; shorted turns",
    "crystal": "stops or moves off frequency, often after a knock",
    "ceramic resonator": "moves off frequency with age, or cracks",
    "ceramic filter": "loses level, or leaks between its electrodes and upsets the DC",
    "delay line": "cracks inside: level falls or echoes appear",
    "diode": "shorted or leaky; seldom open",
    "zener diode": "shorted; voltage off or noisy when it fails slowly",
    "transistor": "shorted or leaky between collector and emitter; open after a short",
    "connector": "dry joint or tired contact: comes and goes when moved",
}


class PartOnPin(NamedTuple):
    """One part that joins the pin to something, and its usual faults."""

    part: Part
    to: tuple[str, ...]
    """The other ends, in words."""

    @property
    def usual_faults(self) -> str:
        """The usual faults of this kind of part."""
        return USUAL_FAULTS[self.part.kind]

    def document(self) -> dict[str, Any]:
        """Return the part as plain data, as the pin's document holds it."""
        part = self.part
        return {
            "ref": part.ref,
            "kind": part.kind,
            "value": part.value,
            "rating": str(part.rating) if part.rating else None,
            "dielectric": part.dielectric,
            "to": list(self.to),
            "purpose": part.purpose,
            "usual_faults": self.usual_faults,
        }


def find_parts_on(chip: ChipData, pin: Pin) -> tuple[PartOnPin, ...]:
    """Return the parts with a lead on ``pin``, in the order of the chip file."""
    end = f"pin {pin.number}"
    return tuple(
        PartOnPin(
            part, tuple(describe_endpoint(chip, other) for other in part.joins if other != end)
        )
        for part in chip.application.parts
        if end in part.joins
    )


def describe_endpoint(chip: ChipData, endpoint: str) -> str:
    """Return an endpoint in words: ``pin 9 VCC``, ``ground``, the name of a node."""
    number = pin_number(endpoint)
    if number is not None:
        pin = chip.pin(number)
        return f"{endpoint} {pin.symbol}" if pin else endpoint
    names = {node.id: node.name for node in chip.application.nodes}
    return names.get(endpoint, endpoint)
