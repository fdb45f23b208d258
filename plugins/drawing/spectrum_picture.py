"""The spectrum of a record as SVG: decibels over frequency, with the lines that say where from.

Frequency is on a logarithmic axis, a decade from mark to mark, so that mains, line harmonics and
the subcarrier have room on one picture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from ...schema.quantities import print_value
from .scope_screen import BEAM, CAPTURED, INK, LINES, PAPER, Numbers
from .svg_frame import escape_svg_text, frame_svg

_LEFT, _TOP, _WIDTH, _HEIGHT = 110, 74, 880, 400
_BELOW: Final = 52
_LETTERS: Final = 26
_DB_STEP: Final = 20
_HEADROOM_DB: Final = 3  # over the strongest line
_FLOOR_DB: Final = 5  # under nine tenths of the noise
_FEWEST_STEPS: Final = 3  # of decibels on the picture
_LEAST_APART: Final = 118  # units between two names in one row
_FIRST_ROW, _ROW = 12, 30  # units from the picture up to the first row of names, and to the next
_TICK: Final = 14
_HALF_FREQUENCY: Final = 40  # half the width of a frequency under the picture

Origin = Literal["mains", "line", "subcarrier"]


@dataclass(frozen=True)
class SpectrumMark:
    """A frequency that tells where a part of the signal is from."""

    origin: Origin
    name: str
    """Written over the picture; empty for a harmonic that only has a tick."""
    hz: float
    level_dbv: float | None
    """Of the strongest part there; None where it does not rise above what is beside it."""

    @property
    def words(self) -> str:
        """Name, frequency and level."""
        level = f"{self.level_dbv:.0f} dBV" if self.level_dbv is not None else "nothing above noise"
        return f"{self.name} {print_value(self.hz, 'Hz', 6)}: {level}"


@dataclass(frozen=True, eq=False)
class SpectrumTrace:
    """The strongest level in each column of a logarithmic axis of frequency."""

    from_hz: float
    to_hz: float
    level_dbv: Numbers
    """Decibels over 1 V root mean square, shape (columns,)."""
    marks: tuple[SpectrumMark, ...]

    @property
    def top_dbv(self) -> float:
        """Upper end of the picture, a whole step."""
        return math.ceil((float(self.level_dbv.max()) + _HEADROOM_DB) / _DB_STEP) * _DB_STEP

    @property
    def bottom_dbv(self) -> float:
        """Lower end of the picture, below nine tenths of the noise."""
        low_dbv = float(np.percentile(self.level_dbv, 10)) - _FLOOR_DB
        highest_dbv = self.top_dbv - _FEWEST_STEPS * _DB_STEP
        return min(math.floor(low_dbv / _DB_STEP) * _DB_STEP, highest_dbv)


def draw_spectrum(
    spectrum: SpectrumTrace, title: str, note: str = "", *, standalone: bool = False
) -> str:
    """Return the spectrum as SVG; ``note`` says what it cannot show."""
    # Marks come last: they lie over the trace.
    body = _draw_axes(spectrum) + _draw_trace(spectrum) + _draw_marks(spectrum)
    named_marks = "; ".join(mark.words for mark in spectrum.marks if mark.name)
    return frame_svg(
        body,
        size=(_LEFT + _WIDTH + 10, _TOP + _HEIGHT + _BELOW),
        name="spectrum-picture",
        title=title,
        description=". ".join(sentence for sentence in (named_marks, note) if sentence),
        standalone=standalone,
    )


def _place_hz(spectrum: SpectrumTrace, hz: float) -> int:
    """Return the units from the left."""
    decades = math.log10(spectrum.to_hz / spectrum.from_hz)
    return round(_LEFT + _WIDTH * math.log10(hz / spectrum.from_hz) / decades)


def _place_dbv(spectrum: SpectrumTrace, level_dbv: Numbers) -> Numbers:
    """Return the units from the top, limited to the picture."""
    share = (spectrum.top_dbv - level_dbv) / (spectrum.top_dbv - spectrum.bottom_dbv)
    return np.asarray(_TOP + np.clip(share, 0, 1) * _HEIGHT)


def _draw_axes(spectrum: SpectrumTrace) -> str:
    """Return the paper, a line for each decade and each step of decibels, and their names."""
    below = _TOP + _HEIGHT + 34
    beside = _LEFT - 8
    rules = []
    names = [_draw_text("dBV", beside, below, "end")]

    first_decade = math.ceil(math.log10(spectrum.from_hz))
    last_decade = math.floor(math.log10(spectrum.to_hz))
    for power in range(first_decade, last_decade + 1):
        decade_hz = 10.0**power
        x = _place_hz(spectrum, decade_hz)
        rules.append(f"M{x} {_TOP}v{_HEIGHT}")
        # A name at either end moves inwards, so that all of it is on the picture.
        name_x = min(max(x, _LEFT + _HALF_FREQUENCY), _LEFT + _WIDTH - _HALF_FREQUENCY)
        names.append(_draw_text(print_value(decade_hz, "Hz"), name_x, below, "middle"))

    levels_dbv = np.arange(spectrum.bottom_dbv, spectrum.top_dbv + 1, _DB_STEP)
    level_y = np.rint(_place_dbv(spectrum, levels_dbv)).astype(int)
    for level_dbv, y in zip(levels_dbv.tolist(), level_y.tolist(), strict=True):
        rules.append(f"M{_LEFT} {y}h{_WIDTH}")
        names.append(_draw_text(f"{level_dbv:.0f}", beside, y + 9, "end"))

    return (
        f'<rect class="scope-screen" x="{_LEFT}" y="{_TOP}" width="{_WIDTH}" height="{_HEIGHT}"'
        f' fill="{PAPER}"/><g class="scope-graticule" fill="none" stroke="{LINES}">'
        f'<path d="{"".join(rules)}" stroke-width="1.5"/></g>{"".join(names)}'
    )


def _draw_trace(spectrum: SpectrumTrace) -> str:
    """Return the spectrum as an area from the bottom up."""
    count = len(spectrum.level_dbv)
    x = np.rint(_LEFT + (np.arange(count) + 0.5) * _WIDTH / count).astype(int)
    y = np.rint(_place_dbv(spectrum, spectrum.level_dbv)).astype(int)
    points = "L".join(f"{a} {b}" for a, b in zip(x.tolist(), y.tolist(), strict=True))
    floor = _TOP + _HEIGHT
    return (
        f'<path class="spectrum-trace" d="M{x[0]} {floor}L{points}L{x[-1]} {floor}Z" fill="{BEAM}"'
        f' fill-opacity=".35" stroke="{BEAM}" stroke-width="2" stroke-linejoin="round"/>'
    )


def _draw_marks(spectrum: SpectrumTrace) -> str:
    """Return a tick over each mark and the names, on two rows where they are close."""
    pieces = []
    last_x_in_first_row = -_LEAST_APART
    for mark in sorted(spectrum.marks, key=lambda mark: mark.hz):
        x = _place_hz(spectrum, mark.hz)
        # Mains is dashed, so that it is told from the lines of the signal without colour.
        dash = ' stroke-dasharray="4 6"' if mark.origin == "mains" else ""
        # A harmonic without a name is a tick alone: whole lines would hide the trace.
        height, width = (_HEIGHT, 2) if mark.name else (_TICK, 1.5)
        pieces.append(
            f'<path class="spectrum-mark" d="M{x} {_TOP}v{height}" stroke="{CAPTURED}"'
            f' stroke-width="{width}"{dash} fill="none"/>'
        )
        if not mark.name:
            continue
        row = 0 if x - last_x_in_first_row >= _LEAST_APART else 1
        if row == 0:
            last_x_in_first_row = x
        pieces.append(_draw_mark_name(mark, x, row))
    return "".join(pieces)


def _draw_mark_name(mark: SpectrumMark, x: int, row: int) -> str:
    """Return the name over a mark, in the first row (0) or the one above (1)."""
    name = mark.name.removeprefix("line ") if mark.origin == "line" else mark.name
    name_x = min(max(x, _LEFT + 50), _LEFT + _WIDTH - 60)
    words = _draw_text(name, name_x, _TOP - _FIRST_ROW - _ROW * row, "middle")
    return f'<g class="spectrum-name">{words}</g>'


def _draw_text(text: str, x: int, y: int, anchor: str) -> str:
    return (
        f'<text class="scope-words" x="{x}" y="{y}" font-size="{_LETTERS}" fill="{INK}"'
        f' text-anchor="{anchor}">{escape_svg_text(text)}</text>'
    )
