"""Read the rows of a table of notes: CSV, JSON Lines, or a workbook such as .xlsx.

Every cell stays text. The encoding and the delimiter of CSV are detected; JSON Lines have an object
of plain values on each line. The first row that is not empty holds the headings.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, Final

from ..drafting.text_table import decode_text
from ..errors import InvalidFileError
from ..system.regular_files import read_regular
from .inert_cells import read_inert
from .note_table import (
    LONGEST_CELL,
    MOST_BYTES,
    MOST_COLUMNS,
    MOST_ROWS,
    NoteTable,
    NoteTableError,
    TableRow,
    build_error,
)

_PACKED: Final = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
"""The first bytes of a workbook: zip, and the compound files of before 2007."""
_DELIMITERS: Final = ("\t", ";", "|", ",")
_LONGEST_HEADING: Final = 80
_LONGEST_HEADINGS: Final = 4_000


def load_table(path: Path, sheet: str | None = None) -> NoteTable:
    """Return the table in a file; ``sheet`` names one of a workbook.

    Raises NoteTableError.
    """
    try:
        data = read_regular(path, MOST_BYTES)
    except OSError as error:
        raise build_error(str(path), error.strerror or "an error", "a readable table") from None
    return read_table(data, str(path), sheet)


def read_table(data: bytes, name: str, sheet: str | None = None) -> NoteTable:
    """Return the table in the bytes of a workbook, of JSON Lines, or of CSV.

    The bytes tell which it is. ``name`` is the file's name for messages; ``sheet`` names a sheet
    of a workbook and is ignored for text. Raises NoteTableError.
    """
    if data.startswith(_PACKED):
        from .workbook_rows import read_workbook_rows

        return arrange_rows(read_workbook_rows(data, name, sheet), name)
    try:
        text, _ = decode_text(data, name)
    except InvalidFileError as error:
        raise NoteTableError(error.faults) from None
    # By the content, not by the name: exports are often saved under another ending.
    if text.lstrip().startswith("{"):
        return _read_json_lines(text, name)
    return arrange_rows(_split_csv(text, name), name)


def arrange_rows(numbered: Iterable[tuple[int, list[str]]], name: str) -> NoteTable:
    """Return the table of numbered rows of cells, of which the first filled one has the headings.

    Raises NoteTableError without headings, and for too many rows or columns.
    """
    filled_rows = ((line, cells) for line, cells in numbered if any(cell.strip() for cell in cells))
    heading_row = next(filled_rows, None)
    if heading_row is None:
        raise build_error(name, "an empty table", "a row of headings and a row for each note")
    heading_line, heading_cells = heading_row
    headings = _name_columns(heading_cells)
    if len(headings) > MOST_COLUMNS:
        raise build_error(name, f"{len(headings)} columns", f"at most {MOST_COLUMNS}", heading_line)
    rows: list[TableRow] = []
    for line, cells in filled_rows:
        if len(rows) == MOST_ROWS:
            raise build_error(name, "still more rows", f"at most {MOST_ROWS:,} rows", line)
        rows.append(_fit_row(line, cells, len(headings)))
    return NoteTable(headings, tuple(rows))


def _name_columns(cells: list[str]) -> tuple[str, ...]:
    """Return the headings without empty ones at the end; an empty one between is numbered."""
    texts = [" ".join(read_inert(cell).split()) for cell in cells]
    while texts and not texts[-1]:
        texts.pop()
    return tuple(
        text[:_LONGEST_HEADING] or f"column {number}" for number, text in enumerate(texts, start=1)
    )


def _fit_row(line: int, cells: list[str], width: int) -> TableRow:
    """Return a row with as many cells as headings, or with its fault."""
    texts = [read_inert(cell).strip() for cell in cells]
    while len(texts) > width and not texts[-1]:
        texts.pop()
    if len(texts) > width:
        fault = f"{len(texts)} cells under {width} headings; put quotes around a cell with commas"
        return TableRow(line, tuple(text[:LONGEST_CELL] for text in texts[:width]), fault)
    if any(len(text) > LONGEST_CELL for text in texts):
        fault = f"a cell of more than {LONGEST_CELL:,} characters; shorten it"
        return TableRow(line, tuple(text[:LONGEST_CELL] for text in texts), fault)
    return TableRow(line, (*texts, *([""] * (width - len(texts)))))


def _split_csv(text: str, name: str) -> Iterator[tuple[int, list[str]]]:
    """Yield the line and the cells of each row. Raises NoteTableError for a broken quote."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_find_delimiter(text), strict=True)
    line = 1
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            expected = "rows as RFC 4180 has them, quotes within a cell doubled"
            raise build_error(name, f"a broken row ({error})", expected, line) from None
        yield line, cells
        line = reader.line_num + 1  # a row may take several lines, with line ends in its cells


def _find_delimiter(text: str) -> str:
    """Return the delimiter that the headings hold most often outside quotes."""
    headings = text.lstrip()[:_LONGEST_HEADINGS].split("\n", 1)[0]
    unquoted = "".join(headings.split('"')[::2])
    return max(_DELIMITERS, key=lambda sign: (unquoted.count(sign), sign == ","))


def _read_json_lines(text: str, name: str) -> NoteTable:
    """Return the table of JSON Lines; its headings are the keys in the order of their first use."""
    objects: list[tuple[int, dict[str, str], str]] = []
    for line, written in enumerate(text.split("\n"), start=1):
        if written.strip():
            objects.append((line, *_read_object(written)))
        if len(objects) > MOST_ROWS:
            raise build_error(name, "still more rows", f"at most {MOST_ROWS:,} rows", line)
    headings = tuple(dict.fromkeys(key for _, cells, _ in objects for key in cells))
    if len(headings) > MOST_COLUMNS:
        raise build_error(name, f"{len(headings)} different keys", f"at most {MOST_COLUMNS}")
    rows = tuple(
        TableRow(line, tuple(cells.get(key, "") for key in headings), fault)
        for line, cells, fault in objects
    )
    return NoteTable(headings, rows)


def _read_object(written: str) -> tuple[dict[str, str], str]:
    """Return the cells of one line of JSON, and its fault."""
    try:
        value = json.loads(written, object_pairs_hook=_refuse_repeated_keys)
    except (ValueError, RecursionError) as error:
        return {}, f"not JSON ({error}); write an object on each line"
    if not isinstance(value, dict):
        return {}, "not an object; write {...} on each line"
    # Lists and objects within the object have no text, and so no place in a cell.
    cells = {str(key): _print_value(member) for key, member in value.items()}
    nested_key = next((key for key, text in cells.items() if text is None), None)
    if nested_key is not None:
        return {}, f"{nested_key!r} is not text, a number, true, false or null; write it as text"
    texts = {
        key[:_LONGEST_HEADING]: text.strip() for key, text in cells.items() if text is not None
    }
    if _has_surrogates([*texts, *texts.values()]):
        return {}, "half a character (a lone surrogate); write the whole one"
    if any(len(text) > LONGEST_CELL for text in texts.values()):
        return {}, f"a value of more than {LONGEST_CELL:,} characters; shorten it"
    return texts, ""


def _has_surrogates(texts: Iterable[str]) -> bool:
    """Return whether a text holds half of a character, which JSON can name and no file can hold."""
    return any("\ud800" <= sign <= "\udfff" for text in texts for sign in text)


def _refuse_repeated_keys(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    document = dict(pairs)
    if len(document) < len(pairs):
        raise ValueError("a key is there twice")
    return document


def _print_value(value: Any) -> str | None:
    """Return a plain value as text; None for any other."""
    if isinstance(value, str):
        return value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return repr(value) if isinstance(value, int | float) else None
