"""Detect how a capture writes its numbers: encoding, delimiter, decimal sign, columns.

No standard covers the export of an oscilloscope; RFC 4180 describes comma-separated values in
general. The majority of lines decides, so that headers and a damaged line do not.
"""

from __future__ import annotations

import codecs
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

_SPOTS: Final = 8  # places of a large file that are sampled
_SPOT_BYTES: Final = 2000
_BOM_BYTES: Final = 64  # enough to see whether every other byte is zero
_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_WIDE_BOMS: Final = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


@dataclass(frozen=True)
class Dialect:
    """The notation of a capture's lines of numbers."""

    delimiter: str | None
    """The sign between fields; None for any run of blanks."""
    comma: bool
    """Whether the decimal sign is a comma."""
    columns: tuple[int, ...] = ()
    """Indices of the fields that hold numbers, from 0."""
    width: int = 0
    """Number of fields in a line, not counting a trailing empty one."""

    def split_fields(self, line: str) -> list[str]:
        """Return the fields of a line, without quotes and without a trailing empty field."""
        fields = [field.strip().strip('"').strip() for field in line.split(self.delimiter)]
        return fields[:-1] if len(fields) > 1 and not fields[-1] else fields

    def parse_number(self, field: str) -> float | None:
        """Return the number that a whole field spells, or None."""
        if self.comma:
            field = field.replace(",", ".")
        return float(field) if _NUMBER.fullmatch(field) else None

    def holds_numbers(self, line: str) -> bool:
        """Return whether a line has exactly the fields, and a number in each of the columns."""
        fields = self.split_fields(line)
        return len(fields) == self.width and all(
            self.parse_number(fields[column]) is not None for column in self.columns
        )


_CANDIDATES: Final = tuple(
    Dialect(delimiter, comma)
    for delimiter in (";", "\t", ",", None)
    for comma in (False, True)
    if not (delimiter == "," and comma)
)


def convert_to_utf8(data: bytes) -> bytes:
    """Return the text as UTF-8 without a byte order mark; CP1252 is left as it is.

    Lines end in LF or CR LF. Raises UnicodeDecodeError for broken UTF-16.
    """
    # UTF-16 without a mark: the high bytes of plain text are zero, first or second of each pair.
    zero_half = next(
        (half for half in (0, 1) if len(data) > 3 and not any(data[half:_BOM_BYTES:2])), None
    )
    if data.startswith(_WIDE_BOMS):
        data = data.decode("utf-16").encode()
    elif zero_half is not None:
        data = data.decode("utf-16-be" if zero_half == 0 else "utf-16-le").encode()
    data = data.removeprefix(codecs.BOM_UTF8)
    return data.replace(b"\r", b"\n") if b"\n" not in data else data


def decode_line(line: bytes) -> str:
    """Return a header line decoded as UTF-8, else as CP1252."""
    try:
        return line.decode()
    except UnicodeDecodeError:
        return line.decode("cp1252", errors="replace")


def detect_dialect(data: bytes) -> Dialect | None:
    """Return the dialect in which most lines are numbers; None when no line is."""
    lines = [line for line in _sample_lines(data) if line.strip()]
    best, most_lines = None, 0
    for candidate in _CANDIDATES:
        shapes = Counter(shape for line in lines if (shape := _describe_shape(candidate, line)))
        if shapes and (commonest := shapes.most_common(1)[0])[1] > most_lines:
            (columns, width), most_lines = commonest
            best = Dialect(candidate.delimiter, candidate.comma, columns, width)
    return best


def _describe_shape(dialect: Dialect, line: str) -> tuple[tuple[int, ...], int] | None:
    """Return the indices of the numeric fields and the number of fields.

    None when the line lacks the dialect's signs, or has a field that is neither number nor empty.
    """
    if dialect.delimiter is not None and dialect.delimiter not in line:
        return None
    if dialect.comma and "," not in line:
        return None
    fields = dialect.split_fields(line)
    columns = tuple(n for n, field in enumerate(fields) if field)
    if not columns or any(dialect.parse_number(fields[column]) is None for column in columns):
        return None
    return columns, len(fields)


def _sample_lines(data: bytes) -> Iterator[str]:
    """Yield whole lines from a few places of the file, its end included."""
    if len(data) <= _SPOTS * _SPOT_BYTES:
        yield from data.decode("latin-1").splitlines()
        return
    for spot in range(1, _SPOTS + 1):
        start = (len(data) - _SPOT_BYTES) * spot // _SPOTS
        yield from data[start : start + _SPOT_BYTES].decode("latin-1").splitlines()[1:-1]
