"""Readings of many pins in one text: a table with a header, or one line for each pin.

Either columns named ``pin``, ``dc``, ``vpp``, ``freq``, ``ripple``, ``ohms``, ``seen``,
``condition``, separated by commas, semicolons or tabs, or lines as written on paper::

    13: 3.1 V, 0.4 Vpp, 15.1 kHz
    22: 4.7 kΩ, unstable
    C418: leaky
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from ...loaders.errors import Fault, InvalidFileError
from ...schema.reading import BadReading
from .reading_syntax import KEYS, PointReading, Taken, read_keyed, read_line

_COLUMNS: Final = ("pin", "dc", "vpp", "freq", "ripple", "ohms", "seen", "condition")
_TABLE_HEADER: Final = re.compile(r"\s*\"?pin\"?\s*[,;\t]", re.IGNORECASE)
MOST_BYTES: Final = 1_000_000


class ReadingsError(InvalidFileError):
    """The errors of a readings file, each with its line."""


def read_table(data: bytes, name: str, spaced_names: Sequence[str] = ()) -> list[Taken]:
    """Return the readings in the bytes of a file, which errors call ``name``.

    ``spaced_names`` as in ``reading_syntax.read_line``. Raises ReadingsError with every error of
    the text.
    """
    lines = _decode_text(data, name).splitlines()
    numbered_lines = [(number, line) for number, line in enumerate(lines, 1) if _has_content(line)]
    if not numbered_lines:
        expected = "a header such as pin,dc,vpp or lines such as 13: 3.1 V"
        raise ReadingsError((Fault(name, 1, 1, "no readings", expected),))
    errors: list[Fault] = []
    _, first_line = numbered_lines[0]
    readings = list(
        _read_columns(numbered_lines, name, errors)
        if _TABLE_HEADER.match(first_line)
        else _read_lines(numbered_lines, name, errors, spaced_names)
    )
    if errors:
        raise ReadingsError(tuple(errors))
    return readings


def _decode_text(data: bytes, name: str) -> str:
    """Return the text of a file; raises ReadingsError above 1 MB, and for bytes not UTF-8."""
    if len(data) > MOST_BYTES:
        fault = Fault(name, 1, 1, "more than 1 MB", "a short table of readings")
        raise ReadingsError((fault,))
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as refused:
        line = data[: refused.start].count(b"\n") + 1
        fault = Fault(name, line, 1, "bytes that are not UTF-8", "text saved as UTF-8")
        raise ReadingsError((fault,)) from None


def _has_content(line: str) -> bool:
    """Return whether a line holds anything but separators, and is no comment."""
    return bool(line.strip(" \t,;")) and not line.lstrip().startswith("#")


def _read_columns(lines: list[tuple[int, str]], name: str, faults: list[Fault]) -> Iterator[Taken]:
    """Yield the reading of each line below a header; errors are appended to ``faults``."""
    header_number, header = lines[0]
    # A comma may be a decimal one where tabs or semicolons part the columns.
    delimiter = next(sign for sign in ("\t", ";", ",") if sign in header)
    columns = [cell.strip().lower() for cell in next(csv.reader([header], delimiter=delimiter))]
    unknown_columns = [column for column in columns if column not in _COLUMNS]
    if unknown_columns:
        problem = f"the column {unknown_columns[0]!r}"
        expected = f"columns among {', '.join(_COLUMNS)}"
        faults.append(Fault(name, header_number, 1, problem, expected))
        return
    for number, line in lines[1:]:
        cells = next(csv.reader(io.StringIO(line), delimiter=delimiter))
        if len(cells) > len(columns):
            problem = f"{len(cells)} cells"
            faults.append(Fault(name, number, 1, problem, f"{len(columns)}, as in the header"))
            continue
        cell_of = dict(zip(columns, (cell.strip() for cell in cells), strict=False))
        try:
            yield _read_cells(cell_of)
        except BadReading as refused:
            faults.append(Fault(name, number, 1, *split_refusal(refused)))


def _read_cells(cell_of: dict[str, str]) -> PointReading:
    """Return the reading in the cells of one line, by column. Raises BadReading."""
    pin = cell_of.get("pin")
    if not pin:
        raise BadReading("no pin: expected a pin number or symbol in each line")
    point = read_keyed(pin, [pair for pair in cell_of.items() if pair[0] in KEYS])
    if point == PointReading(pin):
        raise BadReading(f"no figure for pin {pin}: expected at least one")
    return replace(point, condition=cell_of.get("condition") or None)


def _read_lines(
    lines: list[tuple[int, str]], name: str, faults: list[Fault], spaced_names: Sequence[str]
) -> Iterator[Taken]:
    """Yield the reading of each line such as ``13: 3.1 V``; errors are appended to ``faults``."""
    for number, line in lines:
        try:
            yield read_line(line, spaced_names)
        except BadReading as refused:
            faults.append(Fault(name, number, 1, *split_refusal(refused)))


def split_refusal(refused: Exception) -> tuple[str, str]:
    """Return the text found and the text expected in an error about a reading."""
    found_text, _, expected = str(refused).partition(": expected ")
    return found_text, expected
