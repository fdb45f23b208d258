"""Read the headings of a capture's columns: names and units, in one line or two."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from .capture_settings import is_setting
from .capture_units import COUNT, DIVISIONS, SECONDS, STEPS, VOLTS, may_be_a_unit, parse_unit
from .number_dialect import Dialect

_LONGEST_NAME: Final = 40
_LONGEST_LINE: Final = 2000  # longer text is no heading and only slows the search
_LINES_ABOVE: Final = 3  # names and units are at most so many lines above the numbers
_REMARK_SIGNS: Final = "#%;!'"

_TIME_NAME: Final = re.compile(
    r"(?:time|t|seconds?|zeit|temps|tiempo|tempo|время|时间|時間)[\s_]?[0-9]*(?: ?axis)?",
    re.IGNORECASE,
)
_AXIS_NAME: Final = re.compile(r"x|x[ -]?axis", re.IGNORECASE)
_COUNT_NAME: Final = re.compile(
    r"(?:sample|point|index|number|no|nr|n|#)(?: (?:number|no))?\.?", re.IGNORECASE
)
_GENERAL_NAME: Final = re.compile(r"(?:waveform ?)?data|curve|values?|voltage", re.IGNORECASE)
_IN_BRACKETS: Final = re.compile(r"^(?P<name>.*?)[\s_,/]*(?:\bin\b)?\s*[(\[](?P<unit>.*?)[)\]]$")
_LAST_WORD: Final = re.compile(r"^(?P<name>.*?)[\s_,/]+(?:in\s+)?(?P<unit>[^\s_,/]+)$")
_BETWEEN_WORDS: Final = re.compile(r"\s+(?![(\[])")


@dataclass(frozen=True)
class Column:
    """Name and unit of one column, as its heading gives them."""

    name: str = ""
    unit: str = ""
    """Plain spelling of the unit; empty when the heading names none."""
    strange: str = ""
    """Text in the place of a unit that looks like one and is not known."""

    @property
    def is_time(self) -> bool:
        """Whether the heading names time."""
        return self.unit in SECONDS or (not self.unit and bool(_TIME_NAME.fullmatch(self.name)))

    @property
    def is_axis(self) -> bool:
        """Whether the heading names the horizontal axis, in seconds or in samples."""
        return not self.unit and bool(_AXIS_NAME.fullmatch(self.name))

    @property
    def is_volts(self) -> bool:
        """Whether the heading names volts, or what becomes volts with a scale."""
        return self.unit in VOLTS or self.unit in (DIVISIONS, STEPS)

    @property
    def is_count(self) -> bool:
        """Whether the heading names a sample count."""
        return self.unit == COUNT or (not self.unit and bool(_COUNT_NAME.fullmatch(self.name)))

    @property
    def is_other(self) -> bool:
        """Whether the heading names a unit of neither time nor volts."""
        return bool(self.unit) and not (self.is_time or self.is_volts or self.is_count)


def read_columns(lines: Sequence[str], dialect: Dialect) -> tuple[Column, ...]:
    """Return the columns as the lines above the numbers name them, the nearest line first."""
    blank = ("",) * len(dialect.columns)
    names, units, strange = blank, blank, blank
    near = [line[:_LONGEST_LINE] for line in lines if line.strip()][-_LINES_ABOVE:]
    for line in reversed(near):
        cells = _split_headings(line, dialect)
        if cells is None or is_setting(line, dialect.delimiter):
            continue
        bare = tuple(parse_unit(cell.strip("()[] ")) for cell in cells)
        if any(bare) and all(unit or not cell for unit, cell in zip(bare, cells, strict=True)):
            units = units if any(units) else bare
        elif _may_be_names(cells, dialect):
            parts = [_split_heading(cell) for cell in cells]
            names = tuple(name[:_LONGEST_NAME] for name, _, _ in parts)
            inner = tuple(unit for _, unit, _ in parts)
            units = tuple(below or own for below, own in zip(units, inner, strict=True))
            strange = tuple(
                "" if unit else odd for unit, (_, _, odd) in zip(units, parts, strict=True)
            )
            break
    return tuple(Column(*three) for three in zip(names, units, strange, strict=True))


def count_headings(lines: Sequence[str], dialect: Dialect) -> int:
    """Return the number of fields in the line above the numbers; 0 when it is no heading."""
    fields = dialect.split_fields(lines[-1]) if lines else []
    return len(fields) if any(field[:1].isalpha() for field in fields) else 0


def is_general_word(name: str) -> bool:
    """Return whether a heading names no channel: blank, a unit, or a word for any samples."""
    return not name or bool(parse_unit(name) or _GENERAL_NAME.fullmatch(name))


def _split_headings(line: str, dialect: Dialect) -> tuple[str, ...] | None:
    """Return the heading above each column of numbers; None where a line has too few."""
    line = line.strip(" \n\r").lstrip(_REMARK_SIGNS) if line.strip()[:1] in _REMARK_SIGNS else line
    count, last = len(dialect.columns), dialect.columns[-1]
    if dialect.delimiter is None:
        # Names may have blanks inside: columns are further apart, or each ends with its unit.
        splits = (re.split(r"\s{2,}|\t", line.strip()), _BETWEEN_WORDS.split(line.strip()))
        fields = next((split for split in splits if len(split) > last), line.split())
    else:
        fields = dialect.split_fields(line)
        fields += [""] * (line.count(dialect.delimiter) + 1 - len(fields))
    if len(fields) > last:
        return tuple(fields[column] for column in dialect.columns)
    fields = [*fields[:-1], *filter(None, fields[-1:])]
    if len(fields) == count - 1 and dialect.columns == tuple(range(count)) and count > 1:
        return ("", *fields)  # rows begin with a number that has no heading
    return None


def _may_be_names(cells: Sequence[str], dialect: Dialect) -> bool:
    """Return whether cells are names; a channel may be called by a number beside a named axis."""
    is_number = [dialect.parse_number(cell) is not None for cell in cells]
    axis = Column(_split_heading(cells[0])[0])
    starts_with_axis = axis.is_time or axis.is_axis or axis.is_count
    if any(is_number):
        return starts_with_axis and all(is_number[1:]) and all(cell.isdigit() for cell in cells[1:])
    return any(cells) and not any(cell[:1].isdigit() or cell[:1] in "+-." for cell in cells if cell)


def _split_heading(cell: str) -> tuple[str, str, str]:
    """Return name, unit and unknown unit of ``Time (ms)``, ``CH1 [mV]`` or ``time_us``."""
    cell = cell.strip().lstrip("#").strip()
    strange = ""
    for pattern in (_IN_BRACKETS, _LAST_WORD):
        match = pattern.match(cell)
        unit = parse_unit(match["unit"]) if match else ""
        # The A of "Channel A" is a name; in brackets it is the unit of a current.
        if match and unit and (pattern is _IN_BRACKETS or unit in {**SECONDS, **VOLTS}):
            return match["name"].strip(), unit, ""
        if match and pattern is _IN_BRACKETS and may_be_a_unit(match["unit"]):
            strange = match["unit"]
    return cell, parse_unit(cell) if not strange else "", strange
