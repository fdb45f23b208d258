"""Read the points of a waveform that was traced from a data sheet.

One point a line, time and level, below a line with the units of the axes; or pixels, with two
marks of known value for each axis::

    µs V                    pixels
    0  0.2                  x 100 = 0 µs
    12 0.2                  x 740 = 64 µs
    12 5.0                  y 400 = 0 V
    64 5.0                  y 80 = 5 V
                            100 387
                            220 387

Spaces, tabs, semicolons or commas separate the two; with any but the comma, decimal commas are
allowed. Empty lines and text after a # are ignored.
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
_LARGEST_STEP_BACK: Final = 0.01  # of the whole time: a hand wavers at a vertical edge
_MARKS_PER_AXIS: Final = 2
_MOST_FAULTS: Final = 20
_EXAMPLE: Final = "µs V"
_MARKS: Final = ("x 100 = 0 µs", "x 740 = 64 µs", "y 400 = 0 V", "y 80 = 5 V")
_NUMBER: Final = r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_UNIT_OF: Final = {"x": "s", "y": "V"}


class FigureError(InvalidFileError):
    """A list of points that cannot be read, with the faults of its lines."""


@dataclass(frozen=True, eq=False)
class FigurePoints:
    """The points of a figure in order of time, counted from the first point."""

    t_s: Floats
    """Times in seconds from 0; two equal times make a vertical edge."""
    v: Floats
    """Levels in volts."""


@dataclass(frozen=True)
class _Line:
    file: str
    number: int
    text: str

    def fault(self, expected: str, write: str | None = None, found: str = "") -> Fault:
        """Return the fault of this line; ``found`` is its text unless given."""
        return Fault(self.file, self.number, 1, found or f"'{self.text}'", expected, write)

    def refuse(self, expected: str, write: str | None = None, found: str = "") -> NoReturn:
        """Raise FigureError with the fault of this line."""
        raise FigureError((self.fault(expected, write, found),))


def read_figure_points(data: bytes, name: str) -> FigurePoints:
    """Return the points in the bytes of a file; ``name`` is its name in errors.

    Raises FigureError with each malformed line, or with the first that contradicts the others.
    """
    lines = [*_split_lines(data, name)]
    if not lines:
        _Line(name, 1, "").refuse("a line with the units of the axes", _EXAMPLE, "no points")
    if re.fullmatch(r"(?i)pixels?|px[ ,;\t]+px", lines[0].text):
        marks, points = _read_marks(lines)
        to_s, to_v = (_find_scale(marks, axis, lines[0]) for axis in "xy")
    else:
        (second, volt), points = _read_units(lines[0]), lines[1:]
        to_s, to_v = (second, 0.0), (volt, 0.0)
    pairs = _read_pairs(points, lines[0])  # points x (time, level), as written
    return _sort_points(pairs[:, 0] * to_s[0] + to_s[1], pairs[:, 1] * to_v[0] + to_v[1], points)


def _split_lines(data: bytes, name: str) -> Iterator[_Line]:
    """Yield the lines that are not empty, without comments."""
    if len(data) > MOST_BYTES:
        found_text = f"{len(data):,} bytes"
        _Line(name, 1, "").refuse(f"no more than {MOST_BYTES:,}", None, found_text)
    text = data.decode("utf-8-sig", errors="replace").replace("−", "-")
    for number, line in enumerate(text.splitlines(), start=1):
        text_before_comment = line.partition("#")[0].strip()
        if text_before_comment:
            yield _Line(name, number, text_before_comment)


def _read_units(line: _Line) -> tuple[float, float]:
    """Return the value of 1 on each axis in seconds and volts: ``µs V``, ``t (ms); U (mV)``."""
    words = [word for word in re.split(r"[\s,;/()\[\]]+", line.text) if word]
    seconds, volts = (
        {
            place: size
            for place, word in enumerate(words)
            if (size := _parse_unit(word, unit)) is not None
        }
        for unit in ("s", "V")
    )
    in_order = len(seconds) == 1 and len(volts) == 1 and min(seconds) < min(volts)
    values = re.match(_NUMBER, line.text)
    if values or not in_order or "div" in line.text.lower():
        line.refuse("the units of the axes, time first, or the word pixels", _EXAMPLE)
    return next(iter(seconds.values())), next(iter(volts.values()))


def _parse_unit(word: str, unit: str) -> float | None:
    """Return the value of ``1 word`` in the unit; None if the word is not that unit."""
    try:
        return parse_quantity(f"1 {word}", unit).nominal if word[0].isalpha() else None
    except QuantityError:
        return None


def _read_marks(
    lines: list[_Line],
) -> tuple[dict[str, list[tuple[float, float]]], list[_Line]]:
    """Return the marks of both axes (pixel, value), and the lines of the points."""
    faults: list[Fault] = []
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
            write = None if refusal.write is None else f"{axis} {match[2]} = {refusal.write}"
            faults.append(line.fault(refusal.expected, write))
        else:
            marks[axis].append((_to_float(match[2]), value))
    if faults:
        raise FigureError(tuple(faults[:_MOST_FAULTS]))
    return marks, points


def _find_scale(
    marks: dict[str, list[tuple[float, float]]], axis: str, header: _Line
) -> tuple[float, float]:
    """Return value per pixel and value at pixel 0 of an axis, from its two marks."""
    axis_marks = marks[axis]
    write = "; ".join(mark for mark in _MARKS if mark.startswith(axis))
    if len(axis_marks) != _MARKS_PER_AXIS:
        found_text = f"{len(axis_marks)} on the {axis} axis"
        header.refuse(f"two marks on the {axis} axis", write, found_text)
    (pixel, value), (other_pixel, other_value) = axis_marks
    if pixel == other_pixel or value == other_value:
        header.refuse(f"two different marks on the {axis} axis", write, "the same mark twice")
    per_pixel = (other_value - value) / (other_pixel - pixel)
    return per_pixel, value - pixel * per_pixel


def _read_pairs(lines: list[_Line], header: _Line) -> Floats:
    """Return time and level of each line as written, an array of points x 2."""
    if not _FEWEST_POINTS <= len(lines) <= MOST_POINTS:
        count = f"{len(lines)} point{'s' if len(lines) != 1 else ''}"
        header.refuse(f"from {_FEWEST_POINTS} to {MOST_POINTS:,} points below it", None, count)
    delimiter = next((sign for sign in (";", "\t", " ") if sign in lines[0].text), ",")
    pattern = re.compile(rf"({_NUMBER})\s*{_build_delimiter_pattern(delimiter)}\s*({_NUMBER})")
    pairs: list[tuple[float, float]] = []
    faults: list[Fault] = []
    for line in lines:
        match = pattern.fullmatch(line.text)
        pair = (_to_float(match[1]), _to_float(match[2])) if match else (math.nan, math.nan)
        if not all(map(math.isfinite, pair)):
            expected = "two numbers, time and level, divided as in the first line"
            faults.append(line.fault(expected))
        pairs.append(pair)
    if faults:
        raise FigureError(tuple(faults[:_MOST_FAULTS]))
    return np.array(pairs)


def _build_delimiter_pattern(delimiter: str) -> str:
    """Return the pattern of a delimiter; spaces may follow a comma: ``0, 0.2``."""
    return {" ": r"(?:\s|,\s)", "\t": r"\s", ";": ";", ",": ","}[delimiter]


def _to_float(text: str) -> float:
    return float(text.replace(",", "."))


def _sort_points(t_s: Floats, v: Floats, lines: list[_Line]) -> FigurePoints:
    """Return the points with times from 0; a small step back, at a vertical edge, becomes none."""
    t_s = t_s - t_s[0]
    latest_s = np.maximum.accumulate(t_s)
    step_back_s = latest_s - t_s
    too_far = np.flatnonzero(step_back_s > _LARGEST_STEP_BACK * latest_s[-1])
    if too_far.size:
        place = int(too_far[0])
        step = print_value(float(step_back_s[place]), "s")
        found_text = f"a point {step} before an earlier one"
        lines[place].refuse("points in order of time", None, found_text)
    if not _SHORTEST_S <= latest_s[-1] <= _LONGEST_S:
        duration = "all points at one time" if not latest_s[-1] else f"{latest_s[-1]:g} s in all"
        lines[-1].refuse(f"points over {_SHORTEST_S:g} to {_LONGEST_S:g} s", None, duration)
    too_high = np.flatnonzero(np.abs(v) > _MOST_V)
    if too_high.size:
        place = int(too_high[0])
        lines[place].refuse(f"no more than {_MOST_V:g} V", None, f"{v[place]:g} V")
    return FigurePoints(latest_s, v)
