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
_LEAST_APART: Final = 118  # units between two names, which are written on two rows
_TICK: Final = 14

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
        return math.ceil((float(self.level_dbv.max()) + 3) / _DB_STEP) * _DB_STEP

    @property
    def bottom_dbv(self) -> float:
        """Lower end of the picture, below nine tenths of the noise."""
        low = float(np.percentile(self.level_dbv, 10)) - 5
        return min(math.floor(low / _DB_STEP) * _DB_STEP, self.top_dbv - 3 * _DB_STEP)


def draw_spectrum(
    spectrum: SpectrumTrace, title: str, note: str = "", *, standalone: bool = False
) -> str:
    """Return the spectrum as SVG; ``note`` says what it cannot show."""
    body = _draw_axes(spectrum) + _draw_trace(spectrum) + _draw_marks(spectrum)
    named = "; ".join(mark.words for mark in spectrum.marks if mark.name)
    return frame_svg(
        body,
        size=(_LEFT + _WIDTH + 10, _TOP + _HEIGHT + _BELOW),
        name="spectrum-picture",
        title=title,
        description=". ".join(part for part in (named, note) if part),
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
    """Return paper, a line each decade and each step of decibels, and their names."""
    decades = range(
        math.ceil(math.log10(spectrum.from_hz)), math.floor(math.log10(spectrum.to_hz)) + 1
    )
    across = [(_place_hz(spectrum, 10.0**power), 10.0**power) for power in decades]
    levels = np.arange(spectrum.bottom_dbv, spectrum.top_dbv + 1, _DB_STEP)
    heights = [round(y) for y in _place_dbv(spectrum, levels).tolist()]
    rules = "".join(f"M{x} {_TOP}v{_HEIGHT}" for x, _ in across)
    rules += "".join(f"M{_LEFT} {y}h{_WIDTH}" for y in heights)
    names = "".join(
        _draw_text(
            print_value(hz, "Hz"), min(max(x, _LEFT + 40), _LEFT + _WIDTH - 40), below, "middle"
        )
        for x, hz in across
        for below in (_TOP + _HEIGHT + 34,)
    )
    names += "".join(
        _draw_text(f"{level:.0f}", _LEFT - 8, y + 9, "end")
        for level, y in zip(levels.tolist(), heights, strict=True)
    )
    names += _draw_text("dBV", _LEFT - 8, _TOP + _HEIGHT + 34, "end")
    return (
        f'<rect class="scope-screen" x="{_LEFT}" y="{_TOP}" width="{_WIDTH}" height="{_HEIGHT}"'
        f' fill="{PAPER}"/><g class="scope-graticule" fill="none" stroke="{LINES}">'
        f'<path d="{rules}" stroke-width="1.5"/></g>{names}'
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
    parts, ends = [], [-_LEAST_APART, -_LEAST_APART]
    for mark in sorted(spectrum.marks, key=lambda one: one.hz):
        x = _place_hz(spectrum, mark.hz)
        dash = ' stroke-dasharray="4 6"' if mark.origin == "mains" else ""
        reach = _HEIGHT if mark.name else _TICK
        parts.append(
            f'<path class="spectrum-mark" d="M{x} {_TOP}v{reach}" stroke="{CAPTURED}"'
            f' stroke-width="{2 if mark.name else 1.5}"{dash} fill="none"/>'
        )
        if mark.name:
            row = 0 if x - ends[0] >= _LEAST_APART else 1
            ends[row] = x
            at = min(max(x, _LEFT + 50), _LEFT + _WIDTH - 60)
            name = mark.name.removeprefix("line ") if mark.origin == "line" else mark.name
            words = _draw_text(name, at, _TOP - 12 - 30 * row, "middle")
            parts.append(f'<g class="spectrum-name">{words}</g>')
    return "".join(parts)


def _draw_text(text: str, x: int, y: int, anchor: str) -> str:
    return (
        f'<text class="scope-words" x="{x}" y="{y}" font-size="{_LETTERS}" fill="{INK}"'
        f' text-anchor="{anchor}">{escape_svg_text(text)}</text>'
    )
