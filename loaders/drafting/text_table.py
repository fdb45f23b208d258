"""A table typed or pasted as text, cut into cells: encoding, delimiter, quotes.

RFC 4180 describes comma-separated values; spreadsheets also write semicolons (where the comma is
the decimal sign) and tabs, in UTF-8 with or without byte order mark, UTF-16 or CP1252. A scan's
text has two blanks or more between its columns.
"""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from ..errors import Fault, InvalidFileError

_MOST_BYTES: Final = 5_000_000
_MOST_ROWS: Final = 5_000
_MOST_CELLS: Final = 100
_DELIMITERS: Final = {"\t": "tab", ";": "semicolon", "|": "upright bar", ",": "comma"}
_LONGEST_CELL_LINES: Final = 12
_OTHER_FILES: Final = {
    b"PK\x03\x04": ("a packed spreadsheet or document", "save the sheet as CSV and draft that"),
    b"\xd0\xcf\x11\xe0": ("an old binary spreadsheet", "save the sheet as CSV and draft that"),
    b"\x89PNG": ("a picture", "run text recognition over it first"),
    b"\xff\xd8\xff": ("a picture", "run text recognition over it first"),
}


class DraftError(InvalidFileError):
    """A table or data sheet from which nothing can be drafted."""


@dataclass(frozen=True)
class Place:
    """Where in the file something stands: a row, of a page where there are pages."""

    row: int
    page: int | None = None

    def __str__(self) -> str:
        return f"row {self.row}" if self.page is None else f"page {self.page}, row {self.row}"


@dataclass(frozen=True)
class Unread:
    """What could not be read: where, what stands there, and why."""

    at: Place | None
    found: str
    why: str

    def __str__(self) -> str:
        place = f"{self.at}: " if self.at else ""
        return f"{place}{self.found!r}: {self.why}"


@dataclass(frozen=True)
class Grid:
    """A table as cells; every row knows its place."""

    rows: tuple[tuple[str, ...], ...]
    places: tuple[Place, ...]
    title: str = ""
    """The words above the table, where there are any."""
    spread: bool = False
    """True when the words of a spanning heading stand over every column it spans."""

    @property
    def width(self) -> int:
        """Cells in the widest row."""
        return max(map(len, self.rows), default=0)


@dataclass(frozen=True)
class TableText:
    """The cells of a text file, how it was written, and rows whose quotes do not close."""

    grid: Grid
    encoding: str
    delimiter: str
    unread: tuple[Unread, ...]


def refused(name: str, found: str, expected: str, write: str | None = None) -> DraftError:
    """The error of a whole file."""
    return DraftError((Fault(name, 1, 1, found, expected, write),))


def read_table_text(data: bytes, name: str) -> TableText:
    """The cells of a table in ``data``; ``name`` stands for the file in messages.

    Raises DraftError when the file is empty, too large, or not text.
    """
    _check_is_text(data, name)
    text, encoding = _decoded(data, name)
    lines = text.splitlines()
    if not any(line.strip() for line in lines):
        raise refused(name, "an empty file", "a table of pins")
    if len(lines) > _MOST_ROWS:
        raise refused(name, f"{len(lines)} lines", f"a table of at most {_MOST_ROWS} lines")
    delimiter = _delimiter(lines)
    unread: list[Unread] = []
    rows = list(_records(lines, delimiter, unread))
    grid = Grid(tuple(row for _, row in rows), tuple(Place(line) for line, _ in rows))
    if grid.width > _MOST_CELLS:
        raise refused(name, f"{grid.width} cells in a row", f"at most {_MOST_CELLS} to a row")
    called = _DELIMITERS.get(delimiter or "", "two blanks or more")
    return TableText(grid, encoding, called, tuple(unread))


def _check_is_text(data: bytes, name: str) -> None:
    if len(data) > _MOST_BYTES:
        found = f"{len(data) / 1e6:.0f} MB"
        raise refused(name, found, f"a table of at most {_MOST_BYTES / 1e6:.0f} MB")
    for start, (found, expected) in _OTHER_FILES.items():
        if data.startswith(start):
            raise refused(name, found, f"a table as text; {expected}")


def _decoded(data: bytes, name: str) -> tuple[str, str]:
    """The text and what its encoding is called."""
    wide = _wide_order(data)
    if wide is not None:
        try:
            return data.decode(wide).removeprefix("\ufeff"), "UTF-16"
        except UnicodeDecodeError:
            raise refused(name, "broken UTF-16", "a table as text") from None
    if b"\x00" in data:
        raise refused(name, "bytes that are not text", "a table as text, such as CSV")
    for encoding, called in (("utf-8-sig", "UTF-8"), ("cp1252", "CP1252")):
        try:
            return data.decode(encoding), called
        except UnicodeDecodeError:
            continue
    raise refused(name, "bytes that are neither UTF-8 nor CP1252", "a table as text", "UTF-8")


def _wide_order(data: bytes) -> str | None:
    """UTF-16 by its byte order mark, else by every other byte of the beginning being zero."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    start = data[:64]
    for half, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
        if len(start) > 3 and not any(start[half::2]) and any(start):
            return encoding
    return None


def _delimiter(lines: list[str]) -> str | None:
    """The delimiter that cuts most lines into the same number of cells; None for blanks."""
    best, most = None, 0
    for delimiter in _DELIMITERS:
        counts = Counter(line.count(delimiter) for line in lines if delimiter in line)
        same = max(counts.values(), default=0)
        if same > most and 2 * sum(counts.values()) > sum(bool(line.strip()) for line in lines):
            best, most = delimiter, same
    return best


def _records(
    lines: list[str], delimiter: str | None, unread: list[Unread]
) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Line number and cells of each row; a quoted cell may go over several lines."""
    if delimiter is None:
        for number, line in enumerate(lines, start=1):
            yield number, tuple(re.split(r" {2,}|\t", line.strip()))
        return
    usual = Counter(line.count(delimiter) for line in lines).most_common(1)[0][0]
    index = 0
    while index < len(lines):
        length = _lines_of_record(lines[index:], delimiter, usual)
        text, quoted = "\n".join(lines[index : index + max(length, 1)]), length > 0
        if not quoted:
            unread.append(Unread(Place(index + 1), lines[index], "a quote that is not closed"))
        yield index + 1, _cells(text, delimiter, quoted)
        index += max(length, 1)


def _lines_of_record(lines: list[str], delimiter: str, usual: int) -> int:
    """How many lines the first row takes; 0 when its quote is not closed.

    A quote that swallows what looks like a whole row by itself counts as not closed.
    """
    quotes = 0
    for count, line in enumerate(lines[:_LONGEST_CELL_LINES], start=1):
        whole = line.count(delimiter) == usual and line.count('"') % 2 == 0
        if count > 1 and whole and usual > 0:
            return 0
        quotes += line.count('"')
        if quotes % 2 == 0:
            return count
    return 0


def _cells(text: str, delimiter: str, quoted: bool) -> tuple[str, ...]:
    if not quoted:
        return tuple(" ".join(cell.replace('"', " ").split()) for cell in text.split(delimiter))
    rows = csv.reader(text.splitlines(keepends=True), delimiter=delimiter)
    return tuple(" ".join(cell.split()) for row in rows for cell in row)
