"""What the words above a capture's numbers say: sample interval, units, names of the columns."""

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
_LONGEST_LINE: Final = 500  # what follows is no heading, and would only keep the search busy

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
    """What the header says of one column."""

    name: str = ""
    unit: str = ""
    """s, ms, us, ns, ps or v, mv, uv, kv; nothing when not said."""

    @property
    def is_time(self) -> bool:
        """Whether it is said to be time."""
        return self.unit in _TIME_UNITS or bool(_TIME_NAME.fullmatch(self.name))

    @property
    def is_volts(self) -> bool:
        """Whether it is said to be volts."""
        return self.unit in _VOLT_UNITS

    @property
    def is_count(self) -> bool:
        """Whether it is said to count the samples."""
        return not self.unit and bool(_COUNT_NAME.fullmatch(self.name))

    @property
    def seconds(self) -> float:
        """Seconds of one of its units; 1 when not said."""
        return _TIME_UNITS.get(self.unit, 1.0)

    @property
    def volts(self) -> float:
        """Volts of one of its units; 1 when not said."""
        return _VOLT_UNITS.get(self.unit, 1.0)


@dataclass(frozen=True)
class Header:
    """What all lines above the numbers say together."""

    columns: tuple[Column, ...]
    interval_s: float | None


def read_header(lines: Sequence[str], dialect: Dialect) -> Header:
    """Read the lines above the numbers, and those that have settings beside them."""
    names, units = [""] * len(dialect.columns), [""] * len(dialect.columns)
    lines = [line[:_LONGEST_LINE] for line in lines]
    for line in lines:
        fields = dialect.fields(line)
        if dialect.delimiter is None:
            fields = [field for field in re.split(r"\s{2,}|\t", line.strip()) if field]
            if len(fields) != dialect.width:
                fields = line.split()
        is_setting = ":" in line or "=" in line or _INTERVAL.search(line) or _RATE.search(line)
        if len(fields) == dialect.width and not is_setting and not dialect.holds_numbers(line):
            _name(names, units, [fields[column] for column in dialect.columns])
    columns = tuple(Column(*both) for both in zip(names, units, strict=True))
    stated = (_interval_s(line, dialect.comma) for line in lines)
    return Header(columns, next((interval_s for interval_s in stated if interval_s), None))


def _name(names: list[str], units: list[str], cells: list[str]) -> None:
    """Take over what a line of names, or of units, says; figures among them make it neither."""
    if any(not cell or cell[0].isdigit() or cell[0] in "+-." for cell in cells):
        return
    bare = [_unit(cell.strip("()[] ")) for cell in cells]
    if all(bare):
        units[:] = bare
        return
    for n, cell in enumerate(cells):
        name, unit = _name_and_unit(cell)
        names[n], units[n] = name[:_LONGEST_NAME], unit


def _name_and_unit(cell: str) -> tuple[str, str]:
    """A heading such as ``Time (ms)``, ``CH1 [mV]``, ``time_us`` or ``Volts``."""
    for pattern in (_IN_BRACKETS, _LAST_WORD):
        match = pattern.match(cell.strip())
        if match and (unit := _unit(match["unit"])):
            return match["name"].strip(), unit
    name = cell.strip().lstrip("#").strip()
    return name, _unit(name)


def _unit(word: str) -> str:
    """The plain spelling of a unit of time or voltage; nothing for anything else."""
    word = word.strip().casefold().replace("µ", "u").replace("μ", "u")
    word = _SPELT_OUT.get(word, word)
    return word if word in _TIME_UNITS or word in _VOLT_UNITS else ""


def _interval_s(line: str, comma: bool) -> float | None:
    """The sample interval that a line states, as such or as a sample rate."""
    line = line.replace("_", " ")
    if match := _INTERVAL.search(line):
        unit = _unit(match["unit"] or match["after"] or "s")
        scale = _TIME_UNITS.get(unit)
        return _figure(match["value"], comma) * scale if scale else None
    if match := _RATE.search(line):
        unit = (match["unit"] or match["after"] or "hz").casefold()
        prefix = re.fullmatch(r"([kmg]?)(?:hz|sa?/s|sps)", unit)
        rate_hz = _figure(match["value"], comma) * (_RATE_UNITS[prefix[1]] if prefix else 0.0)
        return 1 / rate_hz if rate_hz > 0 else None
    return None


def _figure(value: str, comma: bool) -> float:
    return float(value.replace(",", ".") if comma else value.split(",")[0])
