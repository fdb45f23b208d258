"""The stages of a chip in lanes across a page, signals from left to right.

A lane holds stages of one group. Its first stages are the longest way of a signal through the
group; a stage that the one before it does not feed names its sources instead of having a line.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

from ...schema import Block, Chip, Pin
from ..drawing.block_layout import (
    find_followers,
    find_home_stages,
    find_signals_between,
    list_pins_beside,
    order_by_flow,
    shorten_name,
)
from .stage_groups import GROUPS, group_stages

WIDEST: Final = 8
"""Stages side by side in the width of a page."""
_MOST_SOURCES: Final = 3


@dataclass(frozen=True)
class LaneStage:
    """One stage in a lane, with the pins above and beneath it."""

    block: Block
    name: str
    fed_by_neighbour: bool
    """Whether its signal comes from the stage before it in the lane."""
    sources: tuple[str, ...]
    """Other stages that its signal comes from, by name."""
    above: tuple[Pin, ...]
    """Pins that the signal enters by."""
    beneath: tuple[Pin, ...]
    """Pins that it leaves by, and those it alone needs."""


@dataclass(frozen=True)
class Lane:
    """Stages side by side; ``heading`` is empty where it continues the lane above."""

    heading: str
    stages: tuple[LaneStage, ...]


def lay_out_lanes(chip: Chip) -> tuple[Lane, ...]:
    """Return the lanes of a chip's stages; none for a chip without stages."""
    groups = group_stages(chip)
    order = [block.id for block in order_by_flow(chip)]
    flow = _Flow(find_home_stages(chip), find_followers(chip), find_signals_between(chip))
    lanes: list[Lane] = []
    for group in GROUPS:
        names = [name for name in order if groups[name] == group]
        rows = _split_into_rows(names, flow.feeds)
        lanes += [
            Lane("" if index else group, _describe_row(chip, row, flow))
            for index, row in enumerate(rows)
        ]
    return tuple(lanes)


class _Flow(NamedTuple):
    """How the stages of a chip are joined; worked out once for all of them."""

    homes: dict[int, str]
    """The stage beside which each pin is drawn."""
    feeds: dict[str, list[str]]
    """The stages that each one feeds, directly or through a pin."""
    direct: dict[str, list[str]]
    """Those it feeds without a pin between."""


def _split_into_rows(names: list[str], feeds: dict[str, list[str]]) -> list[list[str]]:
    """Return the stages of a group in rows: the longest ways of the signal first, then the rest."""
    ways, remaining = [], names
    while remaining:
        way = _find_longest_way(remaining, feeds)
        ways.append(way)
        remaining = [name for name in remaining if name not in way]

    rows: list[list[str]] = []
    for way in ways:
        for start in range(0, len(way), WIDEST):
            piece = way[start : start + WIDEST]
            # A short way shares a row with the one before it, as far as there is room.
            if rows and len(rows[-1]) + len(piece) <= WIDEST:
                rows[-1] += piece
            else:
                rows.append(piece)
    return rows


def _find_longest_way(names: list[str], feeds: dict[str, list[str]]) -> list[str]:
    """Return the longest chain of stages, each feeding the next and later in the order."""
    best: dict[str, list[str]] = {}
    for place in reversed(range(len(names))):
        name = names[place]
        later = (best[other] for other in feeds[name] if other in best)
        best[name] = [name, *max(later, key=len, default=[])]
    return max((best[name] for name in names), key=len)


def _describe_row(chip: Chip, row: list[str], flow: _Flow) -> tuple[LaneStage, ...]:
    blocks = {block.id: block for block in chip.blocks}
    before = [None, *row[:-1]]
    return tuple(
        _describe_stage(chip, blocks[name], blocks.get(previous or ""), flow)
        for name, previous in zip(row, before, strict=True)
    )


def _describe_stage(chip: Chip, block: Block, previous: Block | None, flow: _Flow) -> LaneStage:
    """Return one stage of a lane, with its pins and the other stages that feed it."""
    pins = list_pins_beside(chip, block, flow.homes)
    entering_pins = tuple(pin for pin in pins if f"pin {pin.number}" in block.inputs)
    # The arrow from the neighbour shows that source; a need is no signal.
    sources = tuple(
        shorten_name(other)
        for other in chip.blocks
        if block.id in flow.direct[other.id]
        and other is not previous
        and other.id not in block.needs
    )
    if len(sources) > _MOST_SOURCES:
        sources = (*sources[: _MOST_SOURCES - 1], "others")
    return LaneStage(
        block=block,
        name=shorten_name(block),
        fed_by_neighbour=previous is not None and block.id in flow.feeds[previous.id],
        sources=sources,
        above=entering_pins,
        beneath=tuple(pin for pin in pins if pin not in entering_pins),
    )
