"""Find the tables of a page in HTML (WHATWG HTML, 4.9) or Markdown (GitHub Flavored, 4.10).

Cells that span rows or columns are repeated in each. Scripts and styles are no text.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser
from itertools import zip_longest
from typing import TYPE_CHECKING, Final

from .cell_values import clean_cell
from .several_tables import NamedTable, list_footnotes
from .text_table import Grid, Place

if TYPE_CHECKING:
    from markdown_it.token import Token

_MOST_TABLES: Final = 200
_MOST_ROWS: Final = 5_000
_MOST_COLUMNS: Final = 100
_HEADINGS: Final = frozenset({"h1", "h2", "h3", "h4", "h5", "h6", "caption"})
_NO_TEXT: Final = frozenset({"script", "style", "template", "noscript"})
_SUPERSCRIPTS: Final = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")
_RAISED: Final = re.compile(r"<sup>([^<>]{1,10})</sup>", re.IGNORECASE)
_HTML: Final = re.compile(r"<(?:!doctype html|html|table|body|meta)\b", re.IGNORECASE)
_MARKDOWN: Final = re.compile(
    r"^ {0,3}\|?[ :]*-{3,}[ :]*(?:\|[ :]*-{2,}[ :]*)+\|?\s*$", re.MULTILINE
)
_LOOKED_AT: Final = 2000


def is_html(text: str) -> bool:
    """Return True if the text begins like a page, or a part of one with a table."""
    return bool(_HTML.search(text[:_LOOKED_AT]))


def is_markdown(text: str) -> bool:
    """Return True if a line of dashes and upright bars divides a heading from its rows."""
    return bool(_MARKDOWN.search(text))


def find_html_tables(text: str) -> list[NamedTable]:
    """Return the tables of a page; the name of each is its caption or the heading before it."""
    reader = _HtmlTables()
    reader.feed(text)
    reader.close()
    return [_build_table(table, number) for number, table in enumerate(reader.tables, start=1)]


def find_markdown_tables(text: str) -> list[NamedTable]:
    """Return the tables of a page; the name of each is the heading before it."""
    from markdown_it import MarkdownIt  # other tables do not wait for it

    tables: list[_Table] = []
    starts: list[int] = []
    ends: list[int] = []
    heading = ""
    tokens = MarkdownIt("commonmark").enable("table").parse(text)
    for token, content in zip_longest(tokens, tokens[1:]):
        match token.type:
            case "heading_open" if content is not None:
                heading = _join_inline(content)
            case "table_open":
                tables.append(_Table(heading))
                first, last = token.map or (0, 0)
                starts.append(first)
                ends.append(last)
            case "tr_open":
                tables[-1].begin_row(token.map[0] + 1 if token.map else 0)
            case "th_open" | "td_open" if content is not None:
                tables[-1].add_cell(_join_inline(content), 1, 1)
    # A list would lose the marks of its items, so the lines are taken as they are written.
    lines = text.splitlines()
    for table, first, last in zip(tables, ends, [*starts[1:], len(lines)], strict=False):
        table.lines_below = [_write_line(line) for line in lines[first:last]]
    return [_build_table(table, number) for number, table in enumerate(tables, start=1)]


def _join_inline(token: Token) -> str:
    """Return the text of inline Markdown without its marks."""
    parts = [" " if part.type.endswith("break") else part.content for part in token.children or ()]
    return clean_cell(_raise_digits("".join(parts)))


def _write_line(line: str) -> str:
    """Return a line of Markdown with raised digits, and without the backslashes before marks."""
    return re.sub(r"\\(?=[*()\[\]])", "", _raise_digits(line))


def _raise_digits(text: str) -> str:
    """Return Markdown with superscripts in place of digits in the element ``sup``."""
    return _RAISED.sub(lambda raised: raised[1].translate(_SUPERSCRIPTS), text)


@dataclass
class _Table:
    """A table while it is read: rows of cells by column, and cells that reach further down."""

    name: str
    rows: list[dict[int, str]] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    lines_below: list[str] = field(default_factory=list)
    is_spanned: bool = False
    _below: dict[int, tuple[int, str]] = field(default_factory=dict)

    def begin_row(self, line: int) -> None:
        """Begin a row, with the cells that reach down into it."""
        self.rows.append({column: text for column, (_, text) in self._below.items()})
        self.lines.append(line)
        self._below = {c: (n - 1, text) for c, (n, text) in self._below.items() if n > 1}

    def add_cell(self, text: str, columns: int, rows: int) -> None:
        """Add a cell at the next free column of the last row, spanning columns and rows."""
        if not self.rows:
            self.begin_row(0)
        row = self.rows[-1]
        start = next(c for c in range(_MOST_COLUMNS + 1) if c not in row)
        for column in range(start, min(start + columns, _MOST_COLUMNS)):
            row[column] = text
            if rows > 1:
                self._below[column] = rows - 1, text
        self.is_spanned |= columns > 1 or rows > 1


def _build_table(table: _Table, number: int) -> NamedTable:
    """Return the table as a grid; a row that is one cell over all columns is one cell."""
    rows: list[tuple[str, ...]] = []
    for row in table.rows[:_MOST_ROWS]:
        texts = [row.get(column, "") for column in range(max(row, default=-1) + 1)]
        is_one = len(texts) > 1 and len({*texts}) == 1
        rows.append((texts[0],) if is_one else tuple(texts))
    name = table.name or f"table {number}"
    places = tuple(Place(at, table=name) for at in range(1, len(rows) + 1))
    grid = Grid(tuple(rows), places, table.name, headings_repeated=table.is_spanned)
    return NamedTable(name, grid, list_footnotes(grid, table.lines_below))


class _HtmlTables(HTMLParser):
    """Collects tables; a table within a cell is a table of its own."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tables: list[_Table] = []
        self._open: list[_Table] = []
        self._cells: list[tuple[list[str], int, int] | None] = []
        self._heading: list[str] | None = None
        self._last_heading = ""
        self._silent = self._raised = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Begin a table, a row, a cell or a heading."""
        self._silent += tag in _NO_TEXT
        self._raised += tag == "sup"
        if tag == "table" and len(self.tables) < _MOST_TABLES:
            self._open.append(_Table(self._last_heading))
            self._cells.append(None)
            self.tables.append(self._open[-1])
        elif tag == "tr" and self._open:
            self._end_cell()
            self._open[-1].begin_row(self.getpos()[0])
        elif tag in ("td", "th") and self._open:
            self._end_cell()
            spans = {name: value for name, value in attrs if value and value.isdecimal()}
            columns, rows = (int(spans.get(n, "1")[:4]) for n in ("colspan", "rowspan"))
            self._cells[-1] = [], max(columns, 1), max(rows, 1)
        elif tag in _HEADINGS:
            self._heading = []
        elif tag in ("br", "p", "div", "li"):
            self.handle_data(" ")
            self._begin_line()

    def handle_endtag(self, tag: str) -> None:
        """End a table, a row, a cell or a heading."""
        self._silent -= tag in _NO_TEXT and self._silent > 0
        self._raised -= tag == "sup" and self._raised > 0
        if tag in ("td", "th", "tr") and self._open:
            self._end_cell()
        elif tag in ("p", "div", "li"):
            self._begin_line()
        elif tag == "table" and self._open:
            self._end_cell()
            self._open.pop()
            self._cells.pop()
        elif tag in _HEADINGS and self._heading is not None:
            self._last_heading = clean_cell("".join(self._heading))
            self._heading = None
            if tag == "caption" and self._open:
                self._open[-1].name = self._last_heading

    def handle_data(self, data: str) -> None:
        """Add text to the open heading or cell."""
        if self._silent:
            return
        text = data.translate(_SUPERSCRIPTS) if self._raised else data
        if self._heading is not None:
            self._heading.append(text)
        elif self._cells and (cell := self._cells[-1]) is not None:
            cell[0].append(text)
        elif self.tables and not self._open:
            below = self.tables[-1].lines_below
            below[-1:] = [(below[-1] if below else "") + text]

    def _begin_line(self) -> None:
        """Begin a line of the text below a table."""
        if self.tables and not self._open:
            self.tables[-1].lines_below.append("")

    def close(self) -> None:
        """End what the page left open."""
        super().close()
        while self._open:
            self.handle_endtag("table")

    def _end_cell(self) -> None:
        if (cell := self._cells[-1]) is not None:
            self._open[-1].add_cell(clean_cell("".join(cell[0])), cell[1], cell[2])
            self._cells[-1] = None
