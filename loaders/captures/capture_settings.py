"""Read the settings that a capture states above, beside or below its samples."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from .capture_units import HERTZ, SECONDS, STEPS, VOLTS, parse_unit

_LONGEST_LINE: Final = 2000
_SAME: Final = 1e-3  # relative: intervals stated with few figures are the same

_UNIT: Final = r"(?P<unit>[a-zµμ]+(?:/s)?)"
_VALUE: Final = (
    r"(?P<value>[+-]?(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)(?:e[+-]?[0-9]+)?)(?![-/:.0-9])"
)
_GAP: Final = r"[\s:=,;#\"]*"
_REST: Final = (
    rf"(?![a-z0-9]){_GAP}(?:[(\[]{_UNIT}[)\]])?{_GAP}{_VALUE}{_GAP}[(\[]?"
    + rf"(?:{_UNIT})?".replace("unit", "after")
)
_LABELS: Final = {
    "interval": r"sampl(?:e|ing) ?(?:interval|period|time|step)|time ?(?:interval|step|per sample)"
    r"|(?:x ?|horizontal |time )?increment|x ?incr?|interval|delta ?t|dt",
    "rate": r"sampl(?:e|ing) ?(?:rate|frequency)|samples per second|^[#\s]*rate",
    "start": r"(?:x ?)?start(?: ?time)?|first (?:point|sample|time)|x ?zero|x ?orig(?:in)?"
    r"|time ?offset",
    "points": r"record ?length|memory ?length|points|nr ?pt|record",
    "volts_per_count": r"volts? per (?:count|step|lsb)|y ?mult|y ?incr?(?:ement)?",
    "zero_count": r"zero ?(?:count|level|code)|y ?off|y ?ref(?:erence)?",
    "zero_v": r"y ?zero|y ?orig(?:in)?",
    "volts_per_div": r"vertical scale|volts? ?(?:/|per) ?div(?:ision)?|v/div",
    "counts_per_div": r"(?:counts?|points?|steps?) per div(?:ision)?",
    "vertical_offset": r"vertical (?:offset|position)",
}
_PATTERNS: Final = {
    name: re.compile(rf"(?<![a-z])(?:{label}){_REST}", re.IGNORECASE)
    for name, label in _LABELS.items()
}
_NAMES: Final = {
    name: re.compile(rf"[#%\s]*(?:{label})\W*", re.IGNORECASE) for name, label in _LABELS.items()
}
_WORD: Final = r"\s*[:=,;\t\"][\s:=,;\t\"]*(?P<word>[^\s:=,;\"]+(?:[,;\t]\"?[^\s:=,;\"]+\"?)*)"
"""One word, or one for each channel."""
_X_UNIT: Final = re.compile(rf"(?<![a-z])(?:horizontal|x|time) ?units?{_WORD}", re.IGNORECASE)
_Y_UNIT: Final = re.compile(rf"(?<![a-z])(?:vertical|y) ?units?{_WORD}", re.IGNORECASE)
_FORMAT: Final = re.compile(rf"(?<![a-z])(?:data )?(?:format|encoding){_WORD}", re.IGNORECASE)
_SOURCE: Final = re.compile(rf"(?<![a-z])(?:source|wfi ?d|trace name){_WORD}", re.IGNORECASE)
_COUNTS: Final = re.compile(r"counts?|raw|adc|byte|integer|int(?:8|16)", re.IGNORECASE)


@dataclass(frozen=True)
class Figure:
    """A figure as a setting states it, one for each place where it is stated."""

    value: float
    unit: str
    """As written, in lower case; empty where none is given."""


@dataclass(frozen=True)
class Settings:
    """The settings of a capture that change the meaning of its numbers."""

    figures: dict[str, tuple[Figure, ...]]
    x_unit: str = ""
    y_units: tuple[str, ...] = ()
    """Units of the channels, one for each or one for all."""
    holds_counts: bool = False
    """Whether the samples are said to be a converter's own numbers."""
    sources: tuple[str, ...] = ()
    """Names of the channels."""

    @property
    def intervals_s(self) -> tuple[float, ...]:
        """Sample intervals in seconds, as stated; different ones alone."""
        values: list[float] = []
        for figure in self.figures.get("interval", ()):
            scale = SECONDS.get(parse_unit(figure.unit or "s"))
            if scale and figure.value > 0:
                values.append(figure.value * scale)
        return _keep_different(values)

    @property
    def rate_intervals_s(self) -> tuple[float, ...]:
        """Sample intervals in seconds that the stated sample rates give."""
        values: list[float] = []
        for figure in self.figures.get("rate", ()):
            prefix = re.fullmatch(r"([kmg]?)(?:hz|sa?/s|sps)", figure.unit or "hz")
            if prefix and figure.value > 0:
                values.append(1 / (figure.value * HERTZ[prefix[1]]))
        return _keep_different(values)

    @property
    def start_s(self) -> float | None:
        """Time of the first sample in seconds, where it is stated."""
        for figure in self.figures.get("start", ()):
            if (scale := SECONDS.get(parse_unit(figure.unit or "s"))) is not None:
                return figure.value * scale
        return None

    def find_y_unit(self, index: int, count: int) -> str:
        """Return the unit stated for one of ``count`` channels; empty where none is."""
        if len(self.y_units) == count:
            return self.y_units[index]
        return self.y_units[0] if len(set(self.y_units)) == 1 else ""

    def find_figures(self, name: str) -> tuple[float, ...]:
        """Return the figures of a setting, in volts where they have a unit of volts."""
        return tuple(
            figure.value * VOLTS.get(parse_unit(figure.unit), 1.0)
            for figure in self.figures.get(name, ())
        )


def _keep_different(values: Sequence[float]) -> tuple[float, ...]:
    """Return the values without those that only repeat an earlier one."""
    different: list[float] = []
    for value in values:
        if all(abs(value - earlier) > _SAME * earlier for earlier in different):
            different.append(value)
    return tuple(different)


def is_setting(line: str, delimiter: str | None) -> bool:
    """Return whether a line above the numbers states a setting, and names no columns."""
    # A colon or an equals sign is between a label and its value, never between headings.
    if ":" in line or "=" in line:
        return True
    plain_line = line.replace("_", " ")
    # A line that begins with the word source may name the channels over their columns.
    if any(setting.match(plain_line) for setting in (_X_UNIT, _Y_UNIT, _FORMAT)):
        return True
    cells = [cell.strip(' \t\r\n"') for cell in plain_line.split(delimiter)]
    # Labels alone have their figures in the line below.
    if all(_find_label(cell) is not None for cell in cells if cell):
        return True
    has_figure = any(re.match(_VALUE, cell, re.IGNORECASE) for cell in cells)
    return has_figure and any(label.search(" ".join(cells)) for label in _PATTERNS.values())


def _find_label(cell: str) -> str | None:
    """Return the setting of which a cell is the label, or None."""
    return next((name for name, known in _NAMES.items() if cell and known.fullmatch(cell)), None)


def read_settings(lines: Sequence[str], delimiter: str | None, *, comma: bool) -> Settings:
    """Return the settings that the lines around the numbers state.

    A setting that no line states has no figures, an empty unit or no names. ``comma`` tells that
    figures have a decimal comma.
    """
    short_lines = [line[:_LONGEST_LINE] for line in lines]
    # Labels may be written with underscores in place of blanks: time_per_sample.
    plain_lines = [line.replace("_", " ") for line in short_lines]
    x_units = _list_units(plain_lines, _X_UNIT)
    y_units = _list_units(plain_lines, _Y_UNIT)
    formats = _list_words(plain_lines, _FORMAT)
    return Settings(
        figures=_collect_figures(short_lines, delimiter, comma),
        x_unit=x_units[0] if x_units else "",
        y_units=y_units,
        holds_counts=STEPS in y_units or any(_COUNTS.fullmatch(word) for word in formats),
        sources=tuple(dict.fromkeys(_list_words(plain_lines, _SOURCE))),
    )


def _list_words(lines: Sequence[str], setting: re.Pattern[str]) -> list[str]:
    """Return the words that a setting has in the lines, those of several channels apart."""
    words: list[str] = []
    for line in lines:
        for match in setting.finditer(line):
            words.extend(word for word in re.split(r"[,;\t\"]+", match["word"]) if word)
    return words


def _list_units(lines: Sequence[str], setting: re.Pattern[str]) -> tuple[str, ...]:
    """Return the plain spelling of the units that a setting has; unknown ones are left out."""
    units = [parse_unit(word) for word in _list_words(lines, setting)]
    return tuple(unit for unit in units if unit)


def _collect_figures(
    lines: Sequence[str], delimiter: str | None, comma: bool
) -> dict[str, tuple[Figure, ...]]:
    """Return the figures of every known setting, in the order of the lines; empty where none is."""
    figures: dict[str, list[Figure]] = {name: [] for name in _LABELS}
    cells_above: list[str] = []
    for line in lines:
        for name, figure in _find_figures(line.replace("_", " "), comma):
            figures[name].append(figure)
        cells = [cell.strip().strip('"') for cell in line.split(delimiter)]
        # Some instruments write a line of labels, and their figures in the line below.
        for name, figure in _find_figures_below(cells_above, cells, comma):
            figures[name].append(figure)
        cells_above = cells
    return {name: tuple(stated) for name, stated in figures.items()}


def _find_figures(line: str, comma: bool) -> Iterator[tuple[str, Figure]]:
    """Yield each setting in a line, by name, with the figure that follows its label."""
    for name, pattern in _PATTERNS.items():
        for match in pattern.finditer(line):
            # The unit is between label and figure, or after the figure.
            unit = match["unit"] or match["after"] or ""
            yield name, Figure(_parse_figure(match["value"], comma), unit.casefold())


def _find_figures_below(
    labels: Sequence[str], cells: Sequence[str], comma: bool
) -> Iterator[tuple[str, Figure]]:
    """Yield each setting whose label is in one line and whose figure is below it in the next."""
    for label, cell in zip(labels, cells, strict=False):
        name = _find_label(label.replace("_", " "))
        if name is not None and re.fullmatch(_VALUE, cell, re.IGNORECASE):
            yield name, Figure(_parse_figure(cell, comma), "")


def _parse_figure(value: str, comma: bool) -> float:
    """Return a figure; without decimal commas, a comma ends it."""
    return float(value.replace(",", ".") if comma else value.split(",")[0])
