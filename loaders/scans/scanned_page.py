"""Words and cells of a scanned page, with their places in points on the straightened page."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Box:
    """A rectangle in points (1/72 inch) from the left and the top of the straightened page."""

    x0: float
    top: float
    x1: float
    bottom: float

    def contains_middle(self, other: Box) -> bool:
        """Return True if the middle of another box is inside."""
        x, y = (other.x0 + other.x1) / 2, (other.top + other.bottom) / 2
        return self.x0 <= x <= self.x1 and self.top <= y <= self.bottom


@dataclass(frozen=True)
class ScannedWord:
    """Words close together on a line, as they were recognised."""

    text: str
    confidence: float
    """From 0 to 1, by the recogniser; it proves nothing by itself."""
    box: Box
    other_reading: str = ""
    """The second reading of the same place; empty if it was not read twice."""
    is_confirmed: bool = False
    """True if a person compared the text with the page."""


@dataclass(frozen=True)
class ScannedCell:
    """A cell of a table on a scanned page."""

    words: tuple[ScannedWord, ...] = ()
    page: int = 0
    doubt: str = ""
    """The reason not to use the text; empty if there is none."""
    proof: str = ""
    """The reason why the text is right although it was recognised otherwise; usually empty."""

    @property
    def text(self) -> str:
        """The recognised text."""
        return " ".join(word.text for word in self.words)

    @property
    def confidence(self) -> float:
        """The least confidence of its words; 1 without any."""
        return min((word.confidence for word in self.words), default=1.0)

    @property
    def is_confirmed(self) -> bool:
        """True if a person compared all its words with the page."""
        return bool(self.words) and all(word.is_confirmed for word in self.words)

    @property
    def box(self) -> Box | None:
        """The smallest box around its words; None without any."""
        return surround([word.box for word in self.words])

    def join(self, other: ScannedCell) -> ScannedCell:
        """Return the cell continued with the words of another."""
        page = self.page or other.page
        return replace(self, words=self.words + other.words, page=page)

    @property
    def place(self) -> str:
        """The place on the page for people: ``page 1 at 72, 340 pt`` from its left and top."""
        box = self.box
        return f"page {self.page}" + (f" at {box.x0:.0f}, {box.top:.0f} pt" if box else "")

    def __str__(self) -> str:
        """Return confidence and place for people: ``98 %, page 1 at 72, 340 pt``."""
        # A percentage rounded up to 100 would look like certainty.
        return f"{min(int(100 * self.confidence), 99)} %, {self.place}"


@dataclass(frozen=True)
class ScannedTable:
    """A table divided by rules: its rows of cells from the top."""

    box: Box
    rows: tuple[tuple[ScannedCell, ...], ...]


@dataclass(frozen=True)
class ScannedPage:
    """A recognised page: the words outside ruled tables, the tables, and its straight picture."""

    number: int
    width: float
    height: float
    skew_deg: float
    """Angle by which the page was turned to straighten it, counter-clockwise."""
    words: tuple[ScannedWord, ...]
    tables: tuple[ScannedTable, ...] = ()
    picture: bytes = b""
    """The straightened page as JPEG."""


def surround(boxes: Iterable[Box]) -> Box | None:
    """Return the smallest box around others; None without any."""
    sides = [(box.x0, box.top, box.x1, box.bottom) for box in boxes]
    if not sides:
        return None
    lefts, tops, rights, bottoms = zip(*sides, strict=True)
    return Box(min(lefts), min(tops), max(rights), max(bottoms))
