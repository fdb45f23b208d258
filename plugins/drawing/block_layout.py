"""Where everything of a block diagram stands: one stage under another, the way the signals run.

Stages stand in one column, so that the drawing fits a phone and no signal line has to cross a
stage. Pins stand on the right, each beside one stage; signals from stage to stage run straight
down to the next one, or along lines on the left; signals from a pin to further stages run along
lines between the column and the pins.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import Final

from ...schema import Block, Chip, Pin
from ...schema.model import pin_number

PIN_HEIGHT: Final = 27.0
"""From one pin beside a stage to the next: room for a finger."""
_SLOT: Final = 10.0  # from one signal line at a stage to the next
_BETWEEN: Final = 20.0
_LEAST: Final = 30.0


@dataclass(frozen=True)
class Stage:
    """One stage of the chip, where it stands, and the pins beside it."""

    block: Block
    pins: tuple[Pin, ...]
    top: float
    height: float

    @property
    def bottom(self) -> float:
        """Where it ends."""
        return self.top + self.height

    def pin_y(self, at: int) -> float:
        """The middle of one of its pins."""
        return self.top + PIN_HEIGHT * (at + 0.5)


@dataclass(frozen=True)
class Trunk:
    """One signal on its way from where it starts to all stages it enters, along one lane."""

    source: str
    """Id of the stage, or ``pin 9``."""
    start_y: float
    ends: tuple[tuple[str, float], ...]
    """The stages that it enters, and where."""
    lane: int = 0
    """Lanes count outwards from the column of stages."""

    @property
    def span(self) -> tuple[float, float]:
        """Top and bottom of it."""
        every = [self.start_y, *(y for _, y in self.ends)]
        return min(every), max(every)


@dataclass(frozen=True)
class Diagram:
    """The stages in order, the lines, and the pins that stand beside no stage."""

    stages: tuple[Stage, ...]
    straight: tuple[tuple[Stage, Stage], ...]
    """Stages whose signal runs straight down to the next."""
    left: tuple[Trunk, ...]
    right: tuple[Trunk, ...]
    shared: tuple[Pin, ...]
    """Supplies, grounds and whatever several stages need."""
    alone: tuple[Pin, ...]
    """Pins that no stage is said to use."""

    @property
    def height(self) -> float:
        """How far down the stages reach."""
        return self.stages[-1].bottom


def order_by_flow(chip: Chip) -> tuple[Block, ...]:
    """The stages so that signals run down: depth first, a loop cut where it closes.

    Stages that nothing feeds come first; else the order is that of the chip file.
    """
    after = _find_followers(chip)
    fed = {name for names in after.values() for name in names}
    ids = [block.id for block in chip.blocks]
    starts = [name for name in ids if name not in fed]
    # Followed as the chip file is written, loops close where their writer would close them.
    at = {name: place for place, name in enumerate(_order_reached([*starts, *ids], after))}
    cut = {name: [o for o in others[::-1] if at[o] > at[name]] for name, others in after.items()}
    by_id = {block.id: block for block in chip.blocks}
    return tuple(by_id[name] for name in _order_reached(ids[::-1], cut))


def _order_reached(starts: Iterable[str], after: dict[str, list[str]]) -> list[str]:
    """Everything reached from the starts, what follows after what it follows."""
    seen: set[str] = set()
    done = [name for start in starts for name in _yield_finished(start, after, seen)]
    return done[::-1]


def _yield_finished(start: str, after: dict[str, list[str]], seen: set[str]) -> Iterator[str]:
    """The stages reached from one and not seen yet, each when all that follow it are through."""
    if start in seen:
        return
    seen.add(start)
    way = [(start, iter(after[start]))]
    while way:
        name, others = way[-1]
        following = next((other for other in others if other not in seen), None)
        if following is None:
            yield name
            way.pop()
        else:
            seen.add(following)
            way.append((following, iter(after[following])))


def find_signals_between(chip: Chip) -> dict[str, list[str]]:
    """For each stage the stages it feeds without a pin between, in the order of the chip file."""
    ids = [block.id for block in chip.blocks]
    pairs = {(end, block.id) for block in chip.blocks for end in (*block.inputs, *block.needs)}
    pairs |= {(block.id, end) for block in chip.blocks for end in block.outputs}
    return {
        name: [other for other in ids if other != name and (name, other) in pairs] for name in ids
    }


def _find_followers(chip: Chip) -> dict[str, list[str]]:
    """Return ``find_signals_between`` plus the signals that pass through a pin."""
    after = find_signals_between(chip)
    takers = defaultdict(list)
    for block in chip.blocks:
        for end in (*block.inputs, *block.needs):
            takers[end].append(block.id)
    for block in chip.blocks:
        for end in block.outputs:
            if pin_number(end) is not None:
                after[block.id] += [o for o in takers[end] if o not in (*after[block.id], block.id)]
    return after


@dataclass
class _Plan:
    """What stands where in which order, before it has a size."""

    chip: Chip
    heights: dict[str, float]
    """The least height of each stage: what its words take."""
    order: tuple[Block, ...] = field(init=False)

    def __post_init__(self) -> None:
        self.order = order_by_flow(self.chip)

    @cached_property
    def homes(self) -> dict[int, str]:
        """The stage each pin stands beside: that which puts it out, takes it in, or needs it."""
        found: dict[int, str] = {}
        put_out = [(block, block.outputs) for block in self.order]
        for block, ends in (*put_out, *((block, block.inputs) for block in self.order)):
            for number in _list_pin_numbers(ends):
                found.setdefault(number, block.id)
        needing: dict[int, list[str]] = defaultdict(list)
        for block in self.order:
            for number in _list_pin_numbers(block.needs):
                needing[number].append(block.id)
        for number, blocks in needing.items():
            if len(blocks) == 1:
                found.setdefault(number, blocks[0])
        return found

    def pins_of(self, block: Block) -> tuple[Pin, ...]:
        """The pins beside a stage: what it takes in first, what it puts out last."""
        out, taken = _list_pin_numbers(block.outputs), _list_pin_numbers(block.inputs)
        here = [pin for pin in self.chip.pins if self.homes.get(pin.number) == block.id]
        return tuple(
            sorted(here, key=lambda pin: (pin.number in out, pin.number not in taken, pin.number))
        )

    @cached_property
    def straight(self) -> set[tuple[str, str]]:
        """Pairs of neighbours of which the upper feeds the lower."""
        feeds = find_signals_between(self.chip)
        return {(a.id, b.id) for a, b in pairwise(self.order) if b.id in feeds[a.id]}

    @cached_property
    def on_the_left(self) -> dict[str, list[str]]:
        """For each stage the stages it feeds by a line."""
        feeds = find_signals_between(self.chip)
        return {
            name: [other for other in others if (name, other) not in self.straight]
            for name, others in feeds.items()
        }

    @cached_property
    def on_the_right(self) -> dict[str, list[str]]:
        """For each pin the stages, other than that it stands beside, that take it in."""
        found: dict[str, list[str]] = defaultdict(list)
        for block in self.order:
            for number in _list_pin_numbers(block.inputs):
                if self.homes[number] != block.id:
                    found[f"pin {number}"].append(block.id)
        return found

    def stages(self) -> tuple[Stage, ...]:
        """Every stage with its place and size."""
        lines_in = _count_entering(self.on_the_left)
        taps = _count_entering(self.on_the_right)
        placed, y = [], 0.0
        for block in self.order:
            pins = self.pins_of(block)
            left = lines_in[block.id] + bool(self.on_the_left[block.id])
            right = PIN_HEIGHT * len(pins) + _SLOT * (taps[block.id] + bool(taps[block.id]))
            height = max(_LEAST, self.heights[block.id], _SLOT * (left + 1), right)
            placed.append(Stage(block, pins, y, height))
            y += height + _BETWEEN
        return tuple(placed)


def lay_out(chip: Chip, heights: dict[str, float]) -> Diagram:
    """The diagram of a chip that has blocks; ``heights`` is what each stage's words take."""
    plan = _Plan(chip, heights)
    stages = plan.stages()
    by_id = {stage.block.id: stage for stage in stages}
    used = {number for block in chip.blocks for number in _list_pin_numbers(_list_ends(block))}
    beside = plan.homes
    return Diagram(
        stages=stages,
        straight=tuple((by_id[a], by_id[b]) for a, b in sorted(plan.straight)),
        left=_assign_lanes(_build_stage_trunks(plan, stages)),
        right=_assign_lanes(_build_pin_trunks(plan, stages)),
        shared=tuple(p for p in chip.pins if p.number in used and p.number not in beside),
        alone=tuple(p for p in chip.pins if p.number not in used),
    )


def _build_stage_trunks(plan: _Plan, stages: tuple[Stage, ...]) -> list[Trunk]:
    """Lines from stage to stage; at each stage those that come in above the one that goes out."""
    coming: dict[str, list[str]] = defaultdict(list)
    for stage in stages:
        for other in plan.on_the_left[stage.block.id]:
            coming[other].append(stage.block.id)
    at: dict[tuple[str, str], float] = {}
    for stage in stages:
        name = stage.block.id
        slots = [*coming[name], name] if plan.on_the_left[name] else coming[name]
        for number, source in enumerate(slots, 1):
            at[source, name] = stage.top + stage.height * number / (len(slots) + 1)
    return [
        Trunk(name, at[name, name], tuple((other, at[name, other]) for other in others))
        for name, others in plan.on_the_left.items()
        if others
    ]


def _build_pin_trunks(plan: _Plan, stages: tuple[Stage, ...]) -> list[Trunk]:
    """Lines from a pin to further stages; at a stage they come in under its own pins."""
    pins = {f"pin {p.number}": s.pin_y(at) for s in stages for at, p in enumerate(s.pins)}
    free = {stage.block.id: stage.top + PIN_HEIGHT * len(stage.pins) for stage in stages}
    found = []
    for source, others in plan.on_the_right.items():
        ends = []
        for other in others:
            free[other] += _SLOT
            ends.append((other, free[other]))
        found.append(Trunk(source, pins[source], tuple(ends)))
    return found


def _assign_lanes(trunks: Iterable[Trunk]) -> tuple[Trunk, ...]:
    """Short lines next to the stages, each in the first lane that is free along its way."""
    taken: list[list[tuple[float, float]]] = []
    placed = []
    for trunk in sorted(trunks, key=lambda t: t.span[1] - t.span[0]):
        low, high = trunk.span
        lane = 0
        while lane < len(taken) and any(a < high + 4 and low - 4 < b for a, b in taken[lane]):
            lane += 1
        if lane == len(taken):
            taken.append([])
        taken[lane].append((low, high))
        placed.append(Trunk(trunk.source, trunk.start_y, trunk.ends, lane))
    return tuple(placed)


def _list_ends(block: Block) -> tuple[str, ...]:
    return (*block.inputs, *block.outputs, *block.needs)


def _list_pin_numbers(ends: Iterable[str]) -> list[int]:
    return [number for end in ends if (number := pin_number(end)) is not None]


def _count_entering(lines: dict[str, list[str]]) -> dict[str, int]:
    """How many lines enter each stage."""
    counts: dict[str, int] = defaultdict(int)
    for others in lines.values():
        for other in others:
            counts[other] += 1
    return counts
