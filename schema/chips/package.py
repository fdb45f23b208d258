"""The package: family, pins, pitch and row spacing, and where each pin sits.

Dimensions: JEDEC MS-001, MS-011 (DIP), MS-012, MS-013 (SO), MS-150 (SSOP), MS-026 (QFP); shrink
DIP with 1.778 mm pitch, single in-line packages, and the row spacings in use: common practice.
A chip file states pitch and row spacing where a package differs.
"""

from typing import Final, Literal, Self, get_args

from pydantic import model_validator

from ..model import Model, Whole
from ..quantities.fields import Length

Family = Literal["DIP", "SDIP", "SIP", "ZIP", "SO", "SSOP", "QFP"]
FAMILIES: Final[tuple[str, ...]] = get_args(Family)

PinPosition = tuple[int, float, float]
"""Pin number, x and y in millimetre."""

# Pitch taken when a chip file does not state it, in millimetre.
_PITCH_MM: Final[dict[str, float]] = {
    "DIP": 2.54,
    "SDIP": 1.778,
    "SIP": 2.54,
    "ZIP": 1.27,
    "SO": 1.27,
    "SSOP": 0.65,
    "QFP": 0.8,
}
# Most pins on each usual row spacing, in millimetre between the feet of the two rows.
_ROWS_MM: Final[dict[str, tuple[tuple[int, float], ...]]] = {
    "DIP": ((20, 7.62), (52, 15.24), (304, 22.86)),
    "SDIP": ((24, 7.62), (32, 10.16), (56, 15.24), (304, 19.05)),
    "SIP": ((304, 0.0),),
    "ZIP": ((304, 2.54),),
    "SO": ((16, 5.4), (304, 9.4)),
    "SSOP": ((28, 7.1), (304, 9.4)),
}
_QUAD_SIDES: Final = 4
_SIDES: Final[dict[str, int]] = {
    "DIP": 2,
    "SDIP": 2,
    "SO": 2,
    "SSOP": 2,
    "SIP": 1,
    "ZIP": 1,
    "QFP": 4,
}
_MOST_PINS: Final = 304
_LEAST_MM: Final = 0.1  # of pitch and row spacing: less is a slip of the unit
_MOST_PITCH_MM: Final = 10
_MOST_ROW_SPACING_MM: Final = 60

# From the feet of a row to the body: through-hole leads are close to it, soldered feet reach out.
_LEAD_MM: Final = {"DIP": 0.65, "SDIP": 0.65, "SO": 0.75, "SSOP": 0.9, "QFP": 0.7}
_STANDING_DEPTH_MM: Final = 3.0
_ENDS_MM: Final = 1.3  # least room beyond the outer pins of a row, both ends together
_QFP_BODIES_MM: Final = (5, 7, 10, 12, 14, 20, 24, 28, 32, 40)
_QFP_CORNERS_MM: Final = 1.4  # least room beyond the outer pins of a side, both ends together


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
    def _check_count(self) -> Self:
        """Raise ValueError for a number of pins that the family does not have."""
        if not 2 <= self.pins <= _MOST_PINS:
            raise ValueError(f"a package cannot have {self.pins} pins; give 2 to {_MOST_PINS}")
        sides = _SIDES[self.family]
        if self.pins % sides:
            raise ValueError(
                f"a {self.family} cannot have {self.pins} pins; give a multiple of {sides}"
            )
        return self

    @model_validator(mode="after")
    def _check_dimensions(self) -> Self:
        """Raise ValueError for a pitch or row spacing that no package has."""
        for key, length, most_mm in (
            ("pitch", self.pitch, _MOST_PITCH_MM),
            ("row_spacing", self.row_spacing, _MOST_ROW_SPACING_MM),
        ):
            if length is not None and not _LEAST_MM <= length.nominal * 1e3 <= most_mm:
                raise ValueError(
                    f"{key} {length} is on no package; give {_LEAST_MM} mm to {most_mm} mm"
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
        """Distance between opposite rows of feet in millimetre, stated or usual; 0 for a SIP."""
        if self.row_spacing:
            return self.row_spacing.nominal * 1e3
        return _find_usual_row_spacing_mm(self.family, self.pins, self.pitch_mm)


def _find_usual_row_spacing_mm(family: str, pins: int, pitch_mm: float) -> float:
    if family == "QFP":
        return _measure_qfp_body_mm(pins, pitch_mm) + 2 * _LEAD_MM["QFP"]
    return next(rows_mm for most, rows_mm in _ROWS_MM[family] if pins <= most)


def _measure_qfp_body_mm(pins: int, pitch_mm: float) -> float:
    """Return the smallest usual body with room for the pins of a side (JEDEC MS-026)."""
    least_mm = round((pins / 4 - 1) * pitch_mm + _QFP_CORNERS_MM, 6)
    return next((float(body) for body in _QFP_BODIES_MM if body >= least_mm), least_mm)


def compute_body_size_mm(package: Package) -> tuple[float, float]:
    """Return width (along x) and height (along y) of the body seen from the top, in millimetres.

    Good to a few tenths of a millimetre, enough for a drawing.
    """
    sides, rows_mm = _SIDES[package.family], package.row_spacing_mm
    span_mm = (package.pins // sides - 1) * package.pitch_mm
    along_mm = span_mm + max(package.pitch_mm, _ENDS_MM)
    if sides == 1:
        return along_mm, _STANDING_DEPTH_MM
    across_mm = max(rows_mm - 2 * _LEAD_MM[package.family], rows_mm / 2)
    return across_mm, across_mm if sides == 4 else along_mm


def place_pins(package: Package) -> tuple[PinPosition, ...]:
    """Return the position of each pin, in the order of the numbers, seen from the top.

    x runs to the right and y down, from the middle of the package, so that the numbers go
    counter-clockwise: with two or four rows pin 1 is at the top of the left one. A single row runs
    from pin 1 at the left, marked side towards the reader; of a ZIP the odd pins are nearer.
    """
    sides = _SIDES[package.family]
    pins_per_side = package.pins // sides
    half_spacing_mm = package.row_spacing_mm / 2
    offsets_mm = [
        (index - (pins_per_side - 1) / 2) * package.pitch_mm for index in range(pins_per_side)
    ]
    if sides == 1:
        # Odd numbers have even indexes; without row spacing, as in a SIP, all are on one line.
        positions_mm = [
            (x, half_spacing_mm if index % 2 == 0 else -half_spacing_mm)
            for index, x in enumerate(offsets_mm)
        ]
    else:
        left_mm = [(-half_spacing_mm, y) for y in offsets_mm]
        bottom_mm = [(x, half_spacing_mm) for x in offsets_mm] if sides == _QUAD_SIDES else []
        half_mm = left_mm + bottom_mm
        positions_mm = half_mm + [(-x, -y) for x, y in half_mm]  # the other half, turned round
    return tuple((number, x, y) for number, (x, y) in enumerate(positions_mm, start=1))
