"""Measured colour vectors against the places of the standard.

Places: the chroma of colour bars by ITU-R BT.470-6, table 2, and SMPTE 170M, on lines of positive
V. Amplitudes are counted in bursts as the pin should show them, phases from +U as the measured
burst tells it.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import fmean
from typing import Any, Final

from ....schema.chips.expectation import Expectation
from ....schema.waveforms.kinds.composite_video import Chrominance, CompositeVideo
from ....schema.waveforms.vectors import Vector, list_bar_vectors, list_burst_vectors
from ...drawing.vector_display import TargetBox, VectorDisplay
from ..video.broadcast_limits import LEAST_CHROMA_GAIN, MOST_CHROMA_GAIN, MOST_PHASE_ERROR_DEG
from ..video.judged_figure import JudgedFigure
from ..video.video_check import VideoCheck, read_expected

_BURST, _SWING = "burst amplitude", "burst swing from line to line"
_NTSC_BURST_DEG: Final = 180.0
_TURNED_DEG: Final = 2.0  # less is the right direction, in words
_RIGHT_LENGTH: Final = (0.95, 1.05)
_LEAST_BURST: Final = 0.02  # of the expected one: less is no line


@dataclass(frozen=True)
class MeasuredColour:
    """One bar as measured and as it should be."""

    name: str
    vector: Vector
    """Amplitude in expected bursts."""
    length_share: float
    """Over the amplitude that it should have."""
    turned_deg: float
    """From where it should be, against the clock; -180 to 180."""
    is_inside: bool
    """Whether it lies in its target box."""

    def document(self) -> dict[str, Any]:
        """Return the colour as plain data."""
        return {
            "name": self.name,
            "phase_deg": round(self.vector.phase_deg, 2),
            "length_share": round(self.length_share, 4),
            "turned_deg": round(self.turned_deg, 2),
            "in_box": self.is_inside,
        }


@dataclass(frozen=True)
class ColourVectors:
    """All colours, with their boxes."""

    display: VectorDisplay
    colours: tuple[MeasuredColour, ...]
    """Empty where there is no burst to count phases from."""

    @property
    def words(self) -> str:
        """Direction and length of the vectors in a sentence."""
        if not self.colours:
            return "No burst to count phases from: no direction of the colours can be told."
        # A wrong phase of the carrier turns all colours alike, a wrong gain stretches all of them.
        turned_deg = fmean(colour.turned_deg for colour in self.colours)
        direction = "Right direction"
        if abs(turned_deg) >= _TURNED_DEG:
            way = "against the clock" if turned_deg > 0 else "with the clock"
            direction = f"Turned by {abs(turned_deg):.0f}° {way}"
        length_share = fmean(colour.length_share for colour in self.colours)
        shortest, longest = _RIGHT_LENGTH
        has_right_length = shortest <= length_share <= longest
        length = "right length" if has_right_length else f"{length_share:.0%} of the length"
        outside = [colour.name for colour in self.colours if not colour.is_inside]
        boxes = f"outside their boxes: {', '.join(outside)}" if outside else "all in their boxes"
        return f"{direction}, {length}; {boxes}."

    def document(self) -> list[dict[str, Any]]:
        """Return the colours as plain data."""
        return [colour.document() for colour in self.colours]


def compare_vectors(expectation: Expectation, video: VideoCheck | None) -> ColourVectors | None:
    """Return the vectors of a capture; None for a signal without quadrature chroma of bars."""
    waveform = expectation.waveform
    if video is None or not isinstance(waveform, CompositeVideo | Chrominance):
        return None
    system, bars_percent = waveform.system, waveform.bars.nominal
    # SECAM modulates the frequency of its carriers: they have no vectors.
    if system.startswith("SECAM"):
        return None
    figure_of = {figure.name: figure for figure in video.figures}
    burst = figure_of.get(_BURST)
    if burst is None:
        return None
    expected_v = _find_expected_burst_v(expectation, waveform)
    nominal_vectors = list_bar_vectors(system, bars_percent)
    measured = (_measure(nominal, figure_of, expected_v) for nominal in nominal_vectors)
    colours = tuple(colour for colour in measured if colour is not None)
    display = VectorDisplay(
        boxes=tuple(_draw_box(nominal) for nominal in nominal_vectors),
        measured=tuple(colour.vector for colour in colours),
        bursts=list_burst_vectors(system),
        measured_bursts=_list_bursts(burst, figure_of.get(_SWING), expected_v),
    )
    return ColourVectors(display, colours)


def _find_expected_burst_v(
    expectation: Expectation, waveform: CompositeVideo | Chrominance
) -> float:
    """Return the burst's peak to peak as the pin should show it."""
    if isinstance(waveform, Chrominance):
        return waveform.burst.nominal
    expected = read_expected(expectation)
    assert expected is not None  # composite video is one
    return expected.burst_v


def _draw_box(nominal: Vector) -> TargetBox:
    """Return the box of the limits that chroma and phase are held against."""
    return TargetBox(
        nominal,
        low=LEAST_CHROMA_GAIN * nominal.amplitude,
        high=MOST_CHROMA_GAIN * nominal.amplitude,
        slack_deg=MOST_PHASE_ERROR_DEG,
    )


def _measure(
    nominal: Vector, figure_of: dict[str, JudgedFigure], expected_v: float
) -> MeasuredColour | None:
    """Return one bar beside its nominal place; None where it has no phase."""
    name = nominal.name
    chroma, phase = figure_of.get(f"{name} chroma"), figure_of.get(f"{name} phase")
    if chroma is None or phase is None:
        return None
    amplitude, phase_deg = chroma.corrected.value / expected_v, phase.corrected.value
    length_share = amplitude / nominal.amplitude
    # The shorter way round: 350° and 10° are 20° apart.
    turned_deg = (phase_deg - nominal.phase_deg + 180) % 360 - 180
    has_right_length = LEAST_CHROMA_GAIN <= length_share <= MOST_CHROMA_GAIN
    return MeasuredColour(
        name=name,
        vector=Vector(name, amplitude, phase_deg % 360),
        length_share=length_share,
        turned_deg=turned_deg,
        is_inside=has_right_length and abs(turned_deg) <= MOST_PHASE_ERROR_DEG,
    )


def _list_bursts(
    burst: JudgedFigure, swing: JudgedFigure | None, expected_v: float
) -> tuple[Vector, ...]:
    """Return the measured burst about -U, which it tells itself; two where it swings."""
    amplitude = burst.corrected.value / expected_v
    if amplitude < _LEAST_BURST:
        return ()
    half_deg = swing.corrected.value / 2 if swing is not None else 0.0
    phases = dict.fromkeys((_NTSC_BURST_DEG - half_deg, _NTSC_BURST_DEG + half_deg))
    return tuple(Vector("burst", amplitude, phase_deg) for phase_deg in phases)
