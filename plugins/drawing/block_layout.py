"""Layout of a block diagram: one stage under another, in the direction of the signals.

Stages are in one column, so that the drawing fits a phone and no signal line crosses a stage. Pins
are on the right, each beside one stage. Signals between stages run straight down to the next, or
along lanes on the left; signals from a pin to further stages run along lanes between the column
and the pins.
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
"""Distance between pins beside a stage, enough for a finger."""
_SLOT: Final = 10.0  # from one signal line at a stage to the next
_BETWEEN: Final = 20.0
_LEAST: Final = 30.0
_LONG_NAME: Final = 45  # letters; a longer name is cut at its first comma


@dataclass(frozen=True)
class Stage:
    """A stage of the chip, its position, and the pins beside it."""

    block: Block
    pins: tuple[Pin, ...]
    top: float
    height: float

    @property
    def bottom(self) -> float:
        """Lower edge of the stage."""
        return self.top + self.height

    def find_pin_y(self, index: int) -> float:
        """Return the y of the middle of one of its pins."""
        return self.top + PIN_HEIGHT * (index + 0.5)


@dataclass(frozen=True)
class Trunk:
    """A signal from its source to all stages it enters, along one lane."""

    source: str
    """Id of the stage, or ``pin 9``."""
    start_y: float
    ends: tuple[tuple[str, float], ...]
    """The stages that it enters, each with its y."""
    lane: int = 0
    """Lanes count outwards from the column of stages."""

    @property
    def span(self) -> tuple[float, float]:
        """Upper and lower end of the lane's line."""
        every = [self.start_y, *(y for _, y in self.ends)]
        return min(every), max(every)


@dataclass(frozen=True)
class Diagram:
    """The stages in order, the lines, and the pins beside no stage."""

    stages: tuple[Stage, ...]
    straight: tuple[tuple[Stage, Stage], ...]
    """Stages whose signal runs straight down to the next."""
    left: tuple[Trunk, ...]
    right: tuple[Trunk, ...]
    shared: tuple[Pin, ...]
    """Supplies, grounds and other pins that several stages need."""
    alone: tuple[Pin, ...]
    """Pins that no stage uses."""

    @property
    def height(self) -> float:
        """Lower edge of the last stage."""
        return self.stages[-1].bottom


def order_by_flow(chip: Chip) -> tuple[Block, ...]:
    """Return the stages in signal order: depth first, loops cut where they close.

    Stages without a source come first; otherwise the order of the chip file holds.
    """
    after = find_followers(chip)
    fed_stages = {name for names in after.values() for name in names}
    ids = [block.id for block in chip.blocks]
    starts = [name for name in ids if name not in fed_stages]
    # Following the order of the chip file, loops close where its author would close them.
    place_of = {name: place for place, name in enumerate(_order_reached([*starts, *ids], after))}
    followers = {
        name: [o for o in others[::-1] if place_of[o] > place_of[name]]
        for name, others in after.items()
    }
    by_id = {block.id: block for block in chip.blocks}
    return tuple(by_id[name] for name in _order_reached(ids[::-1], followers))


def _order_reached(starts: Iterable[str], after: dict[str, list[str]]) -> list[str]:
    """Return all stages reached from the starts, each before those that follow it."""
    seen: set[str] = set()
    finished = [name for start in starts for name in _yield_finished(start, after, seen)]
    return finished[::-1]


def _yield_finished(start: str, after: dict[str, list[str]], seen: set[str]) -> Iterator[str]:
    """Yield the new stages reached from one, each after all that follow it."""
    if start in seen:
        return
    seen.add(start)
    path = [(start, iter(after[start]))]
    while path:
        name, others = path[-1]
        following = next((other for other in others if other not in seen), None)
        if following is None:
            yield name
            path.pop()
        else:
            seen.add(following)
            path.append((following, iter(after[following])))


def shorten_name(block: Block) -> str:
    """Return the stage's name, cut at its first comma where it is long."""
    return block.name if len(block.name) <= _LONG_NAME else block.name.partition(",")[0]


def find_signals_between(chip: Chip) -> dict[str, list[str]]:
    """Return for each stage the stages it feeds without a pin between, in chip-file order."""
    ids = [block.id for block in chip.blocks]
    pairs = {(end, block.id) for block in chip.blocks for end in (*block.inputs, *block.needs)}
    pairs |= {(block.id, end) for block in chip.blocks for end in block.outputs}
    return {
        name: [other for other in ids if other != name and (name, other) in pairs] for name in ids
    }


def find_followers(chip: Chip) -> dict[str, list[str]]:
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


def find_home_stages(chip: Chip) -> dict[int, str]:
    """Return the stage beside which each pin is drawn: it outputs, takes or alone needs it."""
    order = order_by_flow(chip)
    home_of: dict[int, str] = {}
    output_ends = [(block, block.outputs) for block in order]
    for block, ends in (*output_ends, *((block, block.inputs) for block in order)):
        for number in _list_pin_numbers(ends):
            home_of.setdefault(number, block.id)
    needing_stages: dict[int, list[str]] = defaultdict(list)
    for block in order:
        for number in _list_pin_numbers(block.needs):
            needing_stages[number].append(block.id)
    for number, blocks in needing_stages.items():
        if len(blocks) == 1:
            home_of.setdefault(number, blocks[0])
    return home_of


def list_pins_beside(chip: Chip, block: Block, homes: dict[int, str]) -> tuple[Pin, ...]:
    """Return the pins drawn beside a stage, inputs first and outputs last."""
    out, taken = _list_pin_numbers(block.outputs), _list_pin_numbers(block.inputs)
    here = [pin for pin in chip.pins if homes.get(pin.number) == block.id]
    return tuple(
        sorted(here, key=lambda pin: (pin.number in out, pin.number not in taken, pin.number))
    )


@dataclass
class _Plan:
    """The order and the lines of a diagram, before positions are computed."""

    chip: Chip
    heights: dict[str, float]
    """Least height of each stage, that of its text."""
    order: tuple[Block, ...] = field(init=False)

    def __post_init__(self) -> None:
        self.order = order_by_flow(self.chip)

    @cached_property
    def homes(self) -> dict[int, str]:
        """The stage beside which each pin is drawn."""
        return find_home_stages(self.chip)

    def list_pins(self, block: Block) -> tuple[Pin, ...]:
        """Return the pins beside a stage, inputs first and outputs last."""
        return list_pins_beside(self.chip, block, self.homes)

    @cached_property
    def straight(self) -> set[tuple[str, str]]:
        """Pairs of neighbours of which the upper feeds the lower."""
        feeds = find_signals_between(self.chip)
        return {(a.id, b.id) for a, b in pairwise(self.order) if b.id in feeds[a.id]}

    @cached_property
    def on_the_left(self) -> dict[str, list[str]]:
        """For each stage the stages it feeds along a lane."""
        feeds = find_signals_between(self.chip)
        return {
            name: [other for other in others if (name, other) not in self.straight]
            for name, others in feeds.items()
        }

    @cached_property
    def on_the_right(self) -> dict[str, list[str]]:
        """For each pin the stages that take it in, other than its own."""
        right_ends: dict[str, list[str]] = defaultdict(list)
        for block in self.order:
            for number in _list_pin_numbers(block.inputs):
                if self.homes[number] != block.id:
                    right_ends[f"pin {number}"].append(block.id)
        return right_ends

    def place_stages(self) -> tuple[Stage, ...]:
        """Return every stage with its position and height."""
        lines_in = _count_entering(self.on_the_left)
        taps = _count_entering(self.on_the_right)
        placed, y = [], 0.0
        for block in self.order:
            pins = self.list_pins(block)
            left = lines_in[block.id] + bool(self.on_the_left[block.id])
            right = PIN_HEIGHT * len(pins) + _SLOT * (taps[block.id] + bool(taps[block.id]))
            height = max(_LEAST, self.heights[block.id], _SLOT * (left + 1), right)
            placed.append(Stage(block, pins, y, height))
            y += height + _BETWEEN
        return tuple(placed)


def lay_out(chip: Chip, heights: dict[str, float]) -> Diagram:
    """Return the diagram of a chip that has stages; ``heights`` is that of each stage's text."""
    plan = _Plan(chip, heights)
    stages = plan.place_stages()
    by_id = {stage.block.id: stage for stage in stages}
    used_numbers = {
        number for block in chip.blocks for number in _list_pin_numbers(_list_ends(block))
    }
    homes = plan.homes
    return Diagram(
        stages=stages,
        straight=tuple((by_id[a], by_id[b]) for a, b in sorted(plan.straight)),
        left=_assign_lanes(_build_stage_trunks(plan, stages)),
        right=_assign_lanes(_build_pin_trunks(plan, stages)),
        shared=tuple(p for p in chip.pins if p.number in used_numbers and p.number not in homes),
        alone=tuple(p for p in chip.pins if p.number not in used_numbers),
    )


def _build_stage_trunks(plan: _Plan, stages: tuple[Stage, ...]) -> list[Trunk]:
    """Return the lines between stages; at each stage lines in are above the line out."""
    sources_of: dict[str, list[str]] = defaultdict(list)
    for stage in stages:
        for other in plan.on_the_left[stage.block.id]:
            sources_of[other].append(stage.block.id)
    slot_y: dict[tuple[str, str], float] = {}
    for stage in stages:
        name = stage.block.id
        slots = [*sources_of[name], name] if plan.on_the_left[name] else sources_of[name]
        for number, source in enumerate(slots, 1):
            slot_y[source, name] = stage.top + stage.height * number / (len(slots) + 1)
    return [
        Trunk(name, slot_y[name, name], tuple((other, slot_y[name, other]) for other in others))
        for name, others in plan.on_the_left.items()
        if others
    ]


def _build_pin_trunks(plan: _Plan, stages: tuple[Stage, ...]) -> list[Trunk]:
    """Return the lines from a pin to further stages, which they enter below their own pins."""
    pins = {f"pin {p.number}": s.find_pin_y(at) for s in stages for at, p in enumerate(s.pins)}
    next_free_y = {stage.block.id: stage.top + PIN_HEIGHT * len(stage.pins) for stage in stages}
    trunks = []
    for source, others in plan.on_the_right.items():
        ends = []
        for other in others:
            next_free_y[other] += _SLOT
            ends.append((other, next_free_y[other]))
        trunks.append(Trunk(source, pins[source], tuple(ends)))
    return trunks


def _assign_lanes(trunks: Iterable[Trunk]) -> tuple[Trunk, ...]:
    """Return the trunks with lanes, short ones next to the stages, each in the first free lane."""
    spans_of_lane: list[list[tuple[float, float]]] = []
    placed = []
    for trunk in sorted(trunks, key=lambda t: t.span[1] - t.span[0]):
        low, high = trunk.span
        lane = 0
        while lane < len(spans_of_lane) and any(
            a < high + 4 and low - 4 < b for a, b in spans_of_lane[lane]
        ):
            lane += 1
        if lane == len(spans_of_lane):
            spans_of_lane.append([])
        spans_of_lane[lane].append((low, high))
        placed.append(Trunk(trunk.source, trunk.start_y, trunk.ends, lane))
    return tuple(placed)


def _list_ends(block: Block) -> tuple[str, ...]:
    """Return every input, output and need of a stage."""
    return (*block.inputs, *block.outputs, *block.needs)


def _list_pin_numbers(ends: Iterable[str]) -> list[int]:
    """Return the numbers of the ends that are pins."""
    return [number for end in ends if (number := pin_number(end)) is not None]


def _count_entering(lines: dict[str, list[str]]) -> dict[str, int]:
    """Return the number of lines that enter each stage."""
    counts: dict[str, int] = defaultdict(int)
    for others in lines.values():
        for other in others:
            counts[other] += 1
    return counts
