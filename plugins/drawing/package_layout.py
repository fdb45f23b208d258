"""Positions in a package drawing: true proportions, at a scale that leaves room for text.

One unit is about a pixel on a small phone. x runs to the right and y down from the middle of the
package. Seen from the solder side, left and right change places.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

from ...schema import Package
from ...schema.chips.package import compute_body_size_mm, place_pins

Side = Literal["top", "solder"]
Shape = Literal["one row", "two rows", "four sides"]

RIGHT, DOWN, LEFT, UP = 0, 90, 180, 270
"""Direction of a pin in degrees clockwise from the right."""

# Least distance between symbols, and least row spacing for numbers and a part number inside.
_LEAST_PITCH: Final = 14.5
_LEAST_ROWS: Final = 100.0

_SHAPES: Final[dict[str, Shape]] = {"SIP": "one row", "ZIP": "one row", "QFP": "four sides"}


@dataclass(frozen=True)
class Foot:
    """A pin: its number, the position of its foot, and its direction."""

    number: int
    x: float
    y: float
    towards: int


@dataclass(frozen=True)
class Layout:
    """A package in units of the drawing."""

    shape: Shape
    feet: tuple[Foot, ...]
    half_width: float
    """Half the body's width."""
    half_height: float
    """Half the body's height."""
    pitch: float
    """Distance between the symbols of neighbouring pins on a side."""
    lead: float
    """Distance from the edge of the body out to a foot; 0 with the feet under the body."""
    clear: float
    """Distance from a foot out to the edge of the body; 0 with the feet outside."""
    reach_x: float
    """Half the width of body and feet."""
    reach_y: float
    """Half the height of body and feet."""

    @property
    def start(self) -> int:
        """-1 where pin 1 is at the left, 1 where it is at the right."""
        return -1 if self.feet[0].x < 0 else 1


@lru_cache(maxsize=64)  # a page asks for the same package many times
def lay_out(package: Package, side: Side) -> Layout:
    """Return body and feet as seen from a side, in units of the drawing."""
    shape = _SHAPES.get(package.family, "two rows")
    units_per_mm = _choose_units_per_mm(package, shape)
    mirror = -1 if side == "solder" else 1  # the solder side is the package turned over
    feet = tuple(
        Foot(
            number,
            mirror * x_mm * units_per_mm,
            y_mm * units_per_mm,
            _choose_direction(shape, mirror * x_mm, y_mm),
        )
        for number, x_mm, y_mm in place_pins(package)
    )
    width_mm, height_mm = compute_body_size_mm(package)
    half_width, half_height = width_mm * units_per_mm / 2, height_mm * units_per_mm / 2
    half_rows = package.row_spacing_mm * units_per_mm / 2
    # Feet of a single row are under the body (negative), those of two rows are outside it.
    feet_beyond_body = half_rows - (half_height if shape == "one row" else half_width)
    return Layout(
        shape=shape,
        feet=feet,
        half_width=half_width,
        half_height=half_height,
        pitch=package.pitch_mm * units_per_mm * _count_pitches_apart(package),
        lead=max(feet_beyond_body, 0.0),
        clear=max(-feet_beyond_body, 0.0),
        reach_x=max(half_width, *(abs(foot.x) for foot in feet)),
        reach_y=max(half_height, *(abs(foot.y) for foot in feet)),
    )


def _choose_units_per_mm(package: Package, shape: Shape) -> float:
    """Return the units per millimetre that make room for symbols and numbers."""
    for_symbols = _LEAST_PITCH / (package.pitch_mm * _count_pitches_apart(package))
    return (
        for_symbols
        if shape == "one row"
        else max(for_symbols, _LEAST_ROWS / package.row_spacing_mm)
    )


def _count_pitches_apart(package: Package) -> int:
    """Return the distance of neighbouring symbols in pitches: 2 for a ZIP, whose pins alternate."""
    return 2 if package.family == "ZIP" else 1


def _choose_direction(shape: Shape, x: float, y: float) -> int:
    """Return the direction in which the pin at a position points."""
    if shape == "one row":
        return UP if y < 0 else DOWN
    if shape == "two rows" or abs(x) > abs(y):
        return LEFT if x < 0 else RIGHT
    return UP if y < 0 else DOWN
