"""The two rows of a package as lists of pins, to be laid out beside a body.

Seen from the solder side the rows change places; the page does that with the same two lists.
"""

from __future__ import annotations

from dataclasses import dataclass

from ...schema import Chip, Pin
from .package_layout import LEFT, lay_out
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
    """Both rows from the notch down, as seen from the top."""

    left: tuple[MapPin, ...]
    right: tuple[MapPin, ...]


def map_package(chip: Chip) -> PackageMap | None:
    """Return the rows of a package with two; None for one row or four sides."""
    layout = lay_out(chip.package, "top")
    if layout.shape != "two rows":
        return None
    pins = {pin.number: pin for pin in chip.pins}
    downwards = sorted(layout.feet, key=lambda foot: foot.y)
    left = tuple(
        MapPin(foot.number, pins.get(foot.number)) for foot in downwards if foot.towards == LEFT
    )
    right = tuple(
        MapPin(foot.number, pins.get(foot.number)) for foot in downwards if foot.towards != LEFT
    )
    return PackageMap(left, right)
