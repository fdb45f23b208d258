"""Television systems and the numbers that define them.

Source: Recommendation ITU-R BT.470-6 (system letters, line and field rates, subcarriers);
the exact NTSC line rate follows from the subcarrier, 315/88 MHz (SMPTE 170M).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal

System = Literal[
    "NTSC-M",
    "NTSC-J",
    "PAL-B/G",
    "PAL-D/K",
    "PAL-I",
    "PAL-M",
    "PAL-N",
    "SECAM-B/G",
    "SECAM-D/K",
    "SECAM-L",
]


@dataclass(frozen=True)
class Scanning:
    """Line and field rates and colour subcarriers of one system; sound spacing is in hertz."""

    lines: int
    line_hz: Fraction
    field_hz: Fraction
    subcarrier_hz: tuple[Fraction, ...]
    intercarrier_hz: int


_LINE_525 = Fraction(2_250_000, 143)
_LINE_625 = Fraction(15_625)
_FIELD_525 = Fraction(60_000, 1001)
_FIELD_625 = Fraction(50)
_NTSC = Fraction(315_000_000, 88)
_PAL = (Fraction(1135, 4) + Fraction(1, 625)) * _LINE_625
_PAL_M = Fraction(909, 4) * _LINE_525
_PAL_N = (Fraction(917, 4) + Fraction(1, 625)) * _LINE_625
_SECAM = (Fraction(4_406_250), Fraction(4_250_000))  # D'R, D'B

SCANNING: Final[dict[str, Scanning]] = {
    "NTSC-M": Scanning(525, _LINE_525, _FIELD_525, (_NTSC,), 4_500_000),
    "NTSC-J": Scanning(525, _LINE_525, _FIELD_525, (_NTSC,), 4_500_000),
    "PAL-B/G": Scanning(625, _LINE_625, _FIELD_625, (_PAL,), 5_500_000),
    "PAL-D/K": Scanning(625, _LINE_625, _FIELD_625, (_PAL,), 6_500_000),
    "PAL-I": Scanning(625, _LINE_625, _FIELD_625, (_PAL,), 5_999_600),
    "PAL-M": Scanning(525, _LINE_525, _FIELD_525, (_PAL_M,), 4_500_000),
    "PAL-N": Scanning(625, _LINE_625, _FIELD_625, (_PAL_N,), 4_500_000),
    "SECAM-B/G": Scanning(625, _LINE_625, _FIELD_625, _SECAM, 5_500_000),
    "SECAM-D/K": Scanning(625, _LINE_625, _FIELD_625, _SECAM, 6_500_000),
    "SECAM-L": Scanning(625, _LINE_625, _FIELD_625, _SECAM, 6_500_000),
}
