"""Detect how a capture writes its numbers: delimiter, decimal sign, columns.

No standard covers the export of an oscilloscope; RFC 4180 describes comma-separated values in
general. The majority of lines decides, so that headers and a damaged line do not.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

_SPOTS: Final = 8  # places of a large file that are sampled
_SPOT_BYTES: Final = 2000
_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_LOGIC: Final = re.compile(r"0x[0-9a-fA-F]+|[0-9a-fA-F]+h")
"""States of several logic lines together, of which none is a voltage."""
_OUT_OF_RANGE: Final = re.compile(
    r"[+-]?(?:∞|inf(?:inity)?|nan|-{2,}|\*+|over(?:flow|range)?|ol)", re.I
)


@dataclass(frozen=True)
class Dialect:
    """The notation of a capture's lines of numbers."""

    delimiter: str | None
    """The sign between fields; None for any run of blanks."""
    comma: bool
    """Whether the decimal sign is a comma."""
    columns: tuple[int, ...] = ()
    """Indices of the fields that hold numbers, from 0."""

    def split_fields(self, line: str) -> list[str]:
        """Return the fields of a line, without quotes and without empty ones at the end."""
        if self.delimiter is not None and '"' in line:
            fields = next(csv.reader([line.strip()], delimiter=self.delimiter), [""])
        else:
            fields = line.split(self.delimiter)
        fields = [field.strip().strip('"').strip() for field in fields]
        while len(fields) > 1 and not fields[-1]:
            fields.pop()
        return fields

    def parse_number(self, field: str) -> float | None:
        """Return the number that a whole field spells, or None."""
        if self.comma:
            field = field.replace(",", ".")
        return float(field) if _NUMBER.fullmatch(field) else None

    def holds_numbers(self, line: str, *, beside: bool = False) -> bool:
        """Return whether a line has a number in each of the columns, and nothing else.

        ``beside``: other fields may hold settings.
        """
        fields = self.split_fields(line)
        if len(fields) <= self.columns[-1]:
            return False
        if any(self.parse_number(fields[column]) is None for column in self.columns):
            return False
        others = (field for n, field in enumerate(fields) if n not in self.columns)
        return beside or all(not field or _LOGIC.fullmatch(field) for field in others)

    def is_out_of_range(self, line: str) -> bool:
        """Return whether a field spells a sample beyond the instrument's range."""
        return any(_OUT_OF_RANGE.fullmatch(field) for field in self.split_fields(line))


_CANDIDATES: Final = tuple(
    Dialect(delimiter, comma)
    for delimiter in (";", "\t", ",", None)
    for comma in (False, True)
    if not (delimiter == "," and comma)
)


def decode_line(line: bytes) -> str:
    """Return a line of text as UTF-8, with a mark for each byte that is none."""
    return line.decode(errors="replace")


def detect_dialect(data: bytes) -> Dialect | None:
    """Return the dialect in which most lines are numbers; None when no line is."""
    lines = [line for line in _sample_lines(data) if line.strip()]
    best, most_lines = None, 0
    for candidate in _CANDIDATES:
        shapes = Counter(shape for line in lines if (shape := _describe_shape(candidate, line)))
        if shapes and (commonest := shapes.most_common(1)[0])[1] > most_lines:
            columns, most_lines = commonest
            best = Dialect(candidate.delimiter, candidate.comma, columns)
    return best


def _describe_shape(dialect: Dialect, line: str) -> tuple[int, ...] | None:
    """Return the indices of the numeric fields.

    None when the line lacks the dialect's signs, or has a field that is neither number nor empty.
    """
    if dialect.delimiter is not None and dialect.delimiter not in line:
        return None
    if dialect.comma and "," not in line:
        return None
    fields = dialect.split_fields(line)
    columns = tuple(n for n, field in enumerate(fields) if field and not _LOGIC.fullmatch(field))
    if not columns or any(dialect.parse_number(fields[column]) is None for column in columns):
        return None
    return columns


def _sample_lines(data: bytes) -> Iterator[str]:
    """Yield whole lines from a few places of the file, its end included."""
    if len(data) <= _SPOTS * _SPOT_BYTES:
        yield from data.decode("latin-1").splitlines()
        return
    for spot in range(1, _SPOTS + 1):
        start = (len(data) - _SPOT_BYTES) * spot // _SPOTS
        yield from data[start : start + _SPOT_BYTES].decode("latin-1").splitlines()[1:-1]
