"""The block diagram of a chip: stages, signals and pins, drawn from the chip file.

Signals run from the top down. With marks, each stage and pin shows its sign and word, and the frame
of a stage changes with the sign, so that nothing depends on colour.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import ceil
from textwrap import wrap
from typing import Final

from ...schema import Block, Chip, Pin
from ...schema.chips.usual_faults import describe_endpoint
from ...schema.model import pin_number
from .block_layout import (
    PIN_HEIGHT,
    Diagram,
    Stage,
    Trunk,
    find_signals_between,
    lay_out,
    shorten_name,
)
from .svg_frame import escape_svg_text, frame_svg

Link = Callable[[Pin], str]
Mark = tuple[str, str]
"""A sign and its word; the sign may be empty."""
Marks = Mapping[str, Mark]
"""Marks by their place: ``pin 9``, or the id of a stage."""

_LETTERS: Final = 12.0
_LINE: Final = 15.0
_COLUMN: Final = 134.0  # width of a stage
_NAME: Final = 20  # letters in a line of its name
_PIN: Final = 95.0
_SYMBOL: Final = 12  # letters of number and symbol that fit beside a stage
_LANE: Final = 8.0
_MARGIN: Final = 5.0
_PADDING: Final = 12.0
_HEADING_HEIGHT: Final = 22.0  # of a strip
_WIDE: Final = 357.0  # width of the narrowest phone with letters of 11 pixels
_DESCRIPTION: Final = (
    "Signals run from the top down. Lines on the left lead from stage to stage, pins are on the"
    " right. An arrow points the way the signal goes."
)
_FRAMES: Final = {
    "✓": 'stroke-width="2.2"',
    "✗": 'stroke-width="4"',
    "?": 'stroke-width="2.2" stroke-dasharray="7 4"',
}


@dataclass(frozen=True)
class _Subject:
    """The chip to draw, and the positions of its columns."""

    chip: Chip
    marks: Marks
    link: Link | None
    diagram: Diagram

    @property
    def left(self) -> float:
        """Left edge of the column of stages."""
        return _MARGIN + 14 + _LANE * _count_lanes(self.diagram.left)

    @property
    def right(self) -> float:
        """Right edge of the column of stages."""
        return self.left + _COLUMN

    @property
    def pins(self) -> float:
        """Left edge of the pins."""
        return self.right + 18 + _LANE * _count_lanes(self.diagram.right)

    @property
    def width(self) -> float:
        """Width of the drawing."""
        return self.pins + _PIN + _MARGIN

    def get_mark(self, at: str) -> str:
        """Return sign and word at a place, empty without a mark."""
        sign, word = self.marks.get(at, ("", ""))
        return f"{sign} {word}" if sign else ""


def draw_block_diagram(chip: Chip, link: Link | None = None, marks: Marks | None = None) -> str:
    """Return the block diagram of a chip as SVG; empty for a chip without stages.

    ``link`` returns the address of a pin's page. ``marks`` are shown at the places they name.
    """
    if not chip.blocks:
        return ""
    marks = marks or {}
    text_heights = {
        block.id: _LINE * len(_list_lines(chip, block, marks)) + _PADDING for block in chip.blocks
    }
    subject = _Subject(chip, marks, link, lay_out(chip, text_heights))
    diagram = subject.diagram
    shared_strip, stages_top = _draw_strip(subject, "Needed by several stages", diagram.shared, 0)
    # Lines come first, so that the boxes of the stages lie over their ends.
    pieces = [_draw_straight(subject, upper, lower) for upper, lower in diagram.straight]
    pieces += [_draw_left_trunk(subject, trunk) for trunk in diagram.left]
    pieces += [_draw_right_trunk(subject, trunk) for trunk in diagram.right]
    pieces += [_draw_stage(subject, stage) for stage in diagram.stages]
    stages = f'<g transform="translate(0 {stages_top:.1f})">{"".join(pieces)}</g>'
    stages_bottom = stages_top + diagram.height + _PADDING
    unused_strip, bottom_edge = _draw_strip(
        subject, "On none of these stages", diagram.alone, stages_bottom
    )
    return frame_svg(
        f"{shared_strip}{stages}{unused_strip}",
        size=(round(subject.width), round(bottom_edge + _MARGIN)),
        name="block-diagram" + (" block-diagram-wide" if subject.width > _WIDE else ""),
        title=f"{chip.part}, block diagram",
        description=_DESCRIPTION,
        role="img" if link is None else "group",
    )


def _list_lines(chip: Chip, block: Block, marks: Marks) -> list[tuple[str, str]]:
    """Return the lines of text in a stage, each with its class."""
    lines = [(line, "name") for line in wrap(shorten_name(block), _NAME)]
    sign, word = marks.get(block.id, ("", ""))
    if sign:
        lines.append((f"{sign} {word}", "state"))
    shared = [end.removeprefix("pin ") for end in _list_shared_pins(chip, block)]
    if shared:
        needed = f"needs pin{'s' if len(shared) > 1 else ''} {', '.join(shared)}"
        lines += [(line, "needs") for line in wrap(needed, _NAME + 2)]
    return lines


def _list_shared_pins(chip: Chip, block: Block) -> list[str]:
    """Return the pins that a stage and other stages need: named in it, not drawn beside it."""
    others = [other for other in chip.blocks if other is not block]
    used_ends = {end for other in others for end in (*other.inputs, *other.outputs, *other.needs)}
    own_ends = {*block.inputs, *block.outputs}
    return [
        e for e in block.needs if pin_number(e) is not None and e in used_ends and e not in own_ends
    ]


def _draw_stage(subject: _Subject, stage: Stage) -> str:
    """Return the box of a stage with its text, and its pins."""
    sign, _ = subject.marks.get(stage.block.id, ("", ""))
    frame = _FRAMES.get(sign, 'stroke-width="1.2"')
    name = escape_svg_text(_describe_stage(subject, stage.block))
    pins = "".join(_draw_stage_pin(subject, stage, index) for index in range(len(stage.pins)))
    return (
        f'<g class="block" role="img" aria-label="{name}" font-size="{_LETTERS}"'
        f' text-anchor="middle" fill="currentColor"><title>{name}</title>'
        f'<rect x="{subject.left:.1f}" y="{stage.top:.1f}" width="{_COLUMN}"'
        f' height="{stage.height:.1f}" rx="3" fill="none" stroke="currentColor" {frame}/>'
        f"{_draw_stage_text(subject, stage)}</g>{pins}"
    )


def _draw_stage_text(subject: _Subject, stage: Stage) -> str:
    """Return the lines of text in a stage, in the middle of its box."""
    lines = _list_lines(subject.chip, stage.block, subject.marks)
    middle_x = subject.left + _COLUMN / 2
    first_baseline = stage.top + (stage.height - _LINE * len(lines)) / 2 + _LETTERS - 1
    texts = []
    for line_number, (line, kind) in enumerate(lines):
        weight = "bold" if kind == "state" else "normal"
        baseline = first_baseline + _LINE * line_number
        texts.append(
            f'<text class="block-{kind}" x="{middle_x:.1f}" y="{baseline:.1f}"'
            f' font-weight="{weight}">{escape_svg_text(line)}</text>'
        )
    return "".join(texts)


def _describe_stage(subject: _Subject, block: Block) -> str:
    """Return a stage in words, for a screen reader."""
    chip = subject.chip
    name_of = {other.id: shorten_name(other) for other in chip.blocks}

    def list_names(ends: tuple[str, ...]) -> str:
        return ", ".join(name_of.get(end) or describe_endpoint(chip, end) for end in ends)

    # A signal may be written at either of its ends: here as an input, or there as an output.
    feeding_stages = [
        source for source, fed in find_signals_between(chip).items() if block.id in fed
    ]
    signal_sources = [source for source in feeding_stages if source not in block.needs]
    sources = tuple(dict.fromkeys((*block.inputs, *signal_sources)))
    _, mark_word = subject.marks.get(block.id, ("", ""))
    phrases = [f"{block.name}: {mark_word}" if mark_word else block.name]
    if sources:
        phrases.append(f"from {list_names(sources)}")
    if block.outputs:
        phrases.append(f"to {list_names(block.outputs)}")
    if block.needs:
        phrases.append(f"needs {list_names(block.needs)}")
    return "; ".join(phrases)


def _draw_stage_pin(subject: _Subject, stage: Stage, index: int) -> str:
    """Return a pin beside its stage and the line between, with arrows for input and output."""
    pin, y = stage.pins[index], stage.find_pin_y(index)
    end = f"pin {pin.number}"
    arrows = ""
    if end in stage.block.inputs:
        arrows += _draw_arrow(subject.right, y, -1)
    if end in stage.block.outputs:
        arrows += _draw_arrow(subject.pins - 2, y, 1)
    line = f'<path d="M{subject.right:.1f} {y:.1f}H{subject.pins - 2:.1f}" {_STROKE}/>'
    return f"{line}{arrows}{_draw_pin(subject, pin, subject.pins, y)}"


def _draw_pin(subject: _Subject, pin: Pin, x: float, y: float) -> str:
    """Return number, symbol and mark of a pin, as a link where it has an address."""
    end = f"pin {pin.number}"
    _, mark_word = subject.marks.get(end, ("", ""))
    words = f"{end} {pin.symbol}, {pin.role}"
    name = escape_svg_text(f"{words}: {mark_word}" if mark_word else words)
    label = f"{pin.number} {pin.symbol}"
    if len(label) > _SYMBOL:
        label = label[: _SYMBOL - 1] + "…"
    # The mark is a second line, which moves the first one up.
    mark = subject.get_mark(end)
    label_y, mark_text = y + 4, ""
    if mark:
        label_y = y - 2
        mark_text = (
            f'<text class="block-state" x="{x + 2:.1f}" y="{y + 11:.1f}">'
            f"{escape_svg_text(mark)}</text>"
        )
    inside = (
        f'<title>{name}</title><rect x="{x:.1f}" y="{y - PIN_HEIGHT / 2:.1f}" width="{_PIN}"'
        f' height="{PIN_HEIGHT}" fill="none" pointer-events="all"/>'
        f'<text x="{x + 2:.1f}" y="{label_y:.1f}">{escape_svg_text(label)}</text>{mark_text}'
    )
    look = f'font-size="{_LETTERS}" fill="currentColor"'
    if subject.link is None:
        return f'<g class="block-pin" {look}>{inside}</g>'
    address = escape_svg_text(subject.link(pin))
    return f'<a class="block-pin" href="{address}" aria-label="{name}" {look}>{inside}</a>'


def _draw_strip(
    subject: _Subject, heading: str, pins: tuple[Pin, ...], y: float
) -> tuple[str, float]:
    """Return pins that belong to no single stage, in rows under a heading, and their lower edge."""
    if not pins:
        return "", y + _MARGIN
    pieces = [
        f'<text x="{_MARGIN + 2}" y="{y + 15:.1f}" font-size="{_LETTERS}" font-weight="bold"'
        f' fill="currentColor">{escape_svg_text(heading)}</text>'
    ]
    column_count = int((subject.width - 2 * _MARGIN) // _PIN)
    row_count = ceil(len(pins) / column_count)
    first_row_y = y + _HEADING_HEIGHT
    for place, pin in enumerate(pins):
        row, column = divmod(place, column_count)
        pin_y = first_row_y + PIN_HEIGHT * (row + 0.5)
        pieces.append(_draw_pin(subject, pin, _MARGIN + column * _PIN, pin_y))
    return "".join(pieces), first_row_y + PIN_HEIGHT * row_count + _PADDING


_STROKE: Final = 'class="block-signal" fill="none" stroke="currentColor" stroke-width="1.2"'


def _draw_straight(subject: _Subject, upper: Stage, lower: Stage) -> str:
    """Return the arrow from a stage straight down to the next."""
    x = subject.left + _COLUMN / 2
    return (
        f'<path d="M{x:.1f} {upper.bottom:.1f}V{lower.top - 2:.1f}" {_STROKE}/>'
        f'<path class="block-arrow" d="M{x:.1f} {lower.top - 2:.1f}l-4 -8h8Z" fill="currentColor"/>'
    )


def _draw_left_trunk(subject: _Subject, trunk: Trunk) -> str:
    """Return a signal from stage to stage, along a lane on the left."""
    x = subject.left - 14 - _LANE * trunk.lane
    return _draw_trunk(trunk, x, subject.left, subject.left, 1)


def _draw_right_trunk(subject: _Subject, trunk: Trunk) -> str:
    """Return a signal that branches off between a pin and its stage, to further stages."""
    x = subject.right + 14 + _LANE * trunk.lane
    return _draw_trunk(trunk, x, x, subject.right, -1)


def _draw_trunk(trunk: Trunk, x: float, source_x: float, edge: float, way: int) -> str:
    """Return a line along its lane from its source, with an arrow at each stage it enters.

    Branches have a dot, as in circuit diagrams (IEC 60617).
    """
    upper, lower = trunk.span
    end_ys = [y for _, y in trunk.ends]
    path = f"M{source_x:.1f} {trunk.start_y:.1f}H{x:.1f}M{x:.1f} {upper:.1f}V{lower:.1f}"
    path += "".join(f"M{x:.1f} {y:.1f}H{edge - 2 * way:.1f}" for y in end_ys)
    # At its upper and lower end the line turns a corner, without a dot; a line that starts on
    # its lane branches off another one there.
    starts_on_lane = source_x == x
    branch_ys = [
        y
        for y in (*end_ys, trunk.start_y)
        if upper < y < lower or (starts_on_lane and y == trunk.start_y)
    ]
    dots = "".join(
        f'<circle class="block-branch" cx="{x:.1f}" cy="{y:.1f}" r="2.3" fill="currentColor"/>'
        for y in branch_ys
    )
    arrows = "".join(_draw_arrow(edge, y, way) for y in end_ys)
    return f'<path d="{path}" {_STROKE}/>{dots}{arrows}'


def _draw_arrow(x: float, y: float, way: int) -> str:
    """Return an arrow head that touches ``x``, pointing right (1) or left (-1)."""
    return f'<path class="block-arrow" d="M{x:.1f} {y:.1f}l{-8 * way} -4v8Z" fill="currentColor"/>'


def _count_lanes(trunks: tuple[Trunk, ...]) -> int:
    """Return the number of lanes that the trunks use."""
    return 1 + max((trunk.lane for trunk in trunks), default=-1)
