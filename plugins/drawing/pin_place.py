"""Where a pin is: a small outline with a spot, the pins about it enlarged, and the place in words.

The slip at the bench is to the neighbour, so the neighbours are shown with their symbols.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ...schema.chip import Chip
from ...schema.text import visible
from .package_layout import DOWN, LEFT, RIGHT, UP, Foot, Layout, Side, lay_out
from .svg_frame import escape_svg_text, frame_svg

_WIDTH, _HEIGHT = 250, 150
_OUTLINE_WIDTH, _OUTLINE_HEIGHT = 34, 138
_WIDEST_OUTLINE: Final = 46
_ENLARGED: Final = 5  # pins, the one asked for in the middle where the row has room
_STEP: Final = 28.4  # from an enlarged pin down to the next
_FIRST_ROW_Y: Final = 18.2
_LEADER_LEFT_X, _LEADER_RIGHT_X = 173, 77  # end of the line from the spot to the enlarged pin
# x of pad, symbol and highlight, and the end at which the symbol is held.
_LEFT_ROW: Final = (138, 116, 2, "end")
_RIGHT_ROW: Final = (112, 134, 95, "start")
_LONGEST_SYMBOL: Final = 10
_SEEN: Final[dict[Side, str]] = {"top": "the top", "solder": "the solder side"}
_SIDE_NAMES: Final = {LEFT: "left", RIGHT: "right", UP: "top", DOWN: "bottom"}


def describe_place(chip: Chip, number: int, side: Side = "top") -> str:
    """Return where a pin is: ``left row, 13th from the notch end``."""
    layout = lay_out(chip.package, side)
    row = _order_row(layout, number)
    index = [foot.number for foot in row].index(number)
    # In a single row numbers count along the row, so that the number is the position.
    if layout.shape == "one row":
        marked_end = "left" if layout.start < 0 else "right"
        return f"{_write_ordinal(number)} from the marked end, which is at the {marked_end}"
    direction = row[index].towards
    side_name = _SIDE_NAMES[direction]
    position = _write_ordinal(index + 1)
    if layout.shape == "two rows":
        return f"{side_name} row, {position} from the notch end"
    first_end = "above" if direction in (LEFT, RIGHT) else "left"
    return f"{side_name} side, {position} from {first_end}"


def list_neighbours(chip: Chip, number: int) -> tuple[str, ...]:
    """Return the pins beside a pin in its row: ``12 COINC``, ``14 SLICE``."""
    row = [foot.number for foot in _order_row(lay_out(chip.package, "top"), number)]
    index = row.index(number)
    beside = sorted(row[max(index - 1, 0) : index] + row[index + 1 : index + 2])
    return tuple(f"{n} {_find_symbol(chip, n)}" for n in beside)


def draw_pin_place(chip: Chip, number: int, side: Side = "top") -> str:
    """Return the outline of the package with the pin's spot, and the pins about it, as SVG."""
    place = _Place(chip, number, side, lay_out(chip.package, side))
    pin = chip.pin(number)
    symbol = f" {pin.symbol}" if pin is not None else ""
    words = f"Pin {number}{symbol} on the package, seen from {_SEEN[side]}"
    return frame_svg(
        f"{place.draw_outline()}{place.draw_enlarged()}",
        size=(_WIDTH, _HEIGHT),
        name="where",
        title=f"{words}: {describe_place(chip, number, side)}",
        description=f"Beside {' and '.join(list_neighbours(chip, number))}.",
    )


def _order_row(layout: Layout, number: int) -> list[Foot]:
    """Return the feet in the row of a pin, from the top down, or from left to right."""
    own = next(foot for foot in layout.feet if foot.number == number)
    if layout.shape == "one row":
        return sorted(layout.feet, key=lambda foot: foot.x)
    row = [foot for foot in layout.feet if foot.towards == own.towards]
    is_upright = own.towards in (LEFT, RIGHT)
    return sorted(row, key=lambda foot: foot.y if is_upright else foot.x)


def _find_symbol(chip: Chip, number: int) -> str:
    pin = chip.pin(number)
    symbol = visible(pin.symbol) if pin is not None else "–"
    return symbol if len(symbol) <= _LONGEST_SYMBOL else f"{symbol[: _LONGEST_SYMBOL - 1]}…"


def _write_ordinal(number: int) -> str:
    """Return ``1st``, ``2nd``, ``13th``."""
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{'th' if number // 10 % 10 == 1 else ending}"


@dataclass(frozen=True)
class _Place:
    """The pin to draw, seen from one side."""

    chip: Chip
    number: int
    side: Side
    layout: Layout

    @property
    def _foot(self) -> Foot:
        return next(foot for foot in self.layout.feet if foot.number == self.number)

    @property
    def _is_left(self) -> bool:
        """Whether the pin points to the left, so that the enlarged pins are left of the outline."""
        foot = self._foot
        return foot.towards == LEFT or (foot.towards in (UP, DOWN) and foot.x < 0)

    @property
    def _scale(self) -> tuple[float, float]:
        """Units of the small outline per unit of the layout, across and down."""
        if self.layout.shape == "two rows":
            across = _OUTLINE_WIDTH / 2 / self.layout.half_width
            return across, _OUTLINE_HEIGHT / 2 / self.layout.half_height
        widest = max(self.layout.half_width, self.layout.half_height)
        return (_WIDEST_OUTLINE / 2 / widest,) * 2

    @property
    def _middle_x(self) -> float:
        half = self.layout.half_width * self._scale[0]
        return _WIDTH - half - 14 if self._is_left else half + 14

    def _spot(self, foot: Foot) -> tuple[float, float]:
        """Return where a foot is on the small outline: at the edge of the body."""
        across, down = self._scale
        half_x, half_y = self.layout.half_width * across, self.layout.half_height * down
        x = min(max(foot.x * across, -half_x - 4), half_x + 4)
        y = min(max(foot.y * down, -half_y - 4), half_y + 4)
        return self._middle_x + x, _HEIGHT / 2 + y

    def draw_outline(self) -> str:
        """Return the body with its legs, its mark of pin 1, and the spot."""
        scale_across, scale_down = self._scale
        half_width = self.layout.half_width * scale_across
        half_height = self.layout.half_height * scale_down
        left, top = self._middle_x - half_width, _HEIGHT / 2 - half_height
        # From the solder side the body is behind the board: its outline is dashed.
        body_class, mark_class = ("bb", "nt") if self.side == "top" else ("ob", "no")
        legs = "".join(self._draw_leg(foot) for foot in self.layout.feet)
        spot_x, spot_y = self._spot(self._foot)
        leader_x = _LEADER_LEFT_X if self._is_left else _LEADER_RIGHT_X
        return (
            f'<rect x="{left:.1f}" y="{top:.1f}" width="{2 * half_width:.1f}"'
            f' height="{2 * half_height:.1f}" rx="2" class="{body_class}"/>'
            f'{self._draw_mark(mark_class)}<path d="{legs}" class="lg"/>'
            f'<path d="M{spot_x:.1f} {spot_y:.1f}L{leader_x} {self._middle_row_y:.1f}" class="ld"/>'
            f'<circle cx="{spot_x:.1f}" cy="{spot_y:.1f}" r="6" class="sp"/>'
        )

    def _draw_leg(self, foot: Foot) -> str:
        x, y = self._spot(foot)
        move = {LEFT: "h-6", RIGHT: "h6", UP: "v-6", DOWN: "v6"}[foot.towards]
        return f"M{x:.1f} {y:.1f}{move}"

    def _draw_mark(self, name: str) -> str:
        """Return the notch of two rows; else a dot beside pin 1."""
        x, top = self._middle_x, _HEIGHT / 2 - self.layout.half_height * self._scale[1]
        if self.layout.shape == "two rows":
            return f'<path d="M{x - 7:.1f} {top:.1f}a7 7 0 0 0 14 0" class="{name}"/>'
        first_x, first_y = self._spot(self.layout.feet[0])
        inside_x = first_x + (6 if first_x < x else -6)
        inside_y = first_y + (7 if first_y < _HEIGHT / 2 else -7)
        return f'<circle cx="{inside_x:.1f}" cy="{inside_y:.1f}" r="2.5" class="{name}"/>'

    @property
    def _window(self) -> list[int]:
        """Numbers of the pins to enlarge, from the top down."""
        row = [foot.number for foot in _order_row(self.layout, self.number)]
        index = row.index(self.number)
        first = max(min(index - _ENLARGED // 2, len(row) - _ENLARGED), 0)
        return row[first : first + _ENLARGED]

    @property
    def _middle_row_y(self) -> float:
        return _FIRST_ROW_Y + _STEP * self._window.index(self.number)

    def draw_enlarged(self) -> str:
        """Return the pins about it, large enough to read, beside a strip of the body."""
        x = 156 if self._is_left else 78
        body_class = "bb" if self.side == "top" else "ob"
        rows = "".join(
            self._draw_row(number, _FIRST_ROW_Y + _STEP * row)
            for row, number in enumerate(self._window)
        )
        return f'<rect x="{x}" y="4" width="16" height="142" class="{body_class}"/>{rows}'

    def _draw_row(self, number: int, y: float) -> str:
        """Return the SVG of one pin's pad and name, highlighted if it is the chosen pin."""
        pad_x, symbol_x, highlight_x, anchor = _LEFT_ROW if self._is_left else _RIGHT_ROW
        # A lead from the top, a round solder joint from the other side.
        pad = (
            f'<rect x="{pad_x - 16}" y="{y - 11.2:.1f}" width="32" height="22.4"'
            if self.side == "top"
            else f'<circle cx="{pad_x}" cy="{y:.1f}" r="11.7"'
        )
        highlight, pad_class, number_class, symbol_class = "", "pd", "tn", "tn"
        if number == self.number:
            highlight = (
                f'<rect x="{highlight_x}" y="{y - 13.2:.1f}" width="153" height="26.4" class="hl"/>'
            )
            pad_class, number_class, symbol_class = "pd me", "tm", "th"
        symbol = escape_svg_text(_find_symbol(self.chip, number))
        return (
            f'{highlight}{pad} class="{pad_class}"/>'
            f'<text x="{pad_x}" y="{y + 5:.1f}" text-anchor="middle"'
            f' class="{number_class}">{number}</text>'
            f'<text x="{symbol_x}" y="{y + 5:.1f}" text-anchor="{anchor}"'
            f' class="{symbol_class}">{symbol}</text>'
        )
