"""Stages of a chip by kind: one small module for each kind or family of kinds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..kinds import find_kind
from . import (
    amplifiers,
    controls,
    deflection,
    detectors,
    loops,
    oscillators,
    outputs,
    pulses,
    references,
)
from .base import Stage, find_stage_class

if TYPE_CHECKING:
    from ..settling import Settled

__all__ = [
    "Stage",
    "amplifiers",
    "controls",
    "deflection",
    "detectors",
    "loops",
    "oscillators",
    "outputs",
    "pulses",
    "references",
    "stages_of",
]


def list_stages(settled: Settled) -> tuple[Stage, ...]:
    """Return the stages of a chip, each after those that feed it.

    Where stages feed each other in a loop, the one that the block diagram lists first begins.
    """
    blocks = {block.id: block for block in settled.topology.chip.blocks}
    order: list[str] = []
    waiting = list(blocks)
    while waiting:
        ready = [
            name
            for name in waiting
            if all(end in order or end not in blocks for end in blocks[name].inputs)
        ]
        next_names = ready or waiting[:1]
        order += next_names
        waiting = [name for name in waiting if name not in next_names]
    ordered_blocks = [blocks[name] for name in order]
    return tuple(find_stage_class(find_kind(block))(block, settled) for block in ordered_blocks)
