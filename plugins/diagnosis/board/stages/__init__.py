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
    """Return the stages of a chip, in the order that signals take as far as there is one."""
    blocks = {block.id: block for block in settled.topology.chip.blocks}
    order: list[str] = []
    waiting = list(blocks)
    while waiting:
        ready = [
            name
            for name in waiting
            if all(end in order or end not in blocks for end in blocks[name].inputs)
        ]
        # A loop is cut where the diagram begins it.
        taken = ready or waiting[:1]
        order += taken
        waiting = [name for name in waiting if name not in taken]
    return tuple(find_stage_class(find_kind(blocks[n]))(blocks[n], settled) for n in order)
