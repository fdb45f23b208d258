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
# From the sides and from the top of the body to the counting arrow, and its corners.
_ARROW_INSETS: Final[dict[str, tuple[int, int]]] = {"two rows": (27, 20), "four sides": (20, 34)}
_ARROW_RADIUS: Final = 8.0
_LEAD_SHARE, _THICKEST_LEAD = 0.36, 6.0  # of the pitch, and at most
_FOOT_SHARE, _LARGEST_FOOT = 0.28, 4.4
_HIGHEST_FRAME: Final = 22.0  # about the pin pointed out
_HIGHLIGHT_ROOM: Final = 1.0  # beyond the pitch

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
    # Both sides get the room of the wider one, so that the package is in the middle.
    side_room = max(subject.rooms[LEFT], subject.rooms[RIGHT])
    width = max(2 * (side_room + layout.reach_x + _MARGIN), _LEAST_WIDTH)
    middle_x = width / 2
    middle_y = _WORDS_HEIGHT + subject.rooms[UP] + layout.reach_y
    legend_x = (width - _LEAST_WIDTH) / 2 + _MARGIN
    legend_y = middle_y + layout.reach_y + subject.rooms[DOWN] + 4 * _GAP
    roles = (listed_pin.role for listed_pin in chip.pins)
    role_legend, role_legend_height = draw_legend(roles, _LEAST_WIDTH - 2 * _MARGIN)
    sign_legend, sign_legend_height = _draw_signs(subject, role_legend_height)
    height = legend_y + role_legend_height + sign_legend_height + _MARGIN
    title = f"{chip.part}, {chip.package.name}, {_SEEN[side]}"
    return frame_svg(
        f"{_draw_heading(subject, middle_x)}"
        f'<g transform="translate({middle_x:.1f} {middle_y:.1f})">'
        f"{_draw_body(subject)}{_draw_pins(subject)}</g>"
        f'<g transform="translate({legend_x:.1f} {legend_y:.1f})">{role_legend}{sign_legend}</g>',
        size=(round(width), round(height)),
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
    half_width, half_height = subject.layout.half_width, subject.layout.half_height
    # Hidden edges are dashed, as in technical drawings (ISO 128): the board is in front.
    dashes = ' stroke-dasharray="6 3"' if subject.side == "solder" else ""
    # The body of a single row is too narrow for words inside.
    inside = ""
    if subject.layout.shape != "one row":
        inside = _draw_part_number(subject) + _draw_counting_arrow(subject)
    return (
        f'<g class="package-body" fill="none" stroke="currentColor" stroke-width="1.6">'
        f'<rect x="{-half_width:.2f}" y="{-half_height:.2f}" width="{2 * half_width:.2f}"'
        f' height="{2 * half_height:.2f}" rx="2"{dashes}/>'
        f"{_draw_pin_1_mark(subject.layout)}</g>{inside}"
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
    from_side, from_top = _ARROW_INSETS[layout.shape]
    start_x = layout.start * (layout.half_width - from_side)
    top_y, bottom_y = from_top - layout.half_height, layout.half_height - from_side
    radius = min(_ARROW_RADIUS, layout.half_width - from_side)
    inwards = -layout.start * radius
    # From the top counting goes down the left side: the corners turn against the clock.
    corner = f"a{radius:.1f} {radius:.1f} 0 0 {int(layout.start > 0)}"
    down = f"M{start_x:.1f} {top_y:.1f}V{bottom_y - radius:.1f}{corner} {inwards:.1f} {radius:.1f}"
    across = f"H{-start_x - inwards:.1f}{corner} {inwards:.1f} {-radius:.1f}"
    path = f"{down}{across}V{top_y:.1f}l-4.5 7m4.5 -7l4.5 7"
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
    _, mark_word = subject.marks.get(foot.number, ("", ""))
    name = escape_svg_text(f"pin {foot.number}{words}{f': {mark_word}' if mark_word else ''}")
    is_pointed_out = foot.number == subject.pin
    css_class = "package-pin package-pin-marked" if is_pointed_out else "package-pin"
    place = f'transform="translate({foot.x:.2f} {foot.y:.2f}) rotate({foot.towards})"'
    inside = f"<title>{name}</title><g {place}>{drawing}</g>"
    # A pin that the chip file does not list has no page.
    if pin is None or subject.link is None:
        return f'<g class="{css_class}">{inside}</g>'
    current = ' aria-current="true"' if is_pointed_out else ""
    address = escape_svg_text(subject.link(pin))
    return f'<a class="{css_class}" href="{address}" aria-label="{name}"{current}>{inside}</a>'


def _draw_pin(subject: _Subject, foot: Foot) -> str:
    """Return a pin about its foot, pointing right: lead, mark of its role, number, symbol."""
    pin = subject.pins.get(foot.number)
    is_pointed_out = foot.number == subject.pin
    size, weight = (_BOLD_LETTERS, "bold") if is_pointed_out else (_LETTERS, "normal")
    pieces = [_draw_touch_area(subject, foot, marked=is_pointed_out), _draw_lead(subject)]
    if pin is not None:
        pieces.append(draw_mark(pin.role, subject.mark_at, foot.towards))
    number, symbol = str(foot.number), subject.get_symbol(foot)
    is_inside = subject.numbers_inside
    pieces.append(_draw_text(number, subject.number_at, foot, size, weight, inwards=is_inside))
    pieces.append(_draw_text(symbol, subject.symbol_at, foot, size, weight))
    return "".join(pieces)


def _draw_touch_area(subject: _Subject, foot: Foot, *, marked: bool) -> str:
    """Return the area that reacts to a finger, with frame and pointer for the pin pointed out."""
    layout = subject.layout
    number_room = subject.number_room + 3 * _GAP if subject.numbers_inside else _GAP
    inwards = layout.lead + number_room
    outwards = subject.rooms[foot.towards] - (_POINTER if subject.pin is not None else 0.0)
    # Of a wide pitch the frame keeps to the text; fingers may still touch all of the pitch.
    height = min(layout.pitch + _HIGHLIGHT_ROOM, _HIGHEST_FRAME) if marked else layout.pitch
    area = (
        f'x="{-inwards:.2f}" y="{-height / 2:.2f}"'
        f' width="{inwards + outwards:.2f}" height="{height:.2f}"'
    )
    if not marked:
        return f'<rect {area} fill="none" pointer-events="all"/>'
    pointer_tip = outwards + 3
    return (
        f'<rect class="package-frame" {area} rx="3" fill="currentColor" fill-opacity=".1"'
        f' stroke="currentColor" stroke-width="1.7"/>'
        f'<path d="M{pointer_tip:.1f} 0l{_POINTER - 4:.1f} -7v14Z" fill="currentColor"/>'
    )


def _draw_lead(subject: _Subject) -> str:
    """Return the lead out to the foot, and the end of a through-hole pin on the solder side."""
    layout = subject.layout
    thickness = min(layout.pitch * _LEAD_SHARE, _THICKEST_LEAD)
    lead = (
        f'<path class="package-lead" d="M{-layout.lead:.2f} 0H{thickness / 2:.2f}"'
        f' stroke="currentColor" stroke-width="{thickness:.2f}"/>'
    )
    if subject.chip.package.family not in _PLUGGED:
        return lead
    radius = min(layout.pitch * _FOOT_SHARE, _LARGEST_FOOT)
    # From the solder side the end of the pin is in sight; from the top it is under the board.
    fill = "currentColor" if subject.side == "solder" else "none"
    visible_lead = lead if layout.lead else ""
    return (
        f'{visible_lead}<circle class="package-foot" r="{radius:.2f}"'
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
