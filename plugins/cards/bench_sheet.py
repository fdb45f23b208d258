"""The bench sheet: the pins of a chip on paper, a row of the package on each page.

Side by side the pages are the chip. Up to 56 pins, two sides of a package share a page's height;
a package with more pins, or with four sides, has a page for each side.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import ceil
from typing import Final, Literal

from ...schema import Chip
from ...schema.note import Note
from ..drawing.package_layout import DOWN, LEFT, RIGHT, UP, Side, lay_out
from .cautions import list_pin_hazards, may_probe
from .chip_sheet import build_chip_sheet
from .pin_table import PinRow, build_pin_table

ROWS_A_PAGE: Final = 28
"""Pins on a page of A4 at 8.3 mm each, below the cautions."""

_FOUR: Final = 4
_SECOND_HEAD: Final = 2  # rows that the head of a second table takes
_NOTCHED: Final = ("Left row", "Right row")

Edge = Literal["left", "right"]
"""The edge of the page at which the body of the package is."""


@dataclass(frozen=True)
class SheetLine:
    """A line of the sheet; ``row`` is None for a position that the chip file does not list."""

    number: int
    row: PinRow | None
    remark: str = ""
    """A warning or a reading of shops in a few words."""


@dataclass(frozen=True)
class SheetSide:
    """A side of the package, or a piece of a long one."""

    title: str
    body: Edge
    """Where the body is drawn: beside the pin numbers."""
    lines: tuple[SheetLine, ...]
    has_notch: bool


SheetPage = tuple[SheetSide, ...]
"""One page: a side of the package, or two short ones."""


@dataclass(frozen=True)
class BenchSheet:
    """The pages of a chip in one condition, seen from one side."""

    chip: Chip
    condition: str
    means: str
    """How to bring the set into the condition."""
    side: Side
    pages: tuple[SheetPage, ...]

    @property
    def cautions(self) -> tuple[str, ...]:
        """Cautions of the set, then those of its points and pins."""
        of_set = build_chip_sheet(self.chip).cautions
        return (*of_set[:-1], *list_pin_hazards(self.chip), of_set[-1])

    @property
    def most_rows(self) -> int:
        """Pins on the fullest page; 0 where two sides share one."""
        if any(len(page) > 1 for page in self.pages):
            return 0
        return max((len(side.lines) for page in self.pages for side in page), default=0)

    @property
    def hint(self) -> str:
        """How to lay the pages together."""
        if len(self.pages) == 1:
            return "All pins on one page."
        seen = "from the top" if self.side == "top" else "from the solder side"
        if len(self.pages) == 2 and len(self.pages[0]) == 1:
            return f"Lay the pages side by side: they are the chip, seen {seen}."
        return f"The sides of the package one after another, seen {seen}."


def build_bench_sheet(
    chip: Chip, condition: str | None = None, side: Side = "top", notes: Iterable[Note] = ()
) -> BenchSheet:
    """Return the sheet for ``condition``, spelt as in the chip file; by default the liveliest."""
    table = build_pin_table(chip, notes)
    name = condition if condition in table.conditions else next(iter(table.conditions), "")
    means = next((stated.means for stated in chip.conditions if stated.name == name), "")
    column = table.conditions.index(name) if name else 0
    line_of = {row.pin.number: _build_line(chip, row, column) for row in table.rows}
    pieces = []
    for title, body, numbers in _list_sides(chip, side):
        # A position that the chip file does not list still has its line, to count by.
        lines = [line_of.get(number, SheetLine(number, None)) for number in numbers]
        pieces += _split_side(title, body, lines)
    return BenchSheet(chip, name, means, side, _paginate(pieces))


def _build_line(chip: Chip, row: PinRow, column: int) -> SheetLine:
    """Return the line of a pin, with the figures of one condition only."""
    place = f"pin {row.pin.number}"
    shown = PinRow(row.pin, row.group, row.cells[column : column + 1], row.may_probe)
    if not may_probe(chip, place):
        return SheetLine(row.pin.number, shown, "⚠ not to be probed")
    hazard = next((hazard for hazard in chip.hazards if hazard.at == place), None)
    if hazard is not None:
        return SheetLine(row.pin.number, shown, f"⚠ {hazard.kind}: see cautions")
    if row.pin.role == "oscillator":
        return SheetLine(row.pin.number, shown, "⚠ x10 probe only")
    return SheetLine(
        row.pin.number, shown, f"! shops read {row.shops_read}" if row.shops_read else ""
    )


def _list_sides(chip: Chip, side: Side) -> list[tuple[str, Edge, list[int]]]:
    """Return title, edge of the body and pin numbers of each side, in the order of the pages.

    A pin at the left of the body has it at its right. Upright sides go from the notch down, the
    others from left to right.
    """
    layout = lay_out(chip.package, side)
    if layout.shape == "one row":
        numbers = sorted(foot.number for foot in layout.feet)
        return [("Pins in one row", "right", numbers)]
    from_left = sorted(layout.feet, key=lambda foot: foot.x)
    from_top = sorted(layout.feet, key=lambda foot: foot.y)
    sides: tuple[tuple[str, Edge, list[int]], ...] = (
        ("Left row", "right", [foot.number for foot in from_top if foot.towards == LEFT]),
        ("Lower side", "left", [foot.number for foot in from_left if foot.towards == DOWN]),
        ("Right row", "left", [foot.number for foot in from_top if foot.towards == RIGHT]),
        ("Upper side", "right", [foot.number for foot in from_left if foot.towards == UP]),
    )
    return [(title, body, numbers) for title, body, numbers in sides if numbers]


def _split_side(title: str, body: Edge, lines: list[SheetLine]) -> list[SheetSide]:
    """Return a side in as few pieces as fit on a page, of nearly equal length."""
    piece_count = ceil(len(lines) / ROWS_A_PAGE)
    piece_length = ceil(len(lines) / piece_count)
    starts = range(0, len(lines), piece_length)
    pieces = [lines[start : start + piece_length] for start in starts]
    return [
        SheetSide(title, body, tuple(piece), has_notch=index == 0 and title in _NOTCHED)
        for index, piece in enumerate(pieces)
    ]


def _paginate(pieces: list[SheetSide]) -> tuple[SheetPage, ...]:
    """Return a page for each piece, or two pieces a page where four sides fit on two pages."""
    pairs = [tuple(pieces[first : first + 2]) for first in range(0, len(pieces), 2)]
    pair_lengths = [sum(len(piece.lines) for piece in pair) for pair in pairs]
    if len(pieces) == _FOUR and max(pair_lengths) <= ROWS_A_PAGE - _SECOND_HEAD:
        return tuple(pairs)
    return tuple((piece,) for piece in pieces)
