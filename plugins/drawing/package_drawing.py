"""The package in true proportions, with number, symbol and role of every pin.

It is seen from the top, or from the solder side, where left and right change places. The shape of
a mark gives the role; a legend explains the marks.
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
"""By the number of a pin, a sign before its symbol and the word for it."""

_LETTERS: Final = 11.5
_BOLD_LETTERS: Final = 13.5
_LETTER_WIDTH: Final = 0.66  # of capitals, per height, in common plain typefaces
_LONGEST_SYMBOL: Final = 12
_GAP: Final = 3.0
_POINTER: Final = 14.0
_MARGIN: Final = 5.0
_WORDS_HEIGHT: Final = 46.0
_LEAST_WIDTH: Final = 328.0
_WIDE: Final = 400.0  # a wider drawing scrolls sideways on a small phone
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
    """The chip to draw from one side, the pin to point out, and the links."""

    chip: Chip
    side: Side
    pin: int | None
    link: Link | None
    layout: Layout
    marks: Marks

    @cached_property
    def pins(self) -> dict[int, Pin]:
        """The listed pins by number."""
        return {pin.number: pin for pin in self.chip.pins}

    @property
    def numbers_inside(self) -> bool:
        """Whether numbers are inside the body, as in two rows, or before the symbols."""
        return self.layout.shape == "two rows"

    def get_symbol(self, foot: Foot) -> str:
        """Return sign and symbol beside a pin, cut when long; a dash for a pin not listed."""
        pin = self.pins.get(foot.number)
        symbol = visible(pin.symbol) if pin is not None else "–"
        cut = symbol if len(symbol) <= _LONGEST_SYMBOL else symbol[: _LONGEST_SYMBOL - 1] + "…"
        sign, _ = self.marks.get(foot.number, ("", ""))
        return f"{sign} {cut}" if sign else cut

    @cached_property
    def rooms(self) -> dict[int, float]:
        """Units beyond the feet that marks and symbols need, by the direction of the feet."""
        rooms = dict.fromkeys((LEFT, RIGHT, UP, DOWN), 0.0)
        for foot in self.layout.feet:
            rooms[foot.towards] = max(rooms[foot.towards], self._compute_reach(foot))
        return rooms

    def _compute_reach(self, foot: Foot) -> float:
        """Return the units that mark, symbol and pointer of a pin need beyond its foot."""
        marked = foot.number == self.pin
        letters = _BOLD_LETTERS * 1.05 if marked else _LETTERS
        pointer = _POINTER if marked else 0.0
        return self.symbol_at + len(self.get_symbol(foot)) * letters * _LETTER_WIDTH + pointer

    @property
    def mark_at(self) -> float:
        """Distance from a foot out to the middle of its mark."""
        return self.layout.clear + 2 * _GAP + MARK_SIZE / 2

    @property
    def number_room(self) -> float:
        """Width of a number."""
        return len(str(self.chip.package.pins)) * _BOLD_LETTERS * _LETTER_WIDTH

    @property
    def number_at(self) -> float:
        """Distance from a foot out to the start of its number, or in (negative) to its end."""
        if self.numbers_inside:
            return -self.layout.lead - 2 * _GAP
        return self.mark_at + MARK_SIZE / 2 + _GAP

    @property
    def symbol_at(self) -> float:
        """Distance from a foot out to the start of its symbol."""
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
    """Return the package of a chip as SVG, with the pin numbered ``pin`` pointed out.

    ``link`` returns the address of a pin's page. ``marks`` are shown at their pins and explained
    below. ``standalone`` makes a complete file.
    """
    subject = _Subject(chip, side, pin, link, lay_out(chip.package, side), marks or {})
    layout = subject.layout
    beside = max(subject.rooms[LEFT], subject.rooms[RIGHT])
    width = max(2 * (beside + layout.reach_x + _MARGIN), _LEAST_WIDTH)
    middle_y = _WORDS_HEIGHT + subject.rooms[UP] + layout.reach_y
    below = middle_y + layout.reach_y + subject.rooms[DOWN] + 4 * _GAP
    role_legend, role_legend_height = draw_legend(
        (p.role for p in chip.pins), _LEAST_WIDTH - 2 * _MARGIN
    )
    sign_legend, sign_legend_height = _draw_signs(subject, role_legend_height)
    title = f"{chip.part}, {chip.package.name}, {_SEEN[side]}"
    return frame_svg(
        f"{_draw_heading(subject, width / 2)}"
        f'<g transform="translate({width / 2:.1f} {middle_y:.1f})">'
        f"{_draw_body(subject)}{_draw_pins(subject)}</g>"
        f'<g transform="translate({(width - _LEAST_WIDTH) / 2 + _MARGIN:.1f} {below:.1f})">'
        f"{role_legend}{sign_legend}</g>",
        size=(round(width), round(below + role_legend_height + sign_legend_height + _MARGIN)),
        name="package-drawing package-drawing-wide" if width > _WIDE else "package-drawing",
        title=f"{title}, pin {pin} pointed out" if pin in subject.pins else title,
        description=_COUNT[layout.shape, side],
        role="img" if link is None else "group",
        standalone=standalone,
    )


def _draw_heading(subject: _Subject, x: float) -> str:
    """Return the heading: package, side, direction of counting."""
    side, shape = subject.side, subject.layout.shape
    return (
        f'<g class="package-words" fill="currentColor" text-anchor="middle">'
        f'<text x="{x:.1f}" y="15" font-size="14" font-weight="bold">'
        f"{escape_svg_text(subject.chip.package.name)}, {_SEEN[side]}</text>"
        f'<text x="{x:.1f}" y="32" font-size="12.5">{_COUNT[shape, side]}</text></g>'
    )


def _draw_signs(subject: _Subject, y: float) -> tuple[str, float]:
    """Return one line that explains the signs, below the legend of roles, and its height."""
    meanings = dict.fromkeys(f"{sign} {word}" for sign, word in subject.marks.values() if sign)
    if not meanings:
        return "", 0.0
    return (
        f'<text class="package-signs" y="{y + 17:.1f}" font-size="12.5" fill="currentColor">'
        f"{escape_svg_text('   '.join(meanings))}</text>"
    ), 22.0


def _draw_body(subject: _Subject) -> str:
    """Return the body with its mark of pin 1, the part number, and a counting arrow."""
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
    """Return the notch at the end where counting starts, in two rows; else a mark beside pin 1."""
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
    """Return an arrow from beside pin 1, along the rows in counting direction."""
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
    """Return the part number along the body."""
    room = 2 * subject.layout.half_height - 84
    part = visible(subject.chip.part)
    size = max(9.0, min(17.0, room / (_LETTER_WIDTH * len(part))))
    return (
        f'<text class="package-part" transform="rotate(-90)" y="{size * 0.35:.1f}"'
        f' font-size="{size:.1f}" font-weight="bold" text-anchor="middle"'
        f' fill="currentColor">{escape_svg_text(part)}</text>'
    )


def _draw_pins(subject: _Subject) -> str:
    """Return all pins; the one pointed out comes last and so lies on top."""
    feet = sorted(subject.layout.feet, key=lambda foot: foot.number == subject.pin)
    return "".join(_wrap_pin(subject, foot, _draw_pin(subject, foot)) for foot in feet)


def _wrap_pin(subject: _Subject, foot: Foot, drawing: str) -> str:
    """Return a pin with its name for a screen reader, as a link where it has an address."""
    pin = subject.pins.get(foot.number)
    words = f" {pin.symbol}, {pin.role}" if pin is not None else ", not listed"
    _, word = subject.marks.get(foot.number, ("", ""))
    name = escape_svg_text(f"pin {foot.number}{words}{f': {word}' if word else ''}")
    marked = foot.number == subject.pin
    kind = "package-pin package-pin-marked" if marked else "package-pin"
    place = f'transform="translate({foot.x:.2f} {foot.y:.2f}) rotate({foot.towards})"'
    inside = f"<title>{name}</title><g {place}>{drawing}</g>"
    if pin is None or subject.link is None:
        return f'<g class="{kind}">{inside}</g>'
    current = ' aria-current="true"' if marked else ""
    address = escape_svg_text(subject.link(pin))
    return f'<a class="{kind}" href="{address}" aria-label="{name}"{current}>{inside}</a>'


def _draw_pin(subject: _Subject, foot: Foot) -> str:
    """Return a pin about its foot, pointing right: lead, mark of its role, number, symbol."""
    pin = subject.pins.get(foot.number)
    is_marked = foot.number == subject.pin
    size, weight = (_BOLD_LETTERS, "bold") if is_marked else (_LETTERS, "normal")
    pieces = [_draw_touch_area(subject, foot, marked=is_marked), _draw_lead(subject)]
    if pin is not None:
        pieces.append(draw_mark(pin.role, subject.mark_at, foot.towards))
    inside = subject.numbers_inside
    pieces += [
        _draw_text(str(foot.number), subject.number_at, foot, size, weight, inwards=inside),
        _draw_text(subject.get_symbol(foot), subject.symbol_at, foot, size, weight),
    ]
    return "".join(pieces)


def _draw_touch_area(subject: _Subject, foot: Foot, *, marked: bool) -> str:
    """Return the area that reacts to a finger, with frame and pointer for the pin pointed out."""
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
    """Return the lead out to the foot, and the end of a through-hole pin on the solder side."""
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
    """Return text along the pin, turned so that it is never upside down."""
    upside_down = foot.towards in (LEFT, DOWN)
    anchor = "end" if inwards != upside_down else "start"
    turn = " rotate(180)" if upside_down else ""
    return (
        f'<text transform="translate({at:.2f} 0){turn}" y="{size * 0.36:.2f}" font-size="{size}"'
        f' font-weight="{weight}" text-anchor="{anchor}" fill="currentColor">'
        f"{escape_svg_text(text)}</text>"
    )
