"""Read the header of a capture: sample interval, units, names of the columns."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from .number_dialect import Dialect

_TIME_UNITS: Final = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "ps": 1e-12}
_VOLT_UNITS: Final = {"v": 1.0, "mv": 1e-3, "uv": 1e-6, "kv": 1e3}
_RATE_UNITS: Final = {"": 1.0, "k": 1e3, "m": 1e6, "g": 1e9}
_SPELT_OUT: Final = {
    **dict.fromkeys(("sec", "second", "seconds"), "s"),
    **dict.fromkeys(("volt", "volts"), "v"),
}
_LONGEST_NAME: Final = 40
_LONGEST_LINE: Final = 500  # longer text is no heading and only slows the search

_UNIT: Final = r"(?P<unit>[a-zµμ]+(?:/s)?)"
_VALUE: Final = r"(?P<value>[+-]?[0-9]+(?:[.,][0-9]+)?(?:e[+-]?[0-9]+)?)"
_GAP: Final = r"[\s:=,;#\"]*"
_SETTING: Final = rf"\b{_GAP}(?:[(\[]{_UNIT}[)\]])?{_GAP}{_VALUE}{_GAP}[(\[]?"
_AFTER: Final = _UNIT.replace("unit", "after")
_INTERVAL: Final = re.compile(
    r"\b(?:sampl(?:e|ing) ?(?:interval|period|time|step)|time ?(?:interval|step|per sample)"
    rf"|interval|delta ?t|dt){_SETTING}(?:{_AFTER})?",
    re.IGNORECASE,
)
_RATE: Final = re.compile(
    rf"\b(?:sampl(?:e|ing) ?(?:rate|frequency)|samples per second){_SETTING}(?:{_AFTER})?",
    re.IGNORECASE,
)
_TIME_NAME: Final = re.compile(r"time|t|seconds?|zeit|temps", re.IGNORECASE)
_COUNT_NAME: Final = re.compile(
    r"(?:sample|point|index|number|no|nr|n|#)(?: (?:number|no))?\.?", re.IGNORECASE
)
_IN_BRACKETS: Final = re.compile(r"^(?P<name>.*?)[\s_,/]*(?:\bin\b)?\s*[(\[](?P<unit>.*?)[)\]]$")
_LAST_WORD: Final = re.compile(r"^(?P<name>.*?)[\s_,/]+(?:in\s+)?(?P<unit>[^\s_,/]+)$")


@dataclass(frozen=True)
class Column:
    """Name and unit of one column, as its heading gives them."""

    name: str = ""
    unit: str = ""
    """s, ms, us, ns, ps or v, mv, uv, kv; empty when the heading names none."""

    @property
    def is_time(self) -> bool:
        """Whether the heading names time."""
        return self.unit in _TIME_UNITS or bool(_TIME_NAME.fullmatch(self.name))

    @property
    def is_volts(self) -> bool:
        """Whether the heading names volts."""
        return self.unit in _VOLT_UNITS

    @property
    def is_count(self) -> bool:
        """Whether the heading names a sample count."""
        return not self.unit and bool(_COUNT_NAME.fullmatch(self.name))

    @property
    def seconds(self) -> float:
        """Seconds per unit; 1 when the heading names no unit."""
        return _TIME_UNITS.get(self.unit, 1.0)

    @property
    def volts(self) -> float:
        """Volts per unit; 1 when the heading names no unit."""
        return _VOLT_UNITS.get(self.unit, 1.0)


@dataclass(frozen=True)
class Header:
    """The columns and the sample interval of a capture, as its header states them."""

    columns: tuple[Column, ...]
    interval_s: float | None


def read_header(lines: Sequence[str], dialect: Dialect) -> Header:
    """Return the header of the lines above the numbers, and of those with settings beside them."""
    names, units = [""] * len(dialect.columns), [""] * len(dialect.columns)
    lines = [line[:_LONGEST_LINE] for line in lines]
    for line in lines:
        fields = dialect.split_fields(line)
        if dialect.delimiter is None:
            fields = [field for field in re.split(r"\s{2,}|\t", line.strip()) if field]
            if len(fields) != dialect.width:
                fields = line.split()
        is_setting = ":" in line or "=" in line or _INTERVAL.search(line) or _RATE.search(line)
        if len(fields) == dialect.width and not is_setting and not dialect.holds_numbers(line):
            _take_headings(names, units, [fields[column] for column in dialect.columns])
    columns = tuple(Column(*both) for both in zip(names, units, strict=True))
    stated = (_parse_interval_s(line, dialect.comma) for line in lines)
    return Header(columns, next((interval_s for interval_s in stated if interval_s), None))


def _take_headings(names: list[str], units: list[str], cells: list[str]) -> None:
    """Fill names and units from a line of headings or of units; a line with a figure is neither."""
    if any(not cell or cell[0].isdigit() or cell[0] in "+-." for cell in cells):
        return
    bare = [_parse_unit(cell.strip("()[] ")) for cell in cells]
    if all(bare):
        units[:] = bare
        return
    for n, cell in enumerate(cells):
        name, unit = _name_and_unit(cell)
        names[n], units[n] = name[:_LONGEST_NAME], unit


def _name_and_unit(cell: str) -> tuple[str, str]:
    """Return name and unit of a heading such as ``Time (ms)``, ``CH1 [mV]`` or ``time_us``."""
    for pattern in (_IN_BRACKETS, _LAST_WORD):
        match = pattern.match(cell.strip())
        if match and (unit := _parse_unit(match["unit"])):
            return match["name"].strip(), unit
    name = cell.strip().lstrip("#").strip()
    return name, _parse_unit(name)


def _parse_unit(word: str) -> str:
    """Return the plain spelling of a unit of time or voltage; empty for anything else."""
    word = word.strip().casefold().replace("µ", "u").replace("μ", "u")
    word = _SPELT_OUT.get(word, word)
    return word if word in _TIME_UNITS or word in _VOLT_UNITS else ""


def _parse_interval_s(line: str, comma: bool) -> float | None:
    """Return the sample interval in seconds that a line states, directly or as a sample rate."""
    line = line.replace("_", " ")
    if match := _INTERVAL.search(line):
        unit = _parse_unit(match["unit"] or match["after"] or "s")
        scale = _TIME_UNITS.get(unit)
        return _parse_figure(match["value"], comma) * scale if scale else None
    if match := _RATE.search(line):
        unit = (match["unit"] or match["after"] or "hz").casefold()
        prefix = re.fullmatch(r"([kmg]?)(?:hz|sa?/s|sps)", unit)
        rate_hz = _parse_figure(match["value"], comma) * (_RATE_UNITS[prefix[1]] if prefix else 0.0)
        return 1 / rate_hz if rate_hz > 0 else None
    return None


def _parse_figure(value: str, comma: bool) -> float:
    return float(value.replace(",", ".") if comma else value.split(",")[0])
