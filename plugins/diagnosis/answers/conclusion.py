"""Sum up a job in plain words: the next thing to do, and the precautions before it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from ....schema import Chip
from ..deciding.next_step import Step
from ..weighing.posterior import Thing
from .remedy import choose_remedy
from .suspects import Suspect
from .wording import describe_measurement, describe_thing

_AS_WELL: Final = 0.25  # beside a part that was proved bad: something else is wrong too
# Kinds of suspect that are not replaced on the strength of readings alone, each with the check
# that comes first. Common practice.
_FIRST: Final = {
    "stage": "The chip comes last: exchange it only when its supplies, its inputs and the parts on"
    " its pins have read right.",
    "supply": "Before its feed is suspected: set off, measure from its pins to ground; a short"
    " there is a part on the rail.",
    "outside": "Look for the signal where it comes from; when it is there, what brings it in is at"
    " fault.",
    "joint": "Solder it again, with new solder, and look whether the set works.",
    "none": "Nothing more separates the suspects: the fault lies elsewhere, or there is none.",
}


def conclude(
    chip: Chip,
    suspects: Sequence[Suspect],
    steps: Sequence[Step],
    proved: Sequence[Thing],
    again: Sequence[tuple[str, str]],
    across: Step | None = None,
) -> str:
    """Return the next thing to do, in a sentence or two; ``proved`` things were measured bad."""
    repeats = " and ".join(describe_measurement(chip, *reading) for reading in again)
    first = steps[0] if steps else None
    if proved:
        return _replace(chip, suspects, proved)
    if first is not None and first.kind == "measure":
        measurement = f"Next: {describe_measurement(chip, first.at, first.quantity)}."
        return f"{measurement} Take again {repeats}." if repeats else measurement
    if again:
        # A slip of the probe costs a minute to find, a wrong repair an hour.
        return (
            f"Before anything is replaced take again {repeats}: count the pins from the notch, look"
            f" at the probe's switch. The leading suspect is {suspects[0].said}."
        )
    if across is not None:
        return f"Next: {describe_measurement(chip, across.at, across.quantity)}."
    if first is not None and first.kind == "prove":
        suspect = _find_suspect(suspects, first)
        failure = f": suspected {suspect.hypothesis.failure}" if suspect is not None else ""
        return f"Prove {first.at}{failure}."
    return _conclude_repairs(chip, suspects, steps)


def _find_suspect(suspects: Sequence[Suspect], step: Step) -> Suspect | None:
    return next((s for s in suspects if s.thing == step.thing), None)


def _replace(chip: Chip, suspects: Sequence[Suspect], proved: Sequence[Thing]) -> str:
    """Return the replacement of parts and joints measured bad, and whether that explains all."""
    fits = [
        f"{s.hypothesis.what}: fit {s.remedy.fit}"
        for thing in proved
        for s in suspects
        if s.thing == thing and thing[0] == "part"
    ]
    named = " and ".join(describe_thing(chip, *thing) for thing in proved)
    sentence = f"{'. '.join([f'{named} proved bad', *fits])}."
    others = [s for s in suspects if s.thing not in proved and s.probability > _AS_WELL]
    if others:
        return f"{sentence} That alone does not explain every reading: then {others[0].said}."
    return sentence


def _conclude_repairs(chip: Chip, suspects: Sequence[Suspect], steps: Sequence[Step]) -> str:
    """Return the repairs in their order, for when no measurement is left."""
    first = steps[0] if steps else None
    suspect = _find_suspect(suspects, first) if first is not None else None
    leading = suspect or suspects[0]
    kind = leading.hypothesis.kind
    if kind == "none":
        return _FIRST["none"]
    instruction = _FIRST.get(kind, choose_remedy(chip, leading.hypothesis).prove)
    sentence = f"The leading suspect is {leading.said}. {instruction}"
    order = [describe_thing(chip, *step.thing) for step in steps[1:4] if step.thing is not None]
    return f"{sentence} Then, in this order: {', '.join(order)}." if order else sentence
