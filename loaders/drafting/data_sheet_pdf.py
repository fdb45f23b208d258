"""Read PDF data sheets with a text layer: pin descriptions, pin voltages, maximum ratings.

Ruled tables are split by their rules, others by the gaps between words. Needs pdfplumber.
"""

from __future__ import annotations

import io
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from operator import itemgetter
from statistics import median
from typing import Any, Final

import pdfplumber
from pdfminer.pdfdocument import PDFPasswordIncorrect
from pdfplumber.page import Page

from ..scans.heading_mending import mend_headings
from ..scans.scanned_page import ScannedPage, ScannedTable, ScannedWord
from ..system.pdf_limits import (
    MOST_UNPACKED,
    BoundedPage,
    PageLimitError,
    UnpackLimitError,
    limit_unpacking,
)
from .cell_values import clean_cell
from .column_headings import Overrides
from .pin_table import PinTable
from .ratings_table import is_ratings_table, read_ratings
from .table_reader import TableReader
from .text_table import DraftError, Grid, Place, Unread, table_error
from .unruled_table import (
    Layout,
    Line,
    Piece,
    find_unruled_tables,
    group_into_lines,
    join_cell_lines,
    join_line,
)

MOST_PAGES: Final = 100
_MOST_CHARACTERS: Final = 30_000
_MOST_RULES: Final = 8_000
_TOO_MUCH: Final = f"more than {MOST_UNPACKED / 1e6:.0f} MB"
_TAIL_BYTES: Final = 2048  # the end mark is near the end (ISO 32000-1, 7.5.5, note)
_HEAD_BYTES: Final = 1024
_LONGEST_WORDS: Final = 4000
_SCANNED_SIZE: Final = 1.4  # type size to the height of capitals (common practice)
_TITLE_SHARE: Final = 0.25  # of the height of a page, from the top
_SCANNED_TITLE: Final = 1.15  # of the usual height of words
_LONGEST_TITLE: Final = 160
_TITLE_HEIGHT: Final = 60  # points above a ruled table in which its title is looked for
_TITLE_SIZE: Final = 1.15  # of the usual type size
_RAISED: Final = 0.1  # of the size of the character before, from which on one is raised
_SMALL: Final = 0.8  # of the usual type size: raised and lowered characters
_FULL_SIZE: Final = 0.9
_CHARACTERS_LOOKED_AT: Final = 2000
_SUPERSCRIPTS: Final = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")
_QUARTER_TURNS: Final = {(0, 1): 90, (-1, 0): 180, (0, -1): 270}


class ScanError(DraftError):
    """A PDF in which no page has text."""


def read_data_sheet(
    data: bytes,
    name: str,
    overrides: Overrides | None = None,
    pages: tuple[int, int] | None = None,
    scanned: Mapping[int, ScannedPage] | None = None,
) -> PinTable:
    """Return the pins of a PDF; ``pages`` are the first and last to read, else the first hundred.

    ``scanned`` has the pages without text, by number, as they were recognised. Raises DraftError
    if the file is no PDF, encrypted, damaged, or without pins, and ScanError if all is scanned.
    """
    with limit_unpacking(), _open_pdf(data, name) as pdf:
        sheet = _SheetReader(overrides, scanned)
        chosen = _choose_pages(len(pdf.pages), pages, name, sheet)
        sheet.read_pages(pdf, chosen)
    table = _finish_table(sheet, name, len(chosen))
    # A file that lacks its end marker was cut short: pages, and pins, may be missing.
    if b"%%EOF" in data[-_TAIL_BYTES:]:
        return table
    return replace(table, unread=(*table.unread, Unread(None, name, "the file is cut short")))


def read_scanned_pages(
    scanned: Mapping[int, ScannedPage], name: str, overrides: Overrides | None = None
) -> PinTable:
    """Return the pins of pages that were recognised; raises DraftError without any."""
    sheet = _SheetReader(overrides, scanned)
    for page in scanned.values():
        sheet.read_scan(page)
    return _finish_table(sheet, name, len(scanned))


def _finish_table(sheet: _SheetReader, name: str, count: int) -> PinTable:
    """Return everything read from so many pages; raises DraftError if it is nothing."""
    if sheet.reader.questions and not sheet.reader.pins:
        raise sheet.reader.ask(name)
    found_any = bool(sheet.reader.pins or sheet.reader.parameters)
    if not found_any and sheet.beyond:
        expected = "pages with tables of pins; name them: --pages 3-9"
        raise table_error(name, f"no table of pins; {sheet.beyond[0]}", expected)
    if sheet.with_text == 0:
        found_text = f"{_count_pages(count)} without text, as of a scan"
        expected = "a PDF with a text layer, or text recognition: pip install 'pinfolio[ocr]'"
        raise ScanError(table_error(name, found_text, expected).faults)
    if not found_any:
        expected = "a table with headings such as Pin, Symbol, Function"
        raise table_error(name, f"no table of pins on {_count_pages(count)}", expected)
    return sheet.table()


def _count_pages(count: int) -> str:
    return f"{count} page{'s' * (count != 1)}"


def _open_pdf(data: bytes, name: str) -> Any:
    """Return the open PDF, whose list of pages is readable."""
    if not data.strip():
        raise table_error(name, "an empty file", "a PDF")
    if b"%PDF" not in data[:_HEAD_BYTES]:
        raise table_error(name, "a file that is no PDF", "a PDF with a text layer")
    try:
        pdf = pdfplumber.open(io.BytesIO(data))
        count = len(pdf.pages)
    except (MemoryError, RecursionError):
        raise
    except Exception as fault:  # the parser raises errors of any class
        causes = (fault, *fault.args, fault.__cause__, fault.__context__)
        if any(isinstance(cause, PDFPasswordIncorrect) for cause in causes):
            expected = "one that opens without a password; save a copy without it"
            raise table_error(name, "an encrypted PDF", expected) from None
        if any(isinstance(cause, UnpackLimitError) for cause in causes):
            raise table_error(name, f"a PDF that unpacks to {_TOO_MUCH}", "a data sheet") from None
        raise _make_damage_error(data, name) from None
    if not count:
        raise _make_damage_error(data, name)
    return pdf


def _make_damage_error(data: bytes, name: str) -> Exception:
    cut = b"%%EOF" not in data[-_TAIL_BYTES:]
    found_text = "a PDF that is cut short" if cut else "a damaged PDF"
    return table_error(name, found_text, "a whole PDF; fetch or copy it again")


def _choose_pages(
    count: int, pages: tuple[int, int] | None, name: str, sheet: _SheetReader
) -> range:
    """Return the pages to read, and list those left out."""
    first, last = pages or (1, MOST_PAGES)
    if first > count or last < first:
        raise table_error(name, f"pages {first} to {last}", f"pages between 1 and {count}")
    last = min(last, count, first + MOST_PAGES - 1)
    if (pages is None or last < min(pages[1], count)) and last < count:
        reason = f"not looked at; give --pages {last + 1}-{min(last + MOST_PAGES, count)}"
        sheet.reader.unread.append(Unread(None, f"pages {last + 1} to {count}", reason))
    return range(first, last + 1)


class _SheetReader:
    """Reads page after page and passes their tables to the table reader."""

    def __init__(
        self, overrides: Overrides | None, scanned: Mapping[int, ScannedPage] | None = None
    ) -> None:
        self.reader = TableReader(overrides, headed=True)
        self.with_text = 0
        self.has_scans = False
        self._scanned = scanned or {}
        self.beyond: list[str] = []
        """Pages beyond the limits on unpacking and drawing."""
        self._ratings: list[Grid] = []
        self._layout: Layout | None = None
        self._title, self._words = "", ""

    def table(self) -> PinTable:
        """Return the pins with their ratings; list tables with a question as not used."""
        for columns, place in self.reader.questions:
            words = " | ".join(column.heading for column in columns)
            reason = f"not used: {columns[0].key} twice; choose with --column"
            self.reader.unread.append(Unread(place, words, reason))
        for grid in self._ratings:
            read_ratings(grid, self.reader)
        return replace(self.reader.table(self._words, self._title), has_scans=self.has_scans)

    def read_pages(self, pdf: Any, numbers: range) -> None:
        """Read pages until one unpacks to too much, and list those that cannot be read."""
        for number in numbers:
            if number in self._scanned:
                self.read_scan(self._scanned[number])
                continue
            try:
                self._read_page(pdf, number)
            except UnpackLimitError:
                self._list_beyond(number, f"unpacks to {_TOO_MUCH}")
                if number < numbers[-1]:
                    rest = f"{number + 1}-{numbers[-1]}"
                    self._list_unread(f"pages {rest}", f"not looked at; give --pages {rest}")
                return
            except PageLimitError:
                self._list_beyond(number, "too full to look for tables")
            except MemoryError:
                raise
            except Exception as fault:  # the parser raises errors of any class
                self._list_unread(f"page {number}", f"cannot be read ({type(fault).__name__})")

    def _read_page(self, pdf: Any, number: int) -> None:
        page = turn_upright(pdf, _reload_page(pdf, pdf.pages[number - 1]))
        if self._is_readable(page, number):
            self._read_tables(page, number)
        page.close()

    def _list_beyond(self, number: int, reason: str) -> None:
        self.beyond.append(f"page {number} {reason}")
        self._list_unread(f"page {number}", reason)

    def _list_unread(self, text: str, reason: str) -> None:
        self.reader.unread.append(Unread(None, text, reason))

    def _is_readable(self, page: Page, number: int) -> bool:
        rules = len(page.lines) + len(page.rects) + len(page.curves)
        reason = None
        if not page.chars:
            reason = "without text, as of a scan" if page.images else None
            self.has_scans |= bool(page.images)
        elif len(page.chars) > _MOST_CHARACTERS or rules > _MOST_RULES:
            reason = f"too full to look for tables: {len(page.chars)} characters, {rules} rules"
        self.with_text += bool(page.chars)
        if reason:
            self._list_unread(f"page {number}", reason)
        return bool(page.chars) and reason is None

    def _read_tables(self, page: Page, number: int) -> None:
        """Read the ruled tables of a page, each with the words above it as its title."""
        _place_small_characters(page)
        tables = [table for table in page.find_tables() if len(table.rows[0].cells) > 1]
        words = page.extract_words(extra_attrs=["size"], x_tolerance_ratio=0.15)
        boxes = [table.bbox for table in tables]
        free = [word for word in words if not any(_is_inside(word, box) for box in boxes)]
        if not self._words:
            self._title, self._words = _find_title(words), join_words(words)[:_LONGEST_WORDS]
        pieces = [_make_piece(word) for word in free]
        for table in tables:
            title = _join_above(pieces, table.bbox[1])
            self._take(_build_ruled_grid(table, number, title), number)
        self._read_free(pieces, number)

    def read_scan(self, page: ScannedPage) -> None:
        """Read the tables of a recognised page."""
        self.with_text += bool(page.words or page.tables)
        page = mend_headings(page)
        heights = [word.box.bottom - word.box.top for word in page.words] or [0.0]
        usual = median(heights)
        pieces = [_make_scanned_piece(word, usual) for word in page.words]
        if not self._words:
            top = [word for word in page.words if word.box.bottom < _TITLE_SHARE * page.height]
            self._title = _find_scanned_title(top)
            self._words = join_pieces(pieces)[:_LONGEST_WORDS]
        for table in page.tables:
            title = _join_above(pieces, table.box.top)
            self._take(_build_scanned_grid(table, page.number, title), page.number)
        self._read_free(pieces, page.number)

    def _read_free(self, pieces: list[Piece], number: int) -> None:
        """Read footnotes and tables without rules from the words outside ruled tables."""
        lines = group_into_lines(pieces)
        for line in lines:
            self.reader.add_footnote(join_line(line))
        grids, self._layout = find_unruled_tables(_remove_footnotes(lines), number, self._layout)
        for grid in grids:
            self._take(grid, number)

    def _take(self, grid: Grid, number: int) -> None:
        """Read a grid as pins, or keep it as ratings until all pins are known, or list it."""
        if not grid.rows:
            return
        if is_ratings_table(grid):
            self._ratings.append(grid)
        elif not self.reader.read(grid):
            words = " | ".join(filter(None, grid.rows[0]))
            self.reader.explained.append(f"page {number}: not of pins: {words}")


def turn_upright(pdf: Any, page: Page) -> Page:
    """Return the page, rotated so that most of its text reads from left to right."""
    directions = Counter(
        (_sign(char["matrix"][0]), _sign(char["matrix"][1]))
        for char in page.chars[:_CHARACTERS_LOOKED_AT]
    )
    turn = _QUARTER_TURNS.get(directions.most_common(1)[0][0]) if directions else None
    if turn is None:
        return page
    page.page_obj.rotate = (page.page_obj.rotate + turn) % 360
    return _reload_page(pdf, page)


def _reload_page(pdf: Any, page: Page) -> Page:
    """Return the same page, to be read again within the limits."""
    return BoundedPage(pdf, page.page_obj, page.page_number, page.initial_doctop)


def _sign(value: float) -> int:
    return 0 if abs(value) < 1e-3 else 1 if value > 0 else -1


def _place_small_characters(page: Page) -> None:
    """Move raised and lowered characters to the line; raised digits become superscripts."""
    usual_size = Counter(round(char["size"], 1) for char in page.chars).most_common(1)[0][0]
    # Characters of full size in vertical strips, as wide as one: only near ones are compared.
    strips: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for char in page.chars:
        if char["size"] > _FULL_SIZE * usual_size:
            strips[int(char["x1"] // usual_size)].append(char)
    for char in page.chars:
        if char["size"] > _SMALL * usual_size:
            continue
        strip = int(char["x0"] // usual_size)
        near = [full for index in (strip - 2, strip - 1, strip) for full in strips.get(index, ())]
        attached = [full for full in near if _is_attached(char, full)]
        if not attached:
            continue
        previous = max(attached, key=itemgetter("x1"))
        if char["bottom"] < previous["bottom"] - _RAISED * previous["size"]:
            char["text"] = char["text"].translate(_SUPERSCRIPTS)
        char |= {key: previous[key] for key in ("top", "bottom", "doctop", "size")}


def _is_attached(char: dict[str, Any], last: dict[str, Any]) -> bool:
    """Return True if a small character follows a larger one closely, above or below its line."""
    is_near = -0.5 < char["x0"] - last["x1"] < 2 * last["size"]
    is_beside = char["top"] < last["bottom"] and char["bottom"] > last["top"]
    is_shifted = abs(char["bottom"] - last["bottom"]) > 0.1 * last["size"]
    return bool(is_near and is_beside and is_shifted and char["size"] < _SMALL * last["size"])


def _is_inside(word: dict[str, Any], box: tuple[float, float, float, float]) -> bool:
    x, y = (word["x0"] + word["x1"]) / 2, (word["top"] + word["bottom"]) / 2
    return bool(box[0] <= x <= box[2] and box[1] <= y <= box[3])


def _make_piece(word: dict[str, Any]) -> Piece:
    return Piece(clean_cell(word["text"]), word["x0"], word["x1"], word["top"], word["size"])


def _make_scanned_piece(word: ScannedWord, usual_height: float) -> Piece:
    """Return a word in the usual height around its middle: dust makes boxes higher."""
    box = word.box
    top = (box.top + box.bottom - usual_height) / 2
    text, size = clean_cell(word.text), _SCANNED_SIZE * usual_height
    return Piece(text, box.x0, box.x1, top, size, (word,))


def join_words(words: list[dict[str, Any]]) -> str:
    """Return the words in reading order."""
    return join_pieces([_make_piece(word) for word in words])


def join_pieces(pieces: list[Piece]) -> str:
    """Return the words of pieces in reading order."""
    return " ".join(map(join_line, group_into_lines(pieces)))


def _join_above(pieces: list[Piece], top: float) -> str:
    """Return the words closely above a table that begins at ``top``."""
    return join_pieces([piece for piece in pieces if top - _TITLE_HEIGHT < piece.top < top])


def _find_title(words: list[dict[str, Any]]) -> str:
    """Return the largest words of the page if they are few and larger than most; else ""."""
    sizes = Counter(round(word["size"], 1) for word in words)
    largest = max(sizes, default=0)
    if not sizes or largest < _TITLE_SIZE * sizes.most_common(1)[0][0]:
        return ""
    title = join_words([word for word in words if word["size"] > 0.95 * largest])
    return title if len(title) < _LONGEST_TITLE else ""


def _find_scanned_title(words: Sequence[ScannedWord]) -> str:
    """Return the text of the highest words if they are clearly higher than most; else ""."""
    heights = sorted(word.box.bottom - word.box.top for word in words)
    if not heights or heights[-1] < _SCANNED_TITLE * heights[len(heights) // 2]:
        return ""
    least = 0.9 * heights[-1]
    title = " ".join(word.text for word in words if word.box.bottom - word.box.top >= least)
    return title if len(title) < _LONGEST_TITLE else ""


def _build_scanned_grid(table: ScannedTable, page: int, title: str) -> Grid:
    """Return a ruled table of a recognised page as cells."""
    rows = [tuple(clean_cell(cell.text) for cell in row) for row in table.rows]
    places = tuple(Place(number, page, scan=row) for number, row in enumerate(table.rows, start=1))
    return Grid(tuple(rows), places, title)


def _remove_footnotes(lines: list[Line]) -> list[Line]:
    reader = TableReader()
    return [line for line in lines if not reader.add_footnote(join_line(line))]


def _build_ruled_grid(table: Any, page: int, title: str) -> Grid:
    """Return a ruled table as cells; a cell that spans rows is repeated in each of them."""
    rows = [[_join_cell(cell) for cell in row] for row in table.extract(x_tolerance_ratio=0.15)]
    for column, above, row in _find_spanned_cells(table):
        rows[row][column] = rows[above][column]
    places = tuple(Place(number, page) for number in range(1, len(rows) + 1))
    return Grid(tuple(map(tuple, rows)), places, title)


def _join_cell(cell: str | None) -> str:
    text = ""
    for line in (cell or "").splitlines():
        text = join_cell_lines(text, clean_cell(line))
    return text


def _find_spanned_cells(table: Any) -> Iterator[tuple[int, int, int]]:
    """Yield column, first row and spanned row of each cell that spans rows."""
    boxes = [list(row.cells) for row in table.rows]
    for column in range(len(boxes[0])):
        for row in range(1, len(boxes)):
            if boxes[row][column] is not None:
                continue
            bottom = table.rows[row].bbox[3]
            above = next((r for r in range(row - 1, -1, -1) if boxes[r][column]), None)
            if above is not None and boxes[above][column][3] >= bottom - 1:
                yield column, above, row
