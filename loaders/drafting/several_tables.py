"""Read a file with several tables: the one that can be read, or those that the user chose."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from .cell_values import clean_cell, split_mark
from .column_headings import Overrides
from .column_questions import ask_about_numbering
from .pin_table import PinTable
from .table_reader import TableReader, find_footnote
from .text_table import DraftError, Grid, Unread, table_error

_LONGEST_NAME: Final = 40


@dataclass(frozen=True)
class NamedTable:
    """A table of a file, with the name of its sheet or the words above it."""

    name: str
    grid: Grid
    footnotes: tuple[str, ...] = ()
    """Lines below the table that begin with a mark of its cells."""


def list_footnotes(grid: Grid, lines: Iterable[str]) -> tuple[str, ...]:
    """Return the lines that begin with a mark which a cell of ``grid`` carries."""
    marks = {split_mark(cell, of_number=True)[1] for row in grid.rows for cell in row} - {""}
    footnotes = ((clean_cell(line), find_footnote(line)) for line in lines if marks)
    return tuple(line for line, footnote in footnotes if footnote and footnote[0] in marks)


def read_several_tables(
    tables: Sequence[NamedTable],
    file: str,
    overrides: Overrides | None = None,
    chosen: Collection[int] = (),
) -> PinTable:
    """Return the pins and parameters of the tables of one file.

    ``chosen`` numbers tables from 1. Without, the only table that can be read is taken; raises
    DraftError that asks if there are several, or none.
    """
    beyond = [number for number in chosen if not 1 <= number <= len(tables)]
    if beyond:
        found_text = f"table {beyond[0]}"
        raise table_error(file, found_text, f"a table from 1 to {len(tables)}", "--table 1")
    readable = {
        number: summary
        for number, table in enumerate(tables, start=1)
        if (not chosen or number in chosen) and (summary := _summarise(table, overrides))
    }
    if not readable:
        raise _explain_no_pins(tables, file, overrides)
    # Several tables may be of several chips: only the user knows.
    if len(readable) > 1 and not chosen:
        raise _ask_for_tables(readable, file)
    return _read_chosen(tables, file, overrides, readable)


def _explain_no_pins(
    tables: Sequence[NamedTable], file: str, overrides: Overrides | None
) -> DraftError:
    """Return the error of tables without pins; it asks about a column that may number them."""
    for table in tables if not overrides else ():
        if question := ask_about_numbering(table.grid, file):
            return question
    expected = "one with headings such as Pin, Symbol, Function, DC (V) above rows of pins"
    write = "--column number=1 --column symbol=2 --column dc_typ=4"
    return table_error(file, f"{len(tables)} tables, none of pins", expected, write)


def _ask_for_tables(readable: Mapping[int, str], file: str) -> DraftError:
    """Return the error that asks which of several tables to read, by number and summary."""
    found_text = "; ".join(f"{number} {summary}" for number, summary in readable.items())
    numbers = ",".join(map(str, readable))
    write = f"--table {min(readable)} or --table {numbers}"
    expected = "the choice of those of one chip"
    return table_error(file, f"{len(readable)} tables: {found_text}", expected, write)


def _summarise(table: NamedTable, overrides: Overrides | None) -> str:
    """Return name and size of a table that can be read; empty for another."""
    reader = TableReader(overrides)
    is_known = bool(table.grid.rows) and reader.read(table.grid)
    if not is_known or not (reader.pins or reader.parameters or reader.questions):
        return ""
    counts = [
        f"{len(found)} {noun}"
        for found, noun in ((reader.pins, "pins"), (reader.parameters, "parameters"))
        if found
    ]
    return f"{table.name[:_LONGEST_NAME]!r} ({', '.join(counts) or 'with a question'})"


def _read_chosen(
    tables: Sequence[NamedTable],
    file: str,
    overrides: Overrides | None,
    readable: Collection[int],
) -> PinTable:
    """Return the pins of the readable tables; the others are listed as not used."""
    reader = TableReader(overrides)
    for number in readable:
        table = tables[number - 1]
        reader.explained.append(f"table {number}: {table.name}")
        reader.read(table.grid)
        reader.unread += (
            Unread(None, line, f"not used: a footnote below {table.name[:_LONGEST_NAME]!r}")
            for line in table.footnotes
        )
    if reader.questions:
        raise DraftError(reader.ask(file).faults)
    for number, table in enumerate(tables, start=1):
        if number not in readable and table.grid.rows:
            rows = f"{len(table.grid.rows)} rows"
            found_text = f"table {number} {table.name[:_LONGEST_NAME]!r}, {rows}"
            reader.unread.append(Unread(None, found_text, "not used: not of pins, or not chosen"))
    titles = [tables[number - 1].grid.title for number in readable]
    return reader.table(" ".join(filter(None, titles)))
