"""How a capture's numbers are written: encoding, delimiter, decimal point or comma, columns.

No standard says how an oscilloscope writes its samples; RFC 4180 describes comma-separated values
in general. What is found in most lines of the file counts, so that headers and a spoilt line
here or there do not decide.
"""

from __future__ import annotations

import codecs
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

_SPOTS: Final = 8  # places of the file that are looked at
_SPOT_BYTES: Final = 2000
_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_WIDE_BOMS: Final = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


@dataclass(frozen=True)
class Dialect:
    """How the lines of numbers are written."""

    delimiter: str | None
    """None: any run of blanks."""
    comma: bool
    """Whether the decimal sign is a comma."""
    columns: tuple[int, ...] = ()
    """Which fields hold numbers, counted from 0."""
    width: int = 0
    """Fields in each line, a trailing empty one not counted."""

    def fields(self, line: str) -> list[str]:
        """The fields of a line, without quotes and a trailing empty field."""
        fields = [field.strip().strip('"').strip() for field in line.split(self.delimiter)]
        return fields[:-1] if len(fields) > 1 and not fields[-1] else fields

    def number(self, field: str) -> float | None:
        """The number that a field is, if it is one and nothing else."""
        if self.comma:
            field = field.replace(",", ".")
        return float(field) if _NUMBER.fullmatch(field) else None

    def holds_numbers(self, line: str) -> bool:
        """Whether a line has a number in each of the columns, and nothing in too many fields."""
        fields = self.fields(line)
        return len(fields) == self.width and all(
            self.number(fields[column]) is not None for column in self.columns
        )


_CANDIDATES: Final = tuple(
    Dialect(delimiter, comma)
    for delimiter in (";", "\t", ",", None)
    for comma in (False, True)
    if not (delimiter == "," and comma)
)


def as_utf8(data: bytes) -> bytes:
    """The same text without a byte order mark; UTF-16 becomes UTF-8, CP1252 stays as it is.

    Lines end in LF, or CR and LF. Raises UnicodeDecodeError for broken UTF-16.
    """
    wide = next((half for half in (0, 1) if len(data) > 3 and not any(data[half:64:2])), None)
    if data.startswith(_WIDE_BOMS):
        data = data.decode("utf-16").encode()
    elif wide is not None:
        data = data.decode("utf-16-be" if wide == 0 else "utf-16-le").encode()
    data = data.removeprefix(codecs.BOM_UTF8)
    return data.replace(b"\r", b"\n") if b"\n" not in data else data


def as_words(line: bytes) -> str:
    """A line of the header: UTF-8, else CP1252."""
    try:
        return line.decode()
    except UnicodeDecodeError:
        return line.decode("cp1252", errors="replace")


def dialect_of(data: bytes) -> Dialect | None:
    """The dialect in which most lines are numbers; None when no line is."""
    lines = [line for line in _some_lines(data) if line.strip()]
    best, most = None, 0
    for candidate in _CANDIDATES:
        shapes = Counter(shape for line in lines if (shape := _shape(candidate, line)))
        if shapes and (found := shapes.most_common(1)[0])[1] > most:
            (columns, width), most = found
            best = Dialect(candidate.delimiter, candidate.comma, columns, width)
    return best


def _shape(dialect: Dialect, line: str) -> tuple[tuple[int, ...], int] | None:
    """Which fields are numbers, and how many fields there are; None when others are not empty."""
    if dialect.delimiter is not None and dialect.delimiter not in line:
        return None
    if dialect.comma and "," not in line:
        return None
    fields = dialect.fields(line)
    columns = tuple(n for n, field in enumerate(fields) if field)
    if not columns or any(dialect.number(fields[column]) is None for column in columns):
        return None
    return columns, len(fields)


def _some_lines(data: bytes) -> Iterator[str]:
    """Whole lines from a few places of the file, the end among them."""
    if len(data) <= _SPOTS * _SPOT_BYTES:
        yield from data.decode("latin-1").splitlines()
        return
    for spot in range(1, _SPOTS + 1):
        start = (len(data) - _SPOT_BYTES) * spot // _SPOTS
        yield from data[start : start + _SPOT_BYTES].decode("latin-1").splitlines()[1:-1]
