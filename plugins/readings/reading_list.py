"""Readings of many pins in one text: a table with a header, or one line for each pin.

Either columns named ``pin``, ``dc``, ``vpp``, ``freq``, ``ohms``, ``seen``, ``condition``,
separated by commas, semicolons or tabs, or lines as written on paper::

    13: 3.1 V, 0.4 Vpp, 15.1 kHz
    22: 4.7 kΩ, unstable
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from typing import Final

from ...loaders.errors import Fault, InvalidFileError
from ...schema.quantities import QuantityError, parse_quantity
from ...schema.reading import SEEN, BadReading, Reading, read_reading
from .checks import PinReading

_COLUMNS: Final = ("pin", "dc", "vpp", "freq", "ohms", "seen", "condition")
_MOST_BYTES: Final = 1_000_000
# Tried in this order: a bare V is DC, and Vpp is peak to peak.
_BY_UNIT: Final = (("dc", "V"), ("vpp", "Vpp"), ("freq", "Hz"), ("ohms", "Ω"))


class ReadingsError(InvalidFileError):
    """The errors of a readings file, each with its line."""


def read_table(data: bytes, name: str, condition: str | None = None) -> list[PinReading]:
    """Return the readings in the bytes of a file, which errors call ``name``.

    ``condition`` is the state of the set for the lines that give none.

    Raises ReadingsError with every error of the text.
    """
    lines = _decode_text(data, name).splitlines()
    numbered_lines = [(number, line) for number, line in enumerate(lines, 1) if _has_content(line)]
    if not numbered_lines:
        expected = "a header such as pin,dc,vpp or lines such as 13: 3.1 V"
        raise ReadingsError((Fault(name, 1, 1, "no readings", expected),))
    errors: list[Fault] = []
    readings = list(
        _read_columns(numbered_lines, name, errors)
        if re.match(r"\s*\"?pin\"?\s*[,;\t]", numbered_lines[0][1], re.IGNORECASE)
        else _read_lines(numbered_lines, name, errors)
    )
    if errors:
        raise ReadingsError(tuple(errors))
    found = [reading for reading in readings if reading is not None]
    return [each if each.condition else replace(each, condition=condition) for each in found]


def _decode_text(data: bytes, name: str) -> str:
    """Return the text of a file; raises ReadingsError above 1 MB, and for bytes not UTF-8."""
    if len(data) > _MOST_BYTES:
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


def _read_columns(
    lines: list[tuple[int, str]], name: str, faults: list[Fault]
) -> list[PinReading | None]:
    """Return the reading of each line below a header; errors are appended to ``faults``."""
    header = lines[0][1]
    delimiter = next(sign for sign in ("\t", ";", ",") if sign in header)
    columns = [cell.strip().lower() for cell in next(csv.reader([header], delimiter=delimiter))]
    unknown = [cell for cell in columns if cell not in _COLUMNS]
    if unknown:
        expected = f"columns among {', '.join(_COLUMNS)}"
        faults.append(Fault(name, lines[0][0], 1, f"the column {unknown[0]!r}", expected))
        return []
    readings = []
    for number, line in lines[1:]:
        cells = next(csv.reader(io.StringIO(line), delimiter=delimiter))
        figures = dict(zip(columns, (cell.strip() for cell in cells), strict=False))
        if len(cells) > len(columns):
            problem = f"{len(cells)} cells"
            faults.append(Fault(name, number, 1, problem, f"{len(columns)}, as in the header"))
            continue
        readings.append(_build_reading(figures, number, name, faults))
    return readings


def _read_lines(
    lines: list[tuple[int, str]], name: str, faults: list[Fault]
) -> list[PinReading | None]:
    """Return the reading of each line such as ``13: 3.1 V``; errors are appended to ``faults``."""
    readings = []
    for number, line in lines:
        pin, colon, rest = line.partition(":")
        if not colon:
            faults.append(Fault(name, number, 1, line.strip(), "a line such as 13: 3.1 V, 0.4 Vpp"))
            continue
        figures = {"pin": pin.strip()}
        for item in filter(None, (piece.strip() for piece in rest.split(","))):
            key = _classify_item(item)
            if key is None:
                expected = f"a figure with its unit, or one of {', '.join(SEEN)}"
                faults.append(Fault(name, number, 1, item, expected))
            elif key == "seen":
                figures["seen"] = ", ".join(filter(None, (figures.get("seen"), item)))
            else:
                figures[key] = item
        readings.append(_build_reading(figures, number, name, faults))
    return readings


def _classify_item(item: str) -> str | None:
    """Return the column that an item of a line belongs to by its unit, or None."""
    if item.lower() in SEEN:
        return "seen"
    for key, unit in _BY_UNIT:
        try:
            parse_quantity(item, unit)
        except QuantityError:
            continue
        return key
    return None


def _build_reading(
    written: dict[str, str], number: int, name: str, faults: list[Fault]
) -> PinReading | None:
    """Return the reading made from the texts of a line; on an error append it and return None."""
    if not written.get("pin"):
        faults.append(Fault(name, number, 1, "no pin", "a pin number or symbol in each line"))
        return None
    try:
        reading = read_reading(written)
    except BadReading as refused:
        found, _, expected = str(refused).partition(", expected ")
        faults.append(Fault(name, number, 1, found.replace(": found", ""), expected))
        return None
    if reading == Reading():
        faults.append(Fault(name, number, 1, f"no figure for pin {written['pin']}", "at least one"))
        return None
    return PinReading(written["pin"], reading, written.get("condition") or None)
