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
_LANE_GAP: Final = 4.0  # between the ends of two lines in one lane
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
    followers_of = find_followers(chip)
    fed_stages = {name for names in followers_of.values() for name in names}
    ids = [block.id for block in chip.blocks]
    sources = [name for name in ids if name not in fed_stages]
    # Following the order of the chip file, loops close where its author would close them.
    looped_order = _order_reached([*sources, *ids], followers_of)
    place_of = {name: place for place, name in enumerate(looped_order)}
    # A signal that runs backwards in that order closes a loop, and is cut here.
    forward_followers_of = {
        name: [follower for follower in followers[::-1] if place_of[follower] > place_of[name]]
        for name, followers in followers_of.items()
    }
    block_of = {block.id: block for block in chip.blocks}
    return tuple(block_of[name] for name in _order_reached(ids[::-1], forward_followers_of))


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
    followers_of = find_signals_between(chip)
    takers_of = defaultdict(list)
    for block in chip.blocks:
        for end in (*block.inputs, *block.needs):
            takers_of[end].append(block.id)
    for block in chip.blocks:
        followers = followers_of[block.id]
        for end in block.outputs:
            if pin_number(end) is None:
                continue
            # A pin that one stage drives and another takes in joins the two outside the chip.
            followers += [taker for taker in takers_of[end] if taker not in (*followers, block.id)]
    return followers_of


def find_home_stages(chip: Chip) -> dict[int, str]:
    """Return the stage beside which each pin is drawn: it outputs, takes or alone needs it."""
    blocks = order_by_flow(chip)
    home_of: dict[int, str] = {}
    # A pin that is output here and input there belongs to the stage that drives it.
    for block in blocks:
        for number in _list_pin_numbers(block.outputs):
            home_of.setdefault(number, block.id)
    for block in blocks:
        for number in _list_pin_numbers(block.inputs):
            home_of.setdefault(number, block.id)

    needing_stages: dict[int, list[str]] = defaultdict(list)
    for block in blocks:
        for number in _list_pin_numbers(block.needs):
            needing_stages[number].append(block.id)
    for number, stages in needing_stages.items():
        # A supply of several stages is beside none: it would seem to feed that one alone.
        if len(stages) == 1:
            home_of.setdefault(number, stages[0])
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
        """Return every stage with its position, high enough for its text, lines and pins."""
        stage_line_count = _count_entering(self.on_the_left)
        pin_line_count = _count_entering(self.on_the_right)
        stages, top = [], 0.0
        for block in self.order:
            pins = self.list_pins(block)
            # All lines of a stage to others leave it as one, which branches in its lane.
            left_lines = stage_line_count[block.id] + bool(self.on_the_left[block.id])
            left_height = _SLOT * (left_lines + 1)
            right_lines = pin_line_count[block.id]
            right_height = PIN_HEIGHT * len(pins) + _SLOT * (right_lines + bool(right_lines))
            height = max(_LEAST, self.heights[block.id], left_height, right_height)
            stages.append(Stage(block, pins, top, height))
            top += height + _BETWEEN
        return tuple(stages)


def lay_out(chip: Chip, heights: dict[str, float]) -> Diagram:
    """Return the diagram of a chip that has stages; ``heights`` is that of each stage's text."""
    plan = _Plan(chip, heights)
    stages = plan.place_stages()
    stage_of = {stage.block.id: stage for stage in stages}
    used_numbers = {
        number for block in chip.blocks for number in _list_pin_numbers(_list_ends(block))
    }
    homeless_pins = [pin for pin in chip.pins if pin.number not in plan.homes]
    return Diagram(
        stages=stages,
        straight=tuple(
            (stage_of[upper], stage_of[lower]) for upper, lower in sorted(plan.straight)
        ),
        left=_assign_lanes(_build_stage_trunks(plan, stages)),
        right=_assign_lanes(_build_pin_trunks(plan, stages)),
        shared=tuple(pin for pin in homeless_pins if pin.number in used_numbers),
        alone=tuple(pin for pin in homeless_pins if pin.number not in used_numbers),
    )


def _build_stage_trunks(plan: _Plan, stages: tuple[Stage, ...]) -> list[Trunk]:
    """Return the lines between stages; at each stage lines in are above the line out."""
    sources_of: dict[str, list[str]] = defaultdict(list)
    for stage in stages:
        for fed_stage in plan.on_the_left[stage.block.id]:
            sources_of[fed_stage].append(stage.block.id)

    slot_y: dict[tuple[str, str], float] = {}  # by source and the stage at which the line ends
    for stage in stages:
        name = stage.block.id
        slots = [*sources_of[name], name] if plan.on_the_left[name] else sources_of[name]
        for number, source in enumerate(slots, 1):
            slot_y[source, name] = stage.top + stage.height * number / (len(slots) + 1)

    return [
        Trunk(name, slot_y[name, name], tuple((fed, slot_y[name, fed]) for fed in fed_stages))
        for name, fed_stages in plan.on_the_left.items()
        if fed_stages
    ]


def _build_pin_trunks(plan: _Plan, stages: tuple[Stage, ...]) -> list[Trunk]:
    """Return the lines from a pin to further stages, which they enter below their own pins."""
    pin_y = {
        f"pin {pin.number}": stage.find_pin_y(index)
        for stage in stages
        for index, pin in enumerate(stage.pins)
    }
    last_used_y = {stage.block.id: stage.top + PIN_HEIGHT * len(stage.pins) for stage in stages}
    trunks = []
    for source, fed_stages in plan.on_the_right.items():
        ends = []
        for fed_stage in fed_stages:
            last_used_y[fed_stage] += _SLOT
            ends.append((fed_stage, last_used_y[fed_stage]))
        trunks.append(Trunk(source, pin_y[source], tuple(ends)))
    return trunks


def _assign_lanes(trunks: Iterable[Trunk]) -> tuple[Trunk, ...]:
    """Return the trunks with lanes, short ones next to the stages, each in the first free lane."""
    lane_spans: list[list[tuple[float, float]]] = []
    placed_trunks = []
    for trunk in sorted(trunks, key=lambda trunk: trunk.span[1] - trunk.span[0]):
        upper, lower = trunk.span
        # Two lines of one lane keep apart, or their ends would read as one line.
        free_lanes = (
            lane
            for lane, spans in enumerate(lane_spans)
            if all(
                lower + _LANE_GAP <= other_upper or other_lower <= upper - _LANE_GAP
                for other_upper, other_lower in spans
            )
        )
        lane = next(free_lanes, len(lane_spans))
        if lane == len(lane_spans):
            lane_spans.append([])
        lane_spans[lane].append((upper, lower))
        placed_trunks.append(Trunk(trunk.source, trunk.start_y, trunk.ends, lane))
    return tuple(placed_trunks)


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
