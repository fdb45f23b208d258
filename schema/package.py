"""The package: family, pins, pitch and row spacing, and where each pin sits.

Dimensions: JEDEC MS-001, MS-011 (DIP), MS-012 (SO), MS-026 (QFP); shrink DIP 1.778 mm pitch
and the row spacings in use, common practice. Pins count counter-clockwise seen from the top.
"""

from __future__ import annotations

from typing import Final, Literal

from pydantic import model_validator

from .model import Model, Whole
from .quantity import Length, Quantity, parse_quantity

Family = Literal["DIP", "SDIP", "SIP", "ZIP", "SO", "SSOP", "QFP"]

# Pitch and row spacing taken when a chip file does not state them, in millimetre.
_PITCH_MM: Final[dict[str, float]] = {
    "DIP": 2.54,
    "SDIP": 1.778,
    "SIP": 2.54,
    "ZIP": 1.27,
    "SO": 1.27,
    "SSOP": 0.65,
    "QFP": 0.8,
}


class Package(Model):
    """A package family with its number of pins; dimensions default to the family's usual ones."""

    family: Family
    """Family of the package; SDIP is the shrink DIP, ZIP the staggered single row."""
    pins: Whole
    """Number of pin positions, counting positions left empty."""
    pitch: Length | None = None
    """Distance between neighbouring pins of a row."""
    row_spacing: Length | None = None
    """Distance between the two rows of pins."""

    @model_validator(mode="after")
    def _check_count(self) -> Package:
        if not 2 <= self.pins <= 304:
            raise ValueError(f"found {self.pins} pins, expected 2 to 304")
        step = (
            4 if self.family == "QFP" else 2 if self.family in ("DIP", "SDIP", "SO", "SSOP") else 1
        )
        if self.pins % step:
            raise ValueError(
                f"found {self.pins} pins on a {self.family}, expected a multiple of {step}"
            )
        return self

    @property
    def name(self) -> str:
        """The short name in use: ``SDIP-42``."""
        return f"{self.family}-{self.pins}"

    @property
    def pitch_mm(self) -> float:
        """Pitch in millimetre, stated or usual for the family."""
        return self.pitch.nominal * 1e3 if self.pitch else _PITCH_MM[self.family]

    @property
    def row_spacing_mm(self) -> float:
        """Distance between rows in millimetre, stated or usual for family and pin count."""
        if self.row_spacing:
            return self.row_spacing.nominal * 1e3
        return _usual_row_spacing_mm(self.family, self.pins)


def _usual_row_spacing_mm(family: str, pins: int) -> float:
    if family == "DIP":
        return 7.62 if pins <= 20 else 15.24
    if family == "SDIP":
        return 7.62 if pins <= 24 else 10.16 if pins <= 30 else 15.24 if pins <= 56 else 19.05
    if family in ("SO", "SSOP"):
        return 5.4 if pins <= 16 else 9.4
    if family == "ZIP":
        return 2.54
    return 0.0


def usual_dimensions(family: Family, pins: int) -> tuple[Quantity, Quantity]:
    """Pitch and row spacing a package of this family usually has."""
    pitch_mm, rows_mm = _PITCH_MM[family], _usual_row_spacing_mm(family, pins)
    return parse_quantity(f"{pitch_mm} mm", "m"), parse_quantity(f"{rows_mm} mm", "m")
