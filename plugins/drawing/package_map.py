"""The rows of a package as lists of pins, to be laid out about a body.

Seen from the solder side left and right change places; the page does that with the same lists.
"""

from __future__ import annotations

from dataclasses import dataclass

from ...schema import Chip, Pin
from .package_layout import DOWN, LEFT, RIGHT, UP, lay_out
from .role_glyphs import ROLE_WORDS, draw_glyph


@dataclass(frozen=True)
class MapPin:
    """One position of the package; ``pin`` is None where the chip file lists none."""

    number: int
    pin: Pin | None

    @property
    def symbol(self) -> str:
        """Symbol of the pin; a dash without one."""
        return self.pin.symbol if self.pin else "–"

    @property
    def role_words(self) -> str:
        """Role of the pin in words."""
        return ROLE_WORDS[self.pin.role] if self.pin else "not listed"

    @property
    def glyph(self) -> str:
        """Mark of the role."""
        return draw_glyph(self.pin.role) if self.pin else ""


@dataclass(frozen=True)
class PackageMap:
    """The sides of a package as seen from the top; two of them are empty where it has two rows."""

    left: tuple[MapPin, ...]
    """From the notch or the upper end down."""
    right: tuple[MapPin, ...]
    """From the upper end down."""
    upper: tuple[MapPin, ...] = ()
    """From left to right."""
    lower: tuple[MapPin, ...] = ()
    """From left to right."""


def map_package(chip: Chip) -> PackageMap | None:
    """Return the sides of a package; None for one with all pins in one row."""
    layout = lay_out(chip.package, "top")
    if layout.shape == "one row":
        return None
    pins = {pin.number: pin for pin in chip.pins}
    # Rounded, so that feet of one row do not change places for the last bit of their height.
    feet_in_order = sorted(layout.feet, key=lambda foot: (round(foot.y, 3), foot.x))

    def list_side(direction: int) -> tuple[MapPin, ...]:
        return tuple(
            MapPin(foot.number, pins.get(foot.number))
            for foot in feet_in_order
            if foot.towards == direction
        )

    return PackageMap(list_side(LEFT), list_side(RIGHT), list_side(UP), list_side(DOWN))
