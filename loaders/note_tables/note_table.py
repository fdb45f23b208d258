"""A table of notes as text: headings and rows, and the limits of both."""

from __future__ import annotations

from typing import Final, NamedTuple

from ..errors import Fault, InvalidFileError

MOST_BYTES: Final = 50_000_000
MOST_ROWS: Final = 100_000
MOST_COLUMNS: Final = 100
LONGEST_CELL: Final = 10_000


class NoteTableError(InvalidFileError):
    """The table cannot be read."""


class TableRow(NamedTuple):
    """One row: the line of the file it begins on, and its cells, one for each heading."""

    line: int
    cells: tuple[str, ...]
    fault: str = ""
    """Why the row cannot be used; empty for a usable one."""


class NoteTable(NamedTuple):
    """The headings of a table and its rows."""

    headings: tuple[str, ...]
    rows: tuple[TableRow, ...]


def build_error(name: str, found: str, expected: str, line: int = 1) -> NoteTableError:
    """Return the error that refuses a whole table."""
    return NoteTableError((Fault(name, line, 1, found, expected),))
