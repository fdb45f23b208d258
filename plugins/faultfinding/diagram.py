"""The block diagram, followed from stage to stage."""

from __future__ import annotations

from collections.abc import Iterable

from ...schema import Chip


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
