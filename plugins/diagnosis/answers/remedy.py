"""How to prove a suspect, the part to fit, and the points to check afterwards.

Common practice throughout.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ....schema import Chip, Part
from ....schema.model import pin_number
from ..board.cloud import Hypothesis
from .wording import parse_joint_pin

_PROVE: Final = {
    "open": "Set off: measure it out of circuit, or hold a good one across it and look again.",
    "shorted": "Set off: ohmmeter across it; lift one lead, the short must go with it.",
    "leaky": "Lift one lead and look whether the voltage comes right; a leak of this size shows on"
    " an ohmmeter out of circuit.",
    "dried out": "Hold a good one of the same value across it, right way round, and look again;"
    " measure its series resistance.",
    "drifted up": "Set off: measure it out of circuit, one lead lifted.",
    "value high": "Set off: measure it out of circuit, one lead lifted.",
    "value low": "Set off: measure it out of circuit, one lead lifted.",
    "off frequency": "Hold another one in its place, or measure it in a test oscillator.",
    "weak": "Bridge it for a moment with a small capacitor, or exchange it.",
    "slider open": "Turn it and look for a jump; measure from slider to each end.",
    "shorted turns": "Compare with a good coil; ring it, or measure its inductance.",
    "dead": "Exchange it: a meter cannot prove it.",
    "joint open": "Look at the joint under a lens; press on the part with something insulated.",
}
_TIMING: Final = ("oscillator",)
_CAPACITIVE: Final = ("capacitor", "electrolytic capacitor", "trimmer capacitor")


@dataclass(frozen=True)
class Remedy:
    """The proof and the repair of one suspect."""

    prove: str
    fit: str
    check: tuple[str, ...]
    """Points that must read right afterwards."""
    leg_or_track: str = ""
    """Of a joint: how an ohmmeter tells it from the track."""


def choose_remedy(chip: Chip, suspect: Hypothesis) -> Remedy:
    """Return the proof and the repair of a suspect."""
    if suspect.kind == "part":
        part = next(part for part in chip.application.parts if part.ref == suspect.what)
        # The lead of a part may be badly soldered while the part itself is good.
        is_joint = suspect.failure.startswith("joint")
        fit = "Solder the joint again" if is_joint else _fit(chip, part)
        return Remedy(_prove(suspect.failure), fit, _list_points(chip, part.joins))
    if suspect.kind == "joint":
        pin = parse_joint_pin(suspect.what)
        return Remedy(
            "Look at the joint under a lens; press on the leg with something insulated.",
            "Solder the joint again, with new solder.",
            (pin,),
            _tell_leg_from_track(chip, pin),
        )
    if suspect.kind == "stage":
        block = next(block for block in chip.blocks if block.id == suspect.what)
        return Remedy(
            "Only when its supply, its inputs and the parts on its pins have read right: the stage"
            " is inside the chip.",
            f"The chip, {chip.part}, or one that stands in for it.",
            _list_points(chip, block.outputs),
        )
    if suspect.kind == "supply":
        return _choose_supply_remedy(chip, suspect)
    if suspect.kind == "outside":
        parts = [part for part in chip.application.parts if suspect.what in part.joins]
        return Remedy(
            "Look at the signal where it comes from, or feed one in there.",
            "The stage before this one is the place to go on.",
            _list_points(chip, tuple(end for part in parts for end in part.joins)),
        )
    return Remedy("Take another reading, or one again.", "Nothing yet.", ())


def _choose_supply_remedy(chip: Chip, suspect: Hypothesis) -> Remedy:
    """Return the proof and the repair of a supply that is missing, low or noisy."""
    supply = next(supply for supply in chip.supplies if supply.name == suspect.what)
    prove = "Measure before and after the feed resistor; lift the chip's feed and look again."
    if suspect.failure == "noisy":
        prove = "Oscilloscope on the supply, AC coupled; hold a good electrolytic across it."
    return Remedy(
        prove,
        f"Whatever of the feed failed; {supply.voltage} must be there under load.",
        tuple(f"pin {number}" for number in supply.pins),
    )


def _tell_leg_from_track(chip: Chip, pin: str) -> str:
    """Return how an ohmmeter tells the joint of a pin from the track to the first part there."""
    near = next((part for part in chip.application.parts if pin in part.joins), None)
    if near is None:
        return ""
    return (
        f"Set off, from the leg itself to the lead of {near.ref}: below 2 Ω both joint and track"
        " are sound; more, and from the copper beside the leg below 2 Ω, it is the joint, else the"
        " track."
    )


def _prove(failure: str) -> str:
    return _PROVE.get(failure.split(",")[0], "Exchange it.")


def _fit(chip: Chip, part: Part) -> str:
    value = f"{part.value} " if part.value else ""
    words = [f"{value}{part.kind}"]
    words += [f"{part.tolerance} or better"] if part.tolerance else []
    words += [f"{part.rating} or more"] if part.rating else []
    words += [part.dielectric] if part.dielectric else []
    return ", ".join(words) + _list_requirements(chip, part)


def _list_requirements(chip: Chip, part: Part) -> str:
    """Return the properties that a replacement must match here."""
    roles = {pin.role for end in part.joins if (number := pin_number(end)) is not None
             and (pin := chip.pin(number)) is not None}  # fmt: skip
    ends = set(part.joins) - {"ground"}
    beside = {p.kind for p in chip.application.parts if set(p.joins) & ends}
    if part.kind in _CAPACITIVE and ("crystal" in beside or roles & set(_TIMING)):
        return "; it sets a frequency: C0G ceramic or film, nothing that drifts with warmth"
    if part.kind == "electrolytic capacitor":
        return "; 105 °C type, the right way round"
    if part.kind in ("crystal", "ceramic resonator"):
        return "; the same frequency and load capacitance"
    return ""


def _list_points(chip: Chip, ends: tuple[str, ...]) -> tuple[str, ...]:
    """Return the points to read again after the repair of a suspect with these ends.

    They are signal pins, else its supply pins, else its nodes.
    """
    blocks = {block.id: block for block in chip.blocks}
    pins: dict[str, None] = {}  # in order, each once
    for end in ends:
        outputs = blocks[end].outputs if end in blocks else ()
        pins |= dict.fromkeys(name for name in (end, *outputs) if name.startswith("pin "))
    supplies = {f"pin {pin.number}" for pin in chip.pins if pin.role in ("supply", "ground")}
    signal_pins = tuple(name for name in pins if name not in supplies)
    if pins:
        return signal_pins or tuple(pins)
    nodes = {node.id for node in chip.application.nodes}
    return tuple(end for end in dict.fromkeys(ends) if end in nodes)
