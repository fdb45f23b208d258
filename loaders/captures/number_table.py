"""Read the lines of numbers of a capture as a table, and refuse a line unlike the others."""

from __future__ import annotations

import io
from typing import Final

import numpy as np

from .capture import MOST_SAMPLES, CaptureError, Samples
from .number_dialect import Dialect, decode_line
from .reading_place import ReadingPlace, build_error

LINES_WITH_SETTINGS: Final = 60
"""Some layouts put settings in columns beside so many of the first numbers."""
_LINES_BELOW: Final = 60  # others put them below the last numbers
_REMARKS: Final = "#%"


def find_numbers(text: bytes, dialect: Dialect) -> tuple[int, int]:
    """Return the byte offsets of the first line of numbers and of the end of the last.

    Lines of numbers with settings beside them count where they lead to lines of numbers alone.
    """
    start = _find_start(text, dialect)
    return start, find_end(text, start, dialect)


def _find_start(text: bytes, dialect: Dialect) -> int:
    """Return the byte offset of the first line of numbers; 0 when there is none."""
    # A number at the start of a line of text does not make it a line of samples.
    may_have_settings_beside = len(dialect.columns) > 1 or dialect.columns[0] > 0
    first_beside: int | None = None  # the first of the lines with settings beside them
    position = 0
    while position < len(text):
        newline = text.find(b"\n", position)
        end = len(text) if newline < 0 else newline
        line = decode_line(text[position:end])
        if dialect.holds_numbers(line):
            return position if first_beside is None else first_beside
        if may_have_settings_beside and dialect.holds_numbers(line, beside=True):
            first_beside = position if first_beside is None else first_beside
        elif line.strip():
            # Another text below numbers: those above were settings themselves.
            first_beside = None
        position = end + 1
    return first_beside or 0


def find_end(text: bytes, start: int, dialect: Dialect) -> int:
    """Return the offset behind the last numbers.

    Settings may follow behind a blank line or a remark sign; another line below is a damaged one.
    """
    end = position = len(text)
    for _ in range(_LINES_BELOW):
        line_start = max(text.rfind(b"\n", start, position), start)
        line = decode_line(text[line_start:position]).strip()
        if line_start == start or (line and not line[:1].isalpha() and line[:1] not in _REMARKS):
            break
        if not line or line[:1] in _REMARKS:
            end = line_start
        elif dialect.holds_numbers(line):
            break
        position = line_start
    return end


def refuse_odd_line_above(above: list[str], dialect: Dialect, place: ReadingPlace) -> None:
    """Refuse a line just above the numbers that begins as they do: samples would be lost."""
    if not above or not above[-1].strip():
        return
    fields = dialect.split_fields(above[-1])
    if len(fields) <= dialect.columns[-1]:
        return
    cells = [fields[column] for column in dialect.columns]
    if all(cell[:1].isdigit() or cell[:1] in ("-", "+", ".") for cell in cells):
        raise _refuse_line(len(above), dialect, place)


def read_table(text: bytes, start: int, end: int, dialect: Dialect, place: ReadingPlace) -> Samples:
    """Return the numbers, rows x numeric columns."""
    body = text[start:end]
    lines = body.rstrip().count(b"\n") + 1
    if lines > MOST_SAMPLES:
        number = place.line_of(0)
        raise build_error(place.file, number, f"{lines:,} lines", f"no more than {MOST_SAMPLES:,}")
    if dialect.comma:
        body = body.replace(b",", b".")
    plain = dialect.columns == tuple(range(len(dialect.columns)))
    first_line = body.split(b"\n", 1)[0].rstrip()
    sign = (dialect.delimiter or " ").encode()
    # Without a choice of columns, numpy itself refuses lines of another width.
    if plain and (dialect.delimiter is None or not first_line.endswith(sign)):
        table = _load(body, dialect, None)
        if table is not None and table.shape[1] == len(dialect.columns):
            return table
    table = _load(body, dialect, dialect.columns)
    if table is None:
        raise _explain_first_odd_line(text, start, dialect, place)
    _refuse_uneven_fields(body, first_line.count(sign), dialect, place)
    return table


def _load(body: bytes, dialect: Dialect, columns: tuple[int, ...] | None) -> Samples | None:
    """Return the numbers in the columns, all when None; None for a text that has others."""
    try:
        return np.loadtxt(
            io.BytesIO(body),
            delimiter=dialect.delimiter,
            usecols=columns,
            comments=None,
            quotechar='"',
            ndmin=2,
            encoding="latin-1",
        )
    except ValueError:
        return None


def _refuse_uneven_fields(
    body: bytes, separators: int, dialect: Dialect, place: ReadingPlace
) -> None:
    """Refuse a line that has another number beside those of the columns."""
    sign = (dialect.delimiter or " ").encode()
    if dialect.delimiter is None or body.count(sign) == separators * (
        body.rstrip().count(b"\n") + 1
    ):
        return
    for row, line in enumerate(line for line in io.BytesIO(body) if line.strip()):
        is_beside = row < LINES_WITH_SETTINGS
        if not dialect.holds_numbers(decode_line(line), beside=is_beside):
            raise _refuse_line(place.line_of(row), dialect, place)


def _explain_first_odd_line(
    text: bytes, start: int, dialect: Dialect, place: ReadingPlace
) -> CaptureError:
    number = text.count(b"\n", 0, start)
    for line in io.BytesIO(text[start:]):
        number += 1
        words = decode_line(line).strip()
        if words and not dialect.holds_numbers(words):
            return _refuse_line(number, dialect, place)
    found_text = "numbers that cannot be read"
    return build_error(place.file, place.line_of(0), found_text, _describe_line(dialect))


def _refuse_line(number: int, dialect: Dialect, place: ReadingPlace) -> CaptureError:
    quoted = place.quote(number)
    words = quoted[-1][1]
    expected = _describe_line(dialect)
    if dialect.is_out_of_range(words):
        found_text = f"'{words}', beyond the instrument's range"
        return build_error(place.file, number, found_text, expected, quoted)
    return build_error(place.file, number, f"'{words}'", expected, quoted)


def _describe_line(dialect: Dialect) -> str:
    """Return how a line of numbers should look, in words."""
    count = len(dialect.columns)
    sign = "comma" if dialect.comma else "point"
    between = {";": "semicolons", ",": "commas", "\t": "tabs", None: "blanks"}[dialect.delimiter]
    if count == 1:
        return f"a number with a decimal {sign}, as in the other lines"
    return f"{count} numbers with a decimal {sign}, {between} between them, as in the other lines"


def check_finite(table: Samples, place: ReadingPlace) -> None:
    """Refuse samples that are no numbers, as beyond the instrument's range. Raises CaptureError."""
    bad = np.flatnonzero(~np.isfinite(table).all(axis=1))
    if bad.size:
        row = int(bad[0])
        found_text = " ".join(f"{value:g}" for value in table[row])
        raise place.error_at(row, found_text, "finite numbers, within the instrument's range")
