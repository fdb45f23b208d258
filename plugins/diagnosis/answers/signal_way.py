"""The way of a complaint's signal through the chip: its stages in order, and how each has turned
out so far."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from ....schema import Block, Chip
from ..symptoms.catalogue import Symptom
from ..weighing.known_board import KnownBoard
from .focus import compute_share_of_boards
from .job import Job
from .states import State, judge_states

_SHOWS: Final = 0.25  # of a stage's simulated failures: it can make the set do this


def trace_signal_way(job: Job, measured_next: str = "") -> list[dict[str, Any]]:
    """Return the stages whose failure would show as the complaint, in the order of the signal.

    ``measured_next`` is the place of the next measurement. Each stage: ``id``, ``name``, ``mark``
    (``proved good``, ``bad``, ``suspect``, ``unknown``), its ``sign``, the ``pins`` at which it can
    be measured, and ``is_next``. Empty without a symptom.
    """
    if not job.symptoms:
        return []
    ids = list_complaint_stages(job.board, job.symptoms)
    states = judge_states(job).blocks
    ordered = [block for block in order_stages(job.chip) if block.id in ids]
    return [_describe(block, states, measured_next) for block in ordered]


def list_complaint_stages(board: KnownBoard, symptoms: tuple[Symptom, ...]) -> frozenset[str]:
    """Return the ids of the stages of which some failure shows the symptoms."""
    shown = compute_share_of_boards(board.chip, board.cloud, board.spreads, symptoms) > _SHOWS
    return frozenset(
        hypothesis.what
        for row, hypothesis in enumerate(board.cloud.hypotheses)
        if hypothesis.kind == "stage" and shown[row]
    )


def order_stages(chip: Chip) -> list[Block]:
    """Return the stages in the order of the signal: each after those that feed it.

    Among equals, and where a loop must be cut, they are as the chip file lists them.
    """
    sender_of = {end: block.id for block in chip.blocks for end in (block.id, *block.outputs)}
    feeders: dict[str, set[str]] = {}
    for block in chip.blocks:
        ends = (*block.inputs, *block.needs)
        feeders[block.id] = {sender_of[end] for end in ends if end in sender_of} - {block.id}
    waiting = {block.id: block for block in chip.blocks}
    ordered = []
    while waiting:
        ready = (name for name in waiting if not feeders[name] & waiting.keys())
        # Nothing ready: stages feed each other, and the first in the file begins.
        next_name = next(ready, next(iter(waiting)))
        ordered.append(waiting.pop(next_name))
    return ordered


def _describe(block: Block, states: Mapping[str, State], measured_next: str) -> dict[str, Any]:
    state = states[block.id]
    pins = [end for end in (*block.outputs, *block.inputs, *block.needs) if end.startswith("pin ")]
    return {
        "id": block.id,
        "name": block.name,
        "mark": state.word,
        "sign": state.sign,
        "pins": list(dict.fromkeys(pins)),
        "is_next": measured_next in pins,
    }
