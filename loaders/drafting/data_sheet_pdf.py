"""PDF data sheets with a text layer: pin descriptions, terminal voltages, maximum ratings.

Ruled tables are cut by their rules, others by the gaps between words; both give the same rows,
which know their page. Needs pdfplumber.
"""

from __future__ import annotations

import io
from collections import Counter, defaultdict
from collections.abc import Iterator
from operator import itemgetter
from typing import Any, Final

import pdfplumber
from pdfminer.pdfdocument import PDFPasswordIncorrect
from pdfplumber.page import Page

from ..system.pdf_limits import (
    MOST_UNPACKED,
    BoundedPage,
    PageLimitError,
    UnpackLimitError,
    limit_unpacking,
)
from .cell_values import plain
from .column_headings import Overrides
from .pin_table import PinTable, TableReader
from .ratings_table import is_ratings, read_ratings
from .text_table import Grid, Place, Unread, refused
from .unruled_table import Layout, Line, Piece, joined_text, lines_of, text_of, unruled_tables

MOST_PAGES: Final = 100
_MOST_SIGNS: Final = 30_000
_MOST_RULES: Final = 8_000
_TOO_MUCH: Final = f"more than {MOST_UNPACKED / 1e6:.0f} MB"
_RAISED: Final = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")
_QUARTER_TURNS: Final = {(0, 1): 90, (-1, 0): 180, (0, -1): 270}


def read_data_sheet(
    data: bytes,
    name: str,
    overrides: Overrides | None = None,
    pages: tuple[int, int] | None = None,
) -> PinTable:
    """The pins of a PDF; ``pages`` are the first and last to look at, else the first hundred.

    Raises DraftError for what is no PDF, encrypted, cut short, without text, or without pins.
    """
    with limit_unpacking(), _opened(data, name) as pdf:
        sheet = _Sheet(overrides)
        chosen = _chosen(len(pdf.pages), pages, name, sheet)
        sheet.look_through(pdf, chosen)
    if not sheet.reader.pins and sheet.beyond:
        expected = "pages with tables of pins; name them: --pages 3-9"
        raise refused(name, f"no table of pins; {sheet.beyond[0]}", expected)
    if sheet.with_text == 0:
        found = f"{_pages(len(chosen))} without text, as of a scan"
        raise refused(name, found, "a PDF with a text layer; run text recognition over it first")
    if not sheet.reader.pins:
        expected = "a table with headings such as Pin, Symbol, Function"
        raise refused(name, f"no table of pins on {_pages(len(chosen))}", expected)
    if b"%%EOF" not in data[-2048:]:
        sheet.reader.unread.append(Unread(None, name, "the file is cut short"))
    return sheet.table()


def _pages(count: int) -> str:
    return f"{count} page{'s' * (count != 1)}"


def _opened(data: bytes, name: str) -> Any:
    """The PDF, open; its pages are known to be there."""
    if not data.strip():
        raise refused(name, "an empty file", "a PDF")
    if b"%PDF" not in data[:1024]:
        raise refused(name, "a file that is no PDF", "a PDF with a text layer")
    try:
        pdf = pdfplumber.open(io.BytesIO(data))
        count = len(pdf.pages)
    except Exception as fault:  # the parser raises what it comes upon
        causes = (fault, *fault.args, fault.__cause__, fault.__context__)
        if any(isinstance(cause, PDFPasswordIncorrect) for cause in causes):
            expected = "one that opens without a password; save a copy without it"
            raise refused(name, "an encrypted PDF", expected) from None
        if any(isinstance(cause, UnpackLimitError) for cause in causes):
            raise refused(name, f"a PDF that unpacks to {_TOO_MUCH}", "a data sheet") from None
        raise _damaged(data, name) from None
    if not count:
        raise _damaged(data, name)
    return pdf


def _damaged(data: bytes, name: str) -> Exception:
    cut = b"%%EOF" not in data[-2048:]
    found = "a PDF that is cut short" if cut else "a damaged PDF"
    return refused(name, found, "a whole PDF; fetch or copy it again")


def _chosen(count: int, pages: tuple[int, int] | None, name: str, sheet: _Sheet) -> range:
    """The pages to look at; those left out are listed."""
    first, last = pages or (1, MOST_PAGES)
    if first > count or last < first:
        raise refused(name, f"pages {first} to {last}", f"pages between 1 and {count}")
    last = min(last, count, first + MOST_PAGES - 1)
    if (pages is None or last < min(pages[1], count)) and last < count:
        why = f"not looked at; give --pages {last + 1}-{min(last + MOST_PAGES, count)}"
        sheet.reader.unread.append(Unread(None, f"pages {last + 1} to {count}", why))
    return range(first, last + 1)


class _Sheet:
    """Goes through the pages and hands their tables to the reader."""

    def __init__(self, overrides: Overrides | None) -> None:
        self.reader = TableReader(overrides, headed=True)
        self.with_text = 0
        self.beyond: list[str] = []
        """Pages that have more on them than is looked at."""
        self._ratings: list[Grid] = []
        self._layout: Layout | None = None
        self._title, self._words = "", ""

    def table(self) -> PinTable:
        """The pins, with the ratings that name them."""
        for grid in self._ratings:
            read_ratings(grid, self.reader)
        return self.reader.table(self._words, self._title)

    def look_through(self, pdf: Any, numbers: range) -> None:
        """Read pages, until one would unpack to too much; what cannot be read is listed."""
        for number in numbers:
            try:
                self._look_at(pdf, number)
            except UnpackLimitError:
                self._beyond(number, f"unpacks to {_TOO_MUCH}")
                if number < numbers[-1]:
                    rest = f"{number + 1}-{numbers[-1]}"
                    self._unread(f"pages {rest}", f"not looked at; give --pages {rest}")
                return
            except PageLimitError:
                self._beyond(number, "too full to look for tables")
            except Exception as fault:  # the parser raises what it comes upon
                self._unread(f"page {number}", f"cannot be read ({type(fault).__name__})")

    def _look_at(self, pdf: Any, number: int) -> None:
        page = upright(pdf, _page(pdf, pdf.pages[number - 1]))
        if self._is_readable(page, number):
            self._read(page, number)
        page.close()

    def _beyond(self, number: int, why: str) -> None:
        self.beyond.append(f"page {number} {why}")
        self._unread(f"page {number}", why)

    def _unread(self, found: str, why: str) -> None:
        self.reader.unread.append(Unread(None, found, why))

    def _is_readable(self, page: Page, number: int) -> bool:
        rules = len(page.lines) + len(page.rects) + len(page.curves)
        why = None
        if not page.chars:
            why = "without text, as of a scan" if page.images else None
        elif len(page.chars) > _MOST_SIGNS or rules > _MOST_RULES:
            why = f"too full to look for tables: {len(page.chars)} signs, {rules} rules"
        self.with_text += bool(page.chars)
        if why:
            self._unread(f"page {number}", why)
        return bool(page.chars) and why is None

    def _read(self, page: Page, number: int) -> None:
        _set_small_signs(page)
        tables = [table for table in page.find_tables() if len(table.rows[0].cells) > 1]
        words = page.extract_words(extra_attrs=["size"], x_tolerance_ratio=0.15)
        boxes = [table.bbox for table in tables]
        free = [word for word in words if not any(_inside(word, box) for box in boxes)]
        if not self._words:
            self._title, self._words = _title(words), text_of_words(words)[:4000]
        for table in tables:
            above = [word for word in free if table.bbox[1] - 60 < word["top"] < table.bbox[1]]
            self._take(_ruled(table, number, text_of_words(above)), number)
        lines = lines_of([_piece(word) for word in free])
        for line in lines:
            self.reader.footnote(text_of(line))
        grids, self._layout = unruled_tables(_without_footnotes(lines), number, self._layout)
        for grid in grids:
            self._take(grid, number)

    def _take(self, grid: Grid, number: int) -> None:
        """Read a grid as pins, or keep it as ratings until all pins are known."""
        if not grid.rows:
            return
        if is_ratings(grid):
            self._ratings.append(grid)
        elif not self.reader.read(grid):
            words = " | ".join(filter(None, grid.rows[0]))
            self.reader.explained.append(f"page {number}: not of pins: {words}")


def upright(pdf: Any, page: Page) -> Page:
    """The page turned so that most of its text reads from left to right."""
    ways = Counter(
        (_sign(char["matrix"][0]), _sign(char["matrix"][1])) for char in page.chars[:2000]
    )
    turn = _QUARTER_TURNS.get(ways.most_common(1)[0][0]) if ways else None
    if turn is None:
        return page
    page.page_obj.rotate = (page.page_obj.rotate + turn) % 360
    return _page(pdf, page)


def _page(pdf: Any, page: Page) -> Page:
    """The same page, looked at anew and within bounds."""
    return BoundedPage(pdf, page.page_obj, page.page_number, page.initial_doctop)


def _sign(value: float) -> int:
    return 0 if abs(value) < 1e-3 else 1 if value > 0 else -1


def _set_small_signs(page: Page) -> None:
    """Put raised and lowered signs on the line; raised digits become superscripts."""
    usual = Counter(round(char["size"], 1) for char in page.chars).most_common(1)[0][0]
    beside: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for char in page.chars:
        if char["size"] > 0.9 * usual:
            beside[int(char["x1"] // usual)].append(char)
    for char in page.chars:
        if char["size"] > 0.8 * usual:
            continue
        place = int(char["x0"] // usual)
        before = [last for at in (place - 2, place - 1, place) for last in beside.get(at, ())]
        last = max((c for c in before if _hangs_on(char, c)), key=itemgetter("x1"), default=None)
        if last is not None:
            if char["bottom"] < last["bottom"] - 0.1 * last["size"]:
                char["text"] = char["text"].translate(_RAISED)
            char |= {key: last[key] for key in ("top", "bottom", "doctop", "size")}


def _hangs_on(char: dict[str, Any], last: dict[str, Any]) -> bool:
    """Whether a small sign stands close behind a larger one, above or below its line."""
    near = -0.5 < char["x0"] - last["x1"] < 2 * last["size"]
    over = char["top"] < last["bottom"] and char["bottom"] > last["top"]
    moved = abs(char["bottom"] - last["bottom"]) > 0.1 * last["size"]
    return bool(near and over and moved and char["size"] < 0.8 * last["size"])


def _inside(word: dict[str, Any], box: tuple[float, float, float, float]) -> bool:
    x, y = (word["x0"] + word["x1"]) / 2, (word["top"] + word["bottom"]) / 2
    return bool(box[0] <= x <= box[2] and box[1] <= y <= box[3])


def _piece(word: dict[str, Any]) -> Piece:
    return Piece(plain(word["text"]), word["x0"], word["x1"], word["top"], word["size"])


def text_of_words(words: list[dict[str, Any]]) -> str:
    """The words in reading order."""
    return " ".join(text_of(line) for line in lines_of([_piece(word) for word in words]))


def _title(words: list[dict[str, Any]]) -> str:
    """The largest words of the page, where they are few and larger than most."""
    sizes = Counter(round(word["size"], 1) for word in words)
    largest = max(sizes, default=0)
    if not sizes or largest < 1.15 * sizes.most_common(1)[0][0]:
        return ""
    title = text_of_words([word for word in words if word["size"] > 0.95 * largest])
    return title if len(title) < 160 else ""


def _without_footnotes(lines: list[Line]) -> list[Line]:
    reader = TableReader()
    return [line for line in lines if not reader.footnote(text_of(line))]


def _ruled(table: Any, page: int, title: str) -> Grid:
    """A ruled table as cells; a cell that spans rows stands in each of them."""
    rows = [[_cell_text(cell) for cell in row] for row in table.extract(x_tolerance_ratio=0.15)]
    for column, above, row in _spanned(table):
        rows[row][column] = rows[above][column]
    places = tuple(Place(number, page) for number in range(1, len(rows) + 1))
    return Grid(tuple(map(tuple, rows)), places, title)


def _cell_text(cell: str | None) -> str:
    text = ""
    for line in (cell or "").splitlines():
        text = joined_text(text, plain(line))
    return text


def _spanned(table: Any) -> Iterator[tuple[int, int, int]]:
    """Column, row of the cell, and row that it reaches down to, of cells that span rows."""
    boxes = [list(row.cells) for row in table.rows]
    for column in range(len(boxes[0])):
        for row in range(1, len(boxes)):
            if boxes[row][column] is not None:
                continue
            bottom = table.rows[row].bbox[3]
            above = next((r for r in range(row - 1, -1, -1) if boxes[r][column]), None)
            if above is not None and boxes[above][column][3] >= bottom - 1:
                yield column, above, row
