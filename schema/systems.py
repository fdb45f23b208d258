"""Television systems and the numbers that define them.

Source: Recommendation ITU-R BT.470-6 (system letters, line and field rates, subcarriers, levels
and timing of the line and of the field blanking); the exact NTSC line rate follows from the
subcarrier, 315/88 MHz (SMPTE 170M). Where BT.470 gives a range, the nominal value is used.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Final, Literal, NamedTuple

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


class Scanning(NamedTuple):
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


class VideoLevels(NamedTuple):
    """Levels of the video signal against blanking, as shares of sync tip to reference white."""

    sync: Fraction
    black: Fraction
    white: Fraction
    burst_pp: Fraction


_IRE = Fraction(1, 140)
_NTSC_LEVELS = VideoLevels(-40 * _IRE, Fraction(15, 2) * _IRE, 100 * _IRE, 40 * _IRE)
_NO_SETUP_525 = VideoLevels(-40 * _IRE, Fraction(0), 100 * _IRE, 40 * _IRE)
_LEVELS_625 = VideoLevels(Fraction(-3, 10), Fraction(0), Fraction(7, 10), Fraction(3, 10))


class VideoTiming(NamedTuple):
    """Times of the line and of the field blanking, in seconds; 0H is half-way down line sync.

    ``sync_rise_s`` runs from 10 to 90 %; ``group`` counts the half lines of each of the three
    groups around field sync: equalising, broad, equalising pulses.
    """

    sync_s: float
    sync_rise_s: float
    front_porch_s: float
    picture_start_s: float
    burst_start_s: float
    burst_cycles: int
    equalising_s: float
    broad_s: float
    group: int
    field_blanking_lines: int


_525 = VideoTiming(4.7e-6, 0.14e-6, 1.5e-6, 9.4e-6, 19 * 88 / 315e6, 9, 2.3e-6, 27.1e-6, 6, 20)
_PAL_M_TIMING = VideoTiming(4.7e-6, 0.14e-6, 1.5e-6, 9.4e-6, 5.8e-6, 9, 2.3e-6, 27.1e-6, 6, 20)
_625 = VideoTiming(4.7e-6, 0.2e-6, 1.5e-6, 10.5e-6, 5.6e-6, 10, 2.35e-6, 27.3e-6, 5, 25)
_PAL_N_TIMING = VideoTiming(4.7e-6, 0.2e-6, 1.5e-6, 10.5e-6, 5.6e-6, 9, 2.35e-6, 27.3e-6, 5, 25)

_OTHER_LEVELS: Final = {"NTSC-M": _NTSC_LEVELS, "PAL-M": _NTSC_LEVELS, "NTSC-J": _NO_SETUP_525}
_OTHER_TIMING: Final = {
    "NTSC-M": _525,
    "NTSC-J": _525,
    "PAL-M": _PAL_M_TIMING,
    "PAL-N": _PAL_N_TIMING,
}

VIDEO_LEVELS: Final[dict[str, VideoLevels]] = {
    system: _OTHER_LEVELS.get(system, _LEVELS_625) for system in SCANNING
}
VIDEO_TIMING: Final[dict[str, VideoTiming]] = {
    system: _OTHER_TIMING.get(system, _625) for system in SCANNING
}
