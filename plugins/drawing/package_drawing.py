"""The package as it lies on the bench: true proportions, every pin with number, symbol and role.

Seen from the top, or from the solder side, where left and right change places. Roles are told by
the shape of a mark, and a legend says what each mark means.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from ...schema import Chip, Pin
from ...schema.text import visible
from .package_layout import DOWN, LEFT, RIGHT, UP, Foot, Layout, Side, lay_out
from .pin_marks import MARK_SIZE, draw_legend, draw_mark
from .svg_frame import escape_svg_text, frame_svg

Link = Callable[[Pin], str]
Marks = Mapping[int, tuple[str, str]]
"""By the number of a pin, a sign to stand before its symbol and the word for it."""

_LETTERS: Final = 11.5
_BOLD_LETTERS: Final = 13.5
_LETTER_WIDTH: Final = 0.66  # of capitals, per height: about right for any plain typeface
_LONGEST_SYMBOL: Final = 12
_GAP: Final = 3.0
_POINTER: Final = 14.0
_MARGIN: Final = 5.0
_WORDS_HEIGHT: Final = 46.0
_LEAST_WIDTH: Final = 328.0
_WIDE: Final = 400.0  # too much for a small phone: let it be scrolled sideways
_PLUGGED: Final = ("DIP", "SDIP", "SIP", "ZIP")

_SEEN: Final[dict[Side, str]] = {"top": "seen from the top", "solder": "seen from the solder side"}
_COUNT: Final[dict[tuple[str, Side], str]] = {
    ("two rows", "top"): "Count down the left side, then up the right.",
    ("two rows", "solder"): "Count down the right side, then up the left.",
    ("one row", "top"): "Count from left to right, marked side at the bottom.",
    ("one row", "solder"): "Count from right to left, marked side at the bottom.",
    ("four sides", "top"): "Count down the left side and on round.",
    ("four sides", "solder"): "Count down the right side and on round.",
}


@dataclass(frozen=True)
class _Subject:
    """What is drawn: a chip from a side, with a pin to point out and links to give."""

    chip: Chip
    side: Side
    pin: int | None
    link: Link | None
    layout: Layout
    marks: Marks

    @cached_property
    def pins(self) -> dict[int, Pin]:
        """The pins that the chip file lists, by number."""
        return {pin.number: pin for pin in self.chip.pins}

    @property
    def numbers_inside(self) -> bool:
        """Two rows hold their numbers in the body; else they stand before the symbols."""
        return self.layout.shape == "two rows"

    def symbol(self, foot: Foot) -> str:
        """The symbol beside a pin after its sign, cut when long; a dash where no pin is listed."""
        pin = self.pins.get(foot.number)
        symbol = visible(pin.symbol) if pin is not None else "–"
        cut = symbol if len(symbol) <= _LONGEST_SYMBOL else symbol[: _LONGEST_SYMBOL - 1] + "…"
        sign, _ = self.marks.get(foot.number, ("", ""))
        return f"{sign} {cut}" if sign else cut

    @cached_property
    def rooms(self) -> dict[int, float]:
        """Units that marks and symbols take up beyond the feet, by the side the feet point to."""
        rooms = dict.fromkeys((LEFT, RIGHT, UP, DOWN), 0.0)
        for foot in self.layout.feet:
            rooms[foot.towards] = max(rooms[foot.towards], self._reach(foot))
        return rooms

    def _reach(self, foot: Foot) -> float:
        marked = foot.number == self.pin
        letters = _BOLD_LETTERS * 1.05 if marked else _LETTERS
        pointer = _POINTER if marked else 0.0
        return self.symbol_at + len(self.symbol(foot)) * letters * _LETTER_WIDTH + pointer

    @property
    def mark_at(self) -> float:
        """From a foot out to the middle of its mark."""
        return self.layout.clear + 2 * _GAP + MARK_SIZE / 2

    @property
    def number_room(self) -> float:
        """Units that a number takes."""
        return len(str(self.chip.package.pins)) * _BOLD_LETTERS * _LETTER_WIDTH

    @property
    def number_at(self) -> float:
        """From a foot to its number: out to where it starts, or in (below zero) to its end."""
        if self.numbers_inside:
            return -self.layout.lead - 2 * _GAP
        return self.mark_at + MARK_SIZE / 2 + _GAP

    @property
    def symbol_at(self) -> float:
        """From a foot out to where its symbol starts."""
        outside = 0.0 if self.numbers_inside else self.number_room + 2 * _GAP
        return self.mark_at + MARK_SIZE / 2 + _GAP + outside


def draw_package(
    chip: Chip,
    side: Side = "top",
    pin: int | None = None,
    link: Link | None = None,
    marks: Marks | None = None,
    *,
    standalone: bool = False,
) -> str:
    """The package of a chip as SVG, with the pin numbered ``pin`` pointed out.

    ``link`` gives the address that a pin leads to. ``marks`` are shown at the pins they name, and
    told below. ``standalone`` makes it a whole file.
    """
    subject = _Subject(chip, side, pin, link, lay_out(chip.package, side), marks or {})
    layout = subject.layout
    beside = max(subject.rooms[LEFT], subject.rooms[RIGHT])
    width = max(2 * (beside + layout.reach_x + _MARGIN), _LEAST_WIDTH)
    middle_y = _WORDS_HEIGHT + subject.rooms[UP] + layout.reach_y
    below = middle_y + layout.reach_y + subject.rooms[DOWN] + 4 * _GAP
    roles, roles_height = draw_legend((p.role for p in chip.pins), _LEAST_WIDTH - 2 * _MARGIN)
    told, told_height = _draw_signs(subject, roles_height)
    title = f"{chip.part}, {chip.package.name}, {_SEEN[side]}"
    return frame_svg(
        f"{_draw_heading(subject, width / 2)}"
        f'<g transform="translate({width / 2:.1f} {middle_y:.1f})">'
        f"{_draw_body(subject)}{_draw_pins(subject)}</g>"
        f'<g transform="translate({(width - _LEAST_WIDTH) / 2 + _MARGIN:.1f} {below:.1f})">'
        f"{roles}{told}</g>",
        size=(round(width), round(below + roles_height + told_height + _MARGIN)),
        name="package-drawing package-drawing-wide" if width > _WIDE else "package-drawing",
        title=f"{title}, pin {pin} pointed out" if pin in subject.pins else title,
        description=_COUNT[layout.shape, side],
        role="img" if link is None else "group",
        standalone=standalone,
    )


def _draw_heading(subject: _Subject, x: float) -> str:
    """Above the package: what it is, from where it is seen, which way to count."""
    side, shape = subject.side, subject.layout.shape
    return (
        f'<g class="package-words" fill="currentColor" text-anchor="middle">'
        f'<text x="{x:.1f}" y="15" font-size="14" font-weight="bold">'
        f"{escape_svg_text(subject.chip.package.name)}, {_SEEN[side]}</text>"
        f'<text x="{x:.1f}" y="32" font-size="12.5">{_COUNT[shape, side]}</text></g>'
    )


def _draw_signs(subject: _Subject, y: float) -> tuple[str, float]:
    """What the signs at the pins mean, in one line under the marks of the roles."""
    meanings = dict.fromkeys(f"{sign} {word}" for sign, word in subject.marks.values() if sign)
    if not meanings:
        return "", 0.0
    return (
        f'<text class="package-signs" y="{y + 17:.1f}" font-size="12.5" fill="currentColor">'
        f"{escape_svg_text('   '.join(meanings))}</text>"
    ), 22.0


def _draw_body(subject: _Subject) -> str:
    """The body with the mark of its pin 1, the part number, and an arrow that counts."""
    half_x, half_y = subject.layout.half_width, subject.layout.half_height
    dashes = ' stroke-dasharray="6 3"' if subject.side == "solder" else ""
    inside = (
        ""
        if subject.layout.shape == "one row"
        else _draw_part_number(subject) + _draw_counting_arrow(subject)
    )
    return (
        f'<g class="package-body" fill="none" stroke="currentColor" stroke-width="1.6">'
        f'<rect x="{-half_x:.2f}" y="{-half_y:.2f}" width="{2 * half_x:.2f}"'
        f' height="{2 * half_y:.2f}" rx="2"{dashes}/>{_draw_pin_1_mark(subject.layout)}</g>{inside}'
    )


def _draw_pin_1_mark(layout: Layout) -> str:
    """Two rows: the notch in the end where counting starts. Else a dot beside pin 1."""
    half_x, half_y, start = layout.half_width, layout.half_height, layout.start
    if layout.shape == "two rows":
        return f'<path d="M-8 {-half_y:.2f}a8 8 0 0 0 16 0"/>'
    if layout.shape == "one row":
        return (
            f'<path d="M{start * (half_x - 7):.2f} {half_y:.2f}l{start * 7} -7" stroke-width="3"/>'
        )
    x, y = start * (half_x - 14), 14 - half_y
    return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="4" fill="currentColor"/>'


def _draw_counting_arrow(subject: _Subject) -> str:
    """An arrow from beside pin 1, along the rows, the way the numbers run."""
    layout = subject.layout
    beside, above = (20, 34) if layout.shape == "four sides" else (27, 20)
    x, y = layout.start * (layout.half_width - beside), layout.half_height - beside
    top, turn = above - layout.half_height, min(8.0, layout.half_width - beside)
    inwards, corner = -layout.start * turn, f"a{turn:.1f} {turn:.1f} 0 0 {int(layout.start > 0)}"
    path = (
        f"M{x:.1f} {top:.1f}V{y - turn:.1f}{corner} {inwards:.1f} {turn:.1f}"
        f"H{-x - inwards:.1f}{corner} {inwards:.1f} {-turn:.1f}V{top:.1f}l-4.5 7m4.5 -7l4.5 7"
    )
    return (
        f'<path class="package-count" d="{path}" fill="none" stroke="currentColor"'
        f' stroke-width="1.3"/>'
    )


def _draw_part_number(subject: _Subject) -> str:
    """The part number, along the body."""
    room = 2 * subject.layout.half_height - 84
    part = visible(subject.chip.part)
    size = max(9.0, min(17.0, room / (_LETTER_WIDTH * len(part))))
    return (
        f'<text class="package-part" transform="rotate(-90)" y="{size * 0.35:.1f}"'
        f' font-size="{size:.1f}" font-weight="bold" text-anchor="middle"'
        f' fill="currentColor">{escape_svg_text(part)}</text>'
    )


def _draw_pins(subject: _Subject) -> str:
    """All pins in order, the one in question last, so that it lies on top."""
    feet = sorted(subject.layout.feet, key=lambda foot: foot.number == subject.pin)
    return "".join(_wrap_pin(subject, foot, _draw_pin(subject, foot)) for foot in feet)


def _wrap_pin(subject: _Subject, foot: Foot, drawn: str) -> str:
    """A pin with the name a screen reader gives it, as a link where there is one to follow."""
    pin = subject.pins.get(foot.number)
    told = f" {pin.symbol}, {pin.role}" if pin is not None else ", not listed"
    _, word = subject.marks.get(foot.number, ("", ""))
    name = escape_svg_text(f"pin {foot.number}{told}{f': {word}' if word else ''}")
    marked = foot.number == subject.pin
    kind = "package-pin package-pin-marked" if marked else "package-pin"
    place = f'transform="translate({foot.x:.2f} {foot.y:.2f}) rotate({foot.towards})"'
    inside = f"<title>{name}</title><g {place}>{drawn}</g>"
    if pin is None or subject.link is None:
        return f'<g class="{kind}">{inside}</g>'
    current = ' aria-current="true"' if marked else ""
    address = escape_svg_text(subject.link(pin))
    return f'<a class="{kind}" href="{address}" aria-label="{name}"{current}>{inside}</a>'


def _draw_pin(subject: _Subject, foot: Foot) -> str:
    """One pin about its foot, pointing to the right: lead, mark of its role, number, symbol."""
    pin = subject.pins.get(foot.number)
    marked = foot.number == subject.pin
    size, weight = (_BOLD_LETTERS, "bold") if marked else (_LETTERS, "normal")
    pieces = [_draw_touch_area(subject, foot, marked=marked), _draw_lead(subject)]
    if pin is not None:
        pieces.append(draw_mark(pin.role, subject.mark_at, foot.towards))
    inside = subject.numbers_inside
    pieces += [
        _draw_text(str(foot.number), subject.number_at, foot, size, weight, inwards=inside),
        _draw_text(subject.symbol(foot), subject.symbol_at, foot, size, weight),
    ]
    return "".join(pieces)


def _draw_touch_area(subject: _Subject, foot: Foot, *, marked: bool) -> str:
    """The area that answers to a finger; a frame and a pointer for the pin in question."""
    layout = subject.layout
    inside = layout.lead + (subject.number_room + 3 * _GAP if subject.numbers_inside else _GAP)
    high = min(layout.pitch + 1, 22.0) if marked else layout.pitch
    length = subject.rooms[foot.towards] - (_POINTER if subject.pin is not None else 0.0)
    area = (
        f'x="{-inside:.2f}" y="{-high / 2:.2f}" width="{inside + length:.2f}" height="{high:.2f}"'
    )
    if not marked:
        return f'<rect {area} fill="none" pointer-events="all"/>'
    tip = length + 3
    return (
        f'<rect class="package-frame" {area} rx="3" fill="currentColor" fill-opacity=".1"'
        f' stroke="currentColor" stroke-width="1.7"/>'
        f'<path d="M{tip:.1f} 0l{_POINTER - 4:.1f} -7v14Z" fill="currentColor"/>'
    )


def _draw_lead(subject: _Subject) -> str:
    """The lead from the body out to the foot; from the solder side the round of a plugged pin."""
    layout = subject.layout
    thick = min(layout.pitch * 0.36, 6.0)
    lead = (
        f'<path class="package-lead" d="M{-layout.lead:.2f} 0H{thick / 2:.2f}"'
        f' stroke="currentColor" stroke-width="{thick:.2f}"/>'
    )
    if subject.chip.package.family not in _PLUGGED:
        return lead
    radius = min(layout.pitch * 0.28, 4.4)
    fill = "currentColor" if subject.side == "solder" else "none"
    return (
        f'{lead if layout.lead else ""}<circle class="package-foot" r="{radius:.2f}"'
        f' fill="{fill}" stroke="currentColor"/>'
    )


def _draw_text(
    text: str, at: float, foot: Foot, size: float, weight: str, *, inwards: bool = False
) -> str:
    """Text along the pin, turned so that nothing stands on its head."""
    upside_down = foot.towards in (LEFT, DOWN)
    anchor = "end" if inwards != upside_down else "start"
    turn = " rotate(180)" if upside_down else ""
    return (
        f'<text transform="translate({at:.2f} 0){turn}" y="{size * 0.36:.2f}" font-size="{size}"'
        f' font-weight="{weight}" text-anchor="{anchor}" fill="currentColor">'
        f"{escape_svg_text(text)}</text>"
    )
