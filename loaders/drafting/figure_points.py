"""A waveform drawn in a data sheet, as points that were read off or clicked on.

One point a line, time and level, under a line that names the units of the axes; or pixels, with
two marks of known value for each axis::

    µs V                    pixels
    0  0.2                  x 100 = 0 µs
    12 0.2                  x 740 = 64 µs
    12 5.0                  y 400 = 0 V
    64 5.0                  y 80 = 5 V
                            100 387
                            220 387

Blanks, tabs, semicolons or commas stand between the two; with any but the comma there may be
decimal commas. Empty lines, and what follows a #, are passed over.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, NoReturn

import numpy as np
from numpy.typing import NDArray

from ...schema.quantities import QuantityError, parse_quantity, print_value
from ..errors import Fault, InvalidFileError

Floats = NDArray[np.float64]

MOST_BYTES: Final = 1_000_000
MOST_POINTS: Final = 10_000
_FEWEST_POINTS: Final = 2
_SHORTEST_S: Final = 1e-12
_LONGEST_S: Final = 1e6
_MOST_V: Final = 1e6
_UNSTEADY: Final = 0.01  # a hand goes back by this share of the whole time at an upright edge
_EXAMPLE: Final = "µs V"
_MARKS: Final = ("x 100 = 0 µs", "x 740 = 64 µs", "y 400 = 0 V", "y 80 = 5 V")
_NUMBER: Final = r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_UNIT_OF: Final = {"x": "s", "y": "V"}


class FigureError(InvalidFileError):
    """What is wrong with a list of points: one fault, with its line."""


@dataclass(frozen=True, eq=False)
class FigurePoints:
    """The points of a figure, in order of time; times count from the first point."""

    t_s: Floats
    """Times in seconds, the first is 0; two that are the same make an upright edge."""
    v: Floats
    """Levels in volts."""


@dataclass(frozen=True)
class _Line:
    file: str
    number: int
    text: str

    def refuse(self, expected: str, write: str | None = None, found: str = "") -> NoReturn:
        told = found or f"'{self.text}'"
        raise FigureError((Fault(self.file, self.number, 1, told, expected, write),))


def read_figure_points(data: bytes, name: str) -> FigurePoints:
    """The points in a file's bytes; ``name`` stands for the file in the error.

    Raises FigureError, naming the first line that is wrong.
    """
    lines = [*_lines(data, name)]
    if not lines:
        _Line(name, 1, "").refuse("a line with the units of the axes", _EXAMPLE, "no points")
    if re.fullmatch(r"(?i)pixels?|px[ ,;\t]+px", lines[0].text):
        marks, points = _marks_and_points(lines)
        to_s, to_v = (_scale(marks, axis, lines[0]) for axis in "xy")
    else:
        (second, volt), points = _units(lines[0]), lines[1:]
        to_s, to_v = (second, 0.0), (volt, 0.0)
    found = _pairs(points, lines[0])
    return _in_order(found[:, 0] * to_s[0] + to_s[1], found[:, 1] * to_v[0] + to_v[1], points)


def _lines(data: bytes, name: str) -> Iterator[_Line]:
    """What is written on each line, without comments."""
    if len(data) > MOST_BYTES:
        found = f"{len(data):,} bytes"
        _Line(name, 1, "").refuse(f"no more than {MOST_BYTES:,}", None, found)
    text = data.decode("utf-8-sig", errors="replace").replace("−", "-")
    for number, line in enumerate(text.splitlines(), start=1):
        written = line.partition("#")[0].strip()
        if written:
            yield _Line(name, number, written)


def _units(line: _Line) -> tuple[float, float]:
    """What 1 on each axis is, in seconds and volts: ``µs V``, ``t (ms); U (mV)``."""
    words = [word for word in re.split(r"[\s,;/()\[\]]+", line.text) if word]
    seconds, volts = (
        {place: one for place, word in enumerate(words) if (one := _one(word, unit)) is not None}
        for unit in ("s", "V")
    )
    in_order = len(seconds) == 1 and len(volts) == 1 and min(seconds) < min(volts)
    values = re.match(_NUMBER, line.text)
    if values or not in_order or "div" in line.text.lower():
        line.refuse("the units of the axes, time first, or the word pixels", _EXAMPLE)
    return next(iter(seconds.values())), next(iter(volts.values()))


def _one(word: str, unit: str) -> float | None:
    """What ``1 word`` is in the unit; None where the word is not that unit."""
    try:
        return parse_quantity(f"1 {word}", unit).nominal if word[0].isalpha() else None
    except QuantityError:
        return None


def _marks_and_points(
    lines: list[_Line],
) -> tuple[dict[str, list[tuple[float, float]]], list[_Line]]:
    """The marks of both axes (pixel, value), and the lines below them."""
    marks: dict[str, list[tuple[float, float]]] = {"x": [], "y": []}
    points: list[_Line] = []
    for line in lines[1:]:
        match = re.fullmatch(rf"(?i)([xy])\s+({_NUMBER})\s*=\s*(.+)", line.text)
        if match is None:
            points.append(line)
            continue
        axis = match[1].lower()
        try:
            value = parse_quantity(match[3], _UNIT_OF[axis]).nominal
        except QuantityError as refusal:
            line.refuse(refusal.expected, f"{axis} {match[2]} = {refusal.write}")
        marks[axis].append((_number(match[2]), value))
    return marks, points


def _scale(
    marks: dict[str, list[tuple[float, float]]], axis: str, header: _Line
) -> tuple[float, float]:
    """Value per pixel and value at pixel 0 of an axis, from its two marks."""
    found = marks[axis]
    write = "; ".join(mark for mark in _MARKS if mark.startswith(axis))
    if len(found) != 2:
        header.refuse(f"two marks on the {axis} axis", write, f"{len(found)} on the {axis} axis")
    (pixel, value), (other_pixel, other_value) = found
    if pixel == other_pixel or value == other_value:
        header.refuse(f"two different marks on the {axis} axis", write, "the same mark twice")
    per_pixel = (other_value - value) / (other_pixel - pixel)
    return per_pixel, value - pixel * per_pixel


def _pairs(lines: list[_Line], header: _Line) -> Floats:
    """Time and level of each line, as written."""
    if not _FEWEST_POINTS <= len(lines) <= MOST_POINTS:
        told = f"{len(lines)} point{'s' if len(lines) != 1 else ''}"
        header.refuse(f"from {_FEWEST_POINTS} to {MOST_POINTS:,} points below it", None, told)
    between = next((sign for sign in (";", "\t", " ") if sign in lines[0].text), ",")
    pattern = re.compile(rf"({_NUMBER})\s*{_separator(between)}\s*({_NUMBER})")
    found = []
    for line in lines:
        match = pattern.fullmatch(line.text)
        pair = (_number(match[1]), _number(match[2])) if match else (math.nan, math.nan)
        if not all(map(math.isfinite, pair)):
            line.refuse("two numbers, time and level, divided as in the first line", "12 0.2")
        found.append(pair)
    return np.array(found)


def _separator(between: str) -> str:
    """Blanks may follow a comma: ``0, 0.2``."""
    return {" ": r"(?:\s|,\s)", "\t": r"\s", ";": ";", ",": ","}[between]


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def _in_order(t_s: Floats, v: Floats, lines: list[_Line]) -> FigurePoints:
    """Times from 0 on; a small step back, at an upright edge, becomes none."""
    t_s = t_s - t_s[0]
    latest_s = np.maximum.accumulate(t_s)
    back_s = latest_s - t_s
    too_far = np.flatnonzero(back_s > _UNSTEADY * latest_s[-1])
    if too_far.size:
        place = int(too_far[0])
        by = print_value(float(back_s[place]), "s")
        lines[place].refuse("points in order of time", None, f"a point {by} before an earlier one")
    if not _SHORTEST_S <= latest_s[-1] <= _LONGEST_S:
        drawn = "all points at one time" if not latest_s[-1] else f"{latest_s[-1]:g} s in all"
        lines[-1].refuse(f"points over {_SHORTEST_S:g} to {_LONGEST_S:g} s", None, drawn)
    too_high = np.flatnonzero(np.abs(v) > _MOST_V)
    if too_high.size:
        place = int(too_high[0])
        lines[place].refuse(f"no more than {_MOST_V:g} V", None, f"{v[place]:g} V")
    return FigurePoints(latest_s, v)
