"""The block diagram, followed from stage to stage."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from ...schema import Chip

_STEERING: Final = ("control", "filter", "supply", "reference", "decoupling", "ground")


def pins_behind(chip: Chip, ends: Iterable[str]) -> set[str]:
    """The pins that a signal comes out at, however many stages on."""
    blocks = {block.id: block for block in chip.blocks}
    seen: set[str] = set()
    todo = list(ends)
    while todo:
        end = todo.pop()
        if end not in seen:
            seen.add(end)
            todo += blocks[end].outputs if end in blocks else ()
    return {end for end in seen if end.startswith("pin ")}


def behind_pins(chip: Chip, pins: Iterable[str]) -> set[str]:
    """The pins behind all stages that take one of these in, or need it."""
    wanted = set(pins)
    fed = [b for b in chip.blocks if wanted & {*b.inputs, *b.needs}]
    return pins_behind(chip, (end for block in fed for end in block.outputs)) - wanted


def silenced(chip: Chip, lost: Iterable[str]) -> set[str]:
    """What has no signal left where these points and stages have none.

    A stage is silent that lacks something it needs, or every signal that goes into it; with one of
    several signals gone it still puts out something.
    """
    steering = {f"pin {pin.number}" for pin in chip.pins if pin.role in _STEERING}
    gone = set(lost)
    before = -1
    while len(gone) > before:
        before = len(gone)
        for block in chip.blocks:
            signals = set(block.inputs) - steering
            if gone & set(block.needs) or (signals and signals <= gone) or block.id in gone:
                gone |= {block.id, *block.outputs}
    return gone
