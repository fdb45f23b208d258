"""Read the headings of a capture's columns: names and units, in one line or two."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
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
    unknown_unit: str = ""
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
    """Return name and unit of each column of numbers, from the headings above them.

    Headings are a line of names, which may have units beside them (``CH1 [mV]``), or a line of
    names over a line of units. A column without a heading has an empty name and unit.
    """
    units_below = ("",) * len(dialect.columns)
    for headings in _list_heading_lines(lines, dialect):
        units = tuple(parse_unit(heading.strip("()[] ")) for heading in headings)
        if _are_units_alone(headings, units):
            # Of two lines of units, the one nearer to the numbers holds.
            units_below = units_below if any(units_below) else units
        elif _may_be_names(headings, dialect):
            # Text further up than the names describes the record, not its columns.
            return tuple(
                _build_column(heading, unit)
                for heading, unit in zip(headings, units_below, strict=True)
            )
    return tuple(Column(unit=unit) for unit in units_below)


def _list_heading_lines(lines: Sequence[str], dialect: Dialect) -> Iterator[tuple[str, ...]]:
    """Yield the text above each column, from each line that may be headings, the nearest first."""
    written_lines = [line[:_LONGEST_LINE] for line in lines if line.strip()]
    for line in reversed(written_lines[-_LINES_ABOVE:]):
        headings = _split_headings(line, dialect)
        if headings is not None and not is_setting(line, dialect.delimiter):
            yield headings


def _are_units_alone(headings: Sequence[str], units: Sequence[str]) -> bool:
    """Return whether every heading that is not blank is a known unit; False if all are blank."""
    return any(units) and all(
        unit or not heading for unit, heading in zip(units, headings, strict=True)
    )


def _build_column(heading: str, unit_below: str) -> Column:
    """Return the column of a heading; a unit in the line below replaces its own."""
    name, own_unit, unknown_unit = _split_heading(heading)
    unit = unit_below or own_unit
    return Column(name[:_LONGEST_NAME], unit, "" if unit else unknown_unit)


def count_headings(lines: Sequence[str], dialect: Dialect) -> int:
    """Return the number of fields in the line above the numbers; 0 when it is no heading."""
    fields = dialect.split_fields(lines[-1]) if lines else []
    return len(fields) if any(field[:1].isalpha() for field in fields) else 0


def is_general_word(name: str) -> bool:
    """Return whether a heading names no channel: blank, a unit, or a word for any samples."""
    return not name or bool(parse_unit(name) or _GENERAL_NAME.fullmatch(name))


def _split_headings(line: str, dialect: Dialect) -> tuple[str, ...] | None:
    """Return the heading above each column of numbers; None where a line has too few."""
    if line.strip()[:1] in _REMARK_SIGNS:
        line = line.strip(" \n\r").lstrip(_REMARK_SIGNS)
    count, last = len(dialect.columns), dialect.columns[-1]
    if dialect.delimiter is None:
        # Names may have blanks inside: columns are further apart, or each ends with its unit.
        splits = (re.split(r"\s{2,}|\t", line.strip()), _BETWEEN_WORDS.split(line.strip()))
        fields = next((split for split in splits if len(split) > last), line.split())
    else:
        fields = dialect.split_fields(line)
        # Blank fields at the end of a line count too: a last column may have no heading.
        fields += [""] * (line.count(dialect.delimiter) + 1 - len(fields))
    if len(fields) > last:
        return tuple(fields[column] for column in dialect.columns)
    if fields and not fields[-1]:
        fields = fields[:-1]
    # Rows may begin with a number that has no heading.
    are_all_columns = dialect.columns == tuple(range(count))
    if len(fields) == count - 1 and are_all_columns and count > 1:
        return ("", *fields)
    return None


def _may_be_names(cells: Sequence[str], dialect: Dialect) -> bool:
    """Return whether cells are names; a channel may be called by a number beside a named axis."""
    first, *others = cells
    if any(dialect.parse_number(cell) is not None for cell in cells):
        axis = Column(_split_heading(first)[0])
        starts_with_axis = axis.is_time or axis.is_axis or axis.is_count
        are_numbers = all(dialect.parse_number(cell) is not None for cell in others)
        return starts_with_axis and are_numbers and all(cell.isdigit() for cell in others)
    # Text that begins like a number is a date, a time or a value, and no name.
    return any(cells) and not any(cell[:1].isdigit() or cell[:1] in "+-." for cell in cells if cell)


def _split_heading(cell: str) -> tuple[str, str, str]:
    """Return name, unit and unknown unit of ``Time (ms)``, ``CH1 [mV]`` or ``time_us``.

    A heading that is a unit and nothing else is its own name; texts that it lacks are empty.
    """
    cell = cell.strip().lstrip("#").strip()
    unknown_unit = ""
    for pattern in (_IN_BRACKETS, _LAST_WORD):
        match = pattern.match(cell)
        unit = parse_unit(match["unit"]) if match else ""
        # The A of "Channel A" is a name; in brackets it is the unit of a current.
        if match and unit and (pattern is _IN_BRACKETS or unit in {**SECONDS, **VOLTS}):
            return match["name"].strip(), unit, ""
        if match and pattern is _IN_BRACKETS and may_be_a_unit(match["unit"]):
            unknown_unit = match["unit"]
    if unknown_unit:
        return cell, "", unknown_unit
    return cell, parse_unit(cell), ""
