"""Colour bars on the lines of a record: luminance, and chroma by amplitude and phase.

Phases are counted from +U as the burst tells it; lines of negative V are mirrored, so that all
lines of PAL can be averaged (ITU-R BT.470-6, table 2).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from ....schema.systems import SCANNING, VIDEO_LEVELS, VIDEO_TIMING
from ....schema.waveforms import Samples
from ....schema.waveforms.colour_bars import (
    BAR_NAMES,
    bar_colours,
    compute_chrominance,
    compute_luminance,
)
from .averages import FlatPart, Mean, average, read_blanking
from .burst import Burst
from .carrier_fit import Vectors, fit_carrier
from .line_grid import Cut, LineGrid
from .sync_pulses import Index

GREY: Final = 1e-6
"""A chroma, on the scale of 1 V, that is rounding."""
_EDGE: Final = 0.22  # of a bar is left out at either end
_FEWEST_COLOURS: Final = 3  # bars with a phase, for the phase of all of them
_FEWEST_FOR_PHASE: Final = 4.0  # standard uncertainties of an amplitude with a phase
_FEWEST_SAMPLES: Final = 3
_SAMPLES_A_CYCLE: Final = 2.2  # at least, for a carrier to be fitted
_LEAST_CHROMA_V: Final = 1e-9  # less is rounding of the fit
_LEAST_ERROR_DEG: Final = 1e-6


@dataclass(frozen=True)
class BarReading:
    """One bar: its measured levels, and the standard's after the luminance gain."""

    name: str
    luminance: Mean
    """Above blanking, in volts."""
    amplitude: Mean
    """Half the peak to peak of the chroma, in volts."""
    phase_deg: Mean | None
    """From +U against the clock; None without chroma or burst. Its uncertainty is without that of
    the burst, which all bars share."""
    expected_luminance: float
    expected_chroma: complex
    """U + jV; both on the scale of 1 V from sync tip to white."""
    level_error_v: float
    """Standard uncertainty of the level alone, without that of blanking, which all bars share."""
    lines_behind_burst: float = 0.0
    """How far the bar's middle is behind the burst, in lines."""


@dataclass(frozen=True)
class BarReadings:
    """All eight bars, and the figures they give together."""

    bars: tuple[BarReading, ...]
    """Those of which a line in the record holds a part, from white to black."""
    white: float
    """Reference white over blanking, on the scale of 1 V."""
    noise_v: float
    burst_error_deg: float
    """Standard uncertainty of the burst that phases are counted from."""
    turn_error_deg: float = 0.0
    """Standard uncertainty of the turn of the subcarrier in a line, which all bars share."""

    def find(self, name: str) -> BarReading | None:
        """Return a bar by its name; None where it is not in the record."""
        return next((bar for bar in self.bars if bar.name == name), None)

    @property
    def luminance_gain(self) -> Mean:
        """Luminance over that of 1 V from sync tip to white, by a line through all bars but white.

        White is the first to be compressed; an error of blanking moves the line, not its slope.
        """
        bars = [bar for bar in self.bars if bar.name != "white"]
        expected = np.array([bar.expected_luminance for bar in bars])
        centred = expected - expected.mean()
        found = np.array([bar.luminance.value for bar in bars])
        errors = np.array([bar.level_error_v for bar in bars])
        squares = float(centred @ centred)
        error = float(np.linalg.norm(centred * errors))
        return Mean(float(centred @ found) / squares, error / squares)

    def place_on_line(self, expected_luminance: float) -> float:
        """Return the luminance in volts that the line through the bars gives for one bar."""
        bars = [bar for bar in self.bars if bar.name != "white"]
        middle = float(np.mean([bar.expected_luminance for bar in bars]))
        middle_v = float(np.mean([bar.luminance.value for bar in bars]))
        return middle_v + self.luminance_gain.value * (expected_luminance - middle)

    @property
    def chroma_gain(self) -> Mean:
        """Chroma over that of 1 V from sync tip to white, from the amplitudes of the bars."""
        coloured = [bar for bar in self.bars if abs(bar.expected_chroma) > GREY]
        expected = np.array([abs(bar.expected_chroma) for bar in coloured])
        found = np.array([bar.amplitude.value for bar in coloured])
        errors = np.array([bar.amplitude.uncertainty for bar in coloured])
        squares = float(expected @ expected)
        error = float(np.linalg.norm(expected * errors))
        return Mean(float(expected @ found) / squares, error / squares)

    @property
    def worst_misfit(self) -> float:
        """Largest difference of a luminance from its bar's but white, over the height of white."""
        gain = self.luminance_gain.value
        differences = [
            abs(bar.luminance.value - self.place_on_line(bar.expected_luminance))
            for bar in self.bars
            if bar.name != "white"
        ]
        return max(differences) / (self.white * abs(gain) or 1.0)

    def phase_error_deg(self) -> Mean | None:
        """Return by how much all colours are turned against the burst; None where unknown.

        On lines of either sign of V they turn the same way, which a PAL decoder makes good.
        """
        phases, turns_deg, lines_behind = list[Mean](), list[float](), list[float]()
        for bar in self.bars:
            if bar.phase_deg is not None:
                off_deg = bar.phase_deg.value - _compute_phase_deg(bar.expected_chroma)
                phases.append(bar.phase_deg)
                turns_deg.append(math.remainder(off_deg, 360))
                lines_behind.append(bar.lines_behind_burst)
        if len(phases) < _FEWEST_COLOURS:
            return None
        # Without any noise every colour counts alike.
        errors_deg = [phase.uncertainty for phase in phases]
        weights = np.maximum(errors_deg, _LEAST_ERROR_DEG) ** -2.0
        # Angles are averaged as directions: the mean of 359° and 1° is 0°.
        turn = float(np.angle(np.sum(weights * np.exp(1j * np.radians(turns_deg)))))
        mean_lines_behind = float(np.average(lines_behind, weights=weights))
        noise_deg = float(np.sum(weights)) ** -0.5
        drift_deg = mean_lines_behind * self.turn_error_deg
        return Mean(math.degrees(turn), math.hypot(noise_deg, self.burst_error_deg, drift_deg))

    def find_phase_error_deg(self, bar: BarReading) -> float:
        """Return the standard uncertainty of a bar's phase, that of the burst included."""
        own_deg = bar.phase_deg.uncertainty if bar.phase_deg is not None else math.inf
        turn_deg = bar.lines_behind_burst * self.turn_error_deg
        return math.hypot(own_deg, self.burst_error_deg, turn_deg)


def _compute_phase_deg(vector: complex) -> float:
    return math.degrees(math.atan2(vector.imag, vector.real)) % 360


def list_bar_spans_s(system: str) -> list[tuple[float, float]]:
    """Return start and end of the level part of each bar, in seconds after 0H."""
    timing = VIDEO_TIMING[system]
    end_s = float(1 / SCANNING[system].line_hz) - timing.front_porch_s
    edges = np.linspace(timing.picture_start_s, end_s, len(BAR_NAMES) + 1)
    margin = _EDGE * float(edges[1] - edges[0])
    return [(float(a) + margin, float(b) - margin) for a, b in pairwise(edges)]


def measure_bars(
    grid: LineGrid, system: str, percent: float, carrier_hz: float, burst: Burst | None
) -> BarReadings | None:
    """Return the bars of the lines of a grid; None where no line holds all of them.

    Without ``burst``, or where samples are too far apart for the carrier, there are no phases.
    """
    levels, blanking = VIDEO_LEVELS[system], read_blanking(grid)
    if blanking is None:
        return None
    black, height = float(levels.black), float(levels.white - levels.black)
    readings, noises_v = list[BarReading](), list[float]()
    colours = bar_colours(system, percent)
    for name, colour, span_s in zip(BAR_NAMES, colours, list_bar_spans_s(system), strict=True):
        chroma = height * complex(*compute_chrominance(colour))
        part = _read_part(grid, span_s, carrier_hz, burst, chroma)
        if part is None:
            continue
        # Frequency modulation has no amplitude and no phase to be read.
        if system.startswith("SECAM"):
            part = replace(part, amplitude=Mean(0.0, math.inf), phase_deg=None)
        middle_s = sum(span_s) / 2
        noises_v.append(part.noise_v)
        readings.append(
            BarReading(
                name=name,
                luminance=_clamp(grid, part, blanking),
                amplitude=part.amplitude,
                phase_deg=part.phase_deg,
                expected_luminance=black + height * compute_luminance(colour),
                expected_chroma=chroma,
                level_error_v=_find_level_error_v(part),
                lines_behind_burst=burst.count_lines(middle_s) if burst is not None else 0.0,
            )
        )
    coloured = [bar for bar in readings[:-1] if abs(bar.expected_chroma) > GREY]
    if len(coloured) < _FEWEST_COLOURS - 1:
        return None
    return BarReadings(
        bars=tuple(readings),
        white=float(levels.white),
        noise_v=float(np.median(noises_v)),
        burst_error_deg=_find_error_deg(burst),
        turn_error_deg=math.degrees(burst.turn_doubt) if burst is not None else 0.0,
    )


def _find_level_error_v(part: _Part) -> float:
    """Return the standard uncertainty of the level of a part over all lines."""
    return math.hypot(part.level_error_v / math.sqrt(len(part.which)), part.rounding_v)


def _find_error_deg(burst: Burst | None) -> float:
    """Return the standard uncertainty of the phase of a burst."""
    if burst is None:
        return 0.0
    lines = math.sqrt(len(burst.order))
    return math.degrees(burst.fit.vector_error_v / burst.amplitude.value) / lines


@dataclass(frozen=True, eq=False)
class _Part:
    """A level part of the picture: its level on each line, its chroma over all lines."""

    levels_v: Samples
    level_error_v: float
    noise_v: float
    which: Index
    amplitude: Mean
    phase_deg: Mean | None
    rounding_v: float
    """Standard uncertainty of the level of all lines by rounding to codes."""


def _read_part(
    grid: LineGrid,
    span_s: tuple[float, float],
    carrier_hz: float,
    burst: Burst | None,
    chroma: complex,
) -> _Part | None:
    """Return a part with its chroma; without it where samples are too far apart for a carrier.

    None where no line holds the part, or too few samples of it.
    """
    cut = grid.cut(*span_s)
    if not cut.which.size or cut.volts.shape[1] < _FEWEST_SAMPLES:
        return None
    can_show_carrier = grid.record.rate_hz > _SAMPLES_A_CYCLE * carrier_hz
    fit = fit_carrier(cut, carrier_hz) if can_show_carrier else None
    if fit is None:
        return _read_level_alone(grid, cut)
    level_rounding_v, vector_rounding_v = fit.find_rounding_v(grid, carrier_hz)
    amplitude = _average_amplitude(fit.vectors, fit.vector_error_v)
    amplitude = replace(amplitude, uncertainty=math.hypot(amplitude.uncertainty, vector_rounding_v))
    phase = None
    # A bar that the screen cuts off flat has no chroma to turn.
    has_chroma = amplitude.value > max(grid.record.mean_error_v(0.0), _LEAST_CHROMA_V)
    if burst is not None and abs(chroma) > GREY and has_chroma:
        order, middle_s = grid.order[cut.which], sum(span_s) / 2
        turned = _turn_to_burst(fit.vectors, order, middle_s, burst, chroma)
        phase = _average_phase(turned, fit.vector_error_v, amplitude.value, burst, chroma)
    return _Part(
        levels_v=fit.levels_v,
        level_error_v=fit.level_error_v,
        noise_v=fit.noise_v,
        which=cut.which,
        amplitude=amplitude,
        phase_deg=phase,
        rounding_v=level_rounding_v,
    )


def _read_level_alone(grid: LineGrid, cut: Cut) -> _Part:
    """Return a part whose chroma the samples cannot show: its amplitude is quite uncertain."""
    levels_v = cut.volts.mean(axis=1)
    noise_v = float(np.std(cut.volts - levels_v[:, None]))
    return _Part(
        levels_v=levels_v,
        level_error_v=noise_v / math.sqrt(cut.volts.shape[1]),
        noise_v=noise_v,
        which=cut.which,
        amplitude=Mean(0.0, math.inf),
        phase_deg=None,
        rounding_v=grid.record.mean_error_v(noise_v),
    )


def _clamp(grid: LineGrid, part: _Part, blanking: FlatPart) -> Mean:
    """Return the level above the blanking of the same lines, so that hum does not count."""
    _, at, beside = np.intersect1d(part.which, blanking.which, return_indices=True)
    blank_error_v = blanking.noise_v / math.sqrt(blanking.samples)
    rounding_v = math.hypot(part.rounding_v, grid.record.mean_error_v(blanking.noise_v))
    if not at.size:
        above = average(part.levels_v, part.level_error_v)
        blank = average(blanking.means_v, blank_error_v)
        return above - blank
    above = average(
        part.levels_v[at] - blanking.means_v[beside],
        math.hypot(part.level_error_v, blank_error_v),
    )
    return Mean(above.value, math.hypot(above.uncertainty, rounding_v))


def _average_amplitude(vectors: Vectors, error_v: float) -> Mean:
    """Return the amplitude without the part that noise adds to the length of a vector."""
    squares = float(np.mean(np.abs(vectors) ** 2)) - 2 * error_v**2
    amplitude = math.sqrt(max(squares, 0.0))
    # The length of a vector that is shorter than its noise is not normally distributed.
    lines = len(vectors) ** (0.5 if amplitude > 3 * error_v else 0.25)
    return Mean(amplitude, error_v / lines)


def _turn_to_burst(
    vectors: Vectors, order: Index, after_s: float, burst: Burst, chroma: complex
) -> complex:
    """Return the mean by which the colour is turned, and longer, against its place by the burst.

    On lines of negative V its place is mirrored about the U axis.
    """
    turned = vectors * burst.reference(order.astype(np.float64), after_s).conj()
    place = np.full(len(order), chroma)
    if burst.alternates:
        even_positive = bool(burst.is_positive[0]) == (burst.order[0] % 2 == 0)
        place = np.where((order % 2 == 0) == even_positive, chroma, chroma.conjugate())
    return complex(np.mean(turned * place.conj())) / abs(chroma) ** 2


def _average_phase(
    turned: complex, error_v: float, amplitude_v: float, burst: Burst, chroma: complex
) -> Mean | None:
    """Return the phase on lines of positive V; None where noise hides it."""
    lines = len(burst.order)
    error_deg = math.degrees(error_v / amplitude_v) / math.sqrt(lines)
    if error_deg > math.degrees(1 / _FEWEST_FOR_PHASE) or not turned:
        return None
    return Mean((_compute_phase_deg(chroma) + _compute_phase_deg(turned)) % 360, error_deg)
