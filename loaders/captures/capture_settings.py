"""Read the settings that a capture states above, beside or below its samples."""

from __future__ import annotations

import re
from collections.abc import Sequence
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
    kept: list[float] = []
    for value in values:
        if all(abs(value - one) > _SAME * one for one in kept):
            kept.append(value)
    return tuple(kept)


def is_setting(line: str, delimiter: str | None) -> bool:
    """Return whether a line above the numbers states a setting, and names no columns."""
    if ":" in line or "=" in line:
        return True
    cells = [cell.strip(' \t\r\n"') for cell in line.replace("_", " ").split(delimiter)]
    # A line that begins with the word source may name the channels over their columns.
    states_word = any(word.match(line.replace("_", " ")) for word in (_X_UNIT, _Y_UNIT, _FORMAT))
    has_figure = any(re.match(_VALUE, cell, re.IGNORECASE) for cell in cells)
    states_figure = has_figure and any(p.search(" ".join(cells)) for p in _PATTERNS.values())
    only_labels = all(_find_label(cell) is not None for cell in cells if cell)
    return states_word or states_figure or only_labels


def _find_label(cell: str) -> str | None:
    """Return the setting of which a cell is the label, or None."""
    return next((name for name, known in _NAMES.items() if cell and known.fullmatch(cell)), None)


def read_settings(lines: Sequence[str], delimiter: str | None, *, comma: bool) -> Settings:
    """Return the settings in the lines around the numbers; ``comma``: figures have one."""
    figures: dict[str, list[Figure]] = {name: [] for name in _LABELS}
    words: dict[re.Pattern[str], list[str]] = {}
    above: list[str] = []
    for line in (line[:_LONGEST_LINE] for line in lines):
        plain = line.replace("_", " ")
        for name, pattern in _PATTERNS.items():
            for match in pattern.finditer(plain):
                unit = match["unit"] or match["after"] or ""
                figures[name].append(Figure(_parse_figure(match["value"], comma), unit.casefold()))
        for pattern in (_X_UNIT, _Y_UNIT, _FORMAT, _SOURCE):
            stated = (m["word"] for m in pattern.finditer(plain))
            listed = (word for several in stated for word in re.split(r"[,;\t\"]+", several))
            words.setdefault(pattern, []).extend(word for word in listed if word)
        cells = [cell.strip().strip('"') for cell in line.split(delimiter)]
        _take_figures_below(figures, above, cells, comma)
        above = cells
    return Settings(
        {name: tuple(of_name) for name, of_name in figures.items()},
        next((unit for word in words.get(_X_UNIT, ()) if (unit := parse_unit(word))), ""),
        tuple(unit for word in words.get(_Y_UNIT, ()) if (unit := parse_unit(word))),
        _says_counts(words),
        tuple(dict.fromkeys(words.get(_SOURCE, ()))),
    )


def _says_counts(words: dict[re.Pattern[str], list[str]]) -> bool:
    formats = (_COUNTS.fullmatch(word) for word in words.get(_FORMAT, ()))
    return any(formats) or any(parse_unit(word) == STEPS for word in words.get(_Y_UNIT, ()))


def _take_figures_below(
    figures: dict[str, list[Figure]], labels: Sequence[str], cells: Sequence[str], comma: bool
) -> None:
    """Take settings whose label is in one line and whose figure is below it in the next."""
    for label, cell in zip(labels, cells, strict=False):
        name = _find_label(label.replace("_", " "))
        if name is not None and re.fullmatch(_VALUE, cell, re.IGNORECASE):
            figures[name].append(Figure(_parse_figure(cell, comma), ""))


def _parse_figure(value: str, comma: bool) -> float:
    return float(value.replace(",", ".") if comma else value.split(",")[0])
