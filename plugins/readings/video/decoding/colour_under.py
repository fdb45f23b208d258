"""Chrominance brought down for the tape: burst and bars of a recorder's colour-under carrier.

The carrier has few cycles in a burst (1.4 of 627 kHz): the burst is fitted under its whole
envelope, by least squares. Its frequency may be off by the flutter of the tape: speeds within the
tolerance of the carrier are tried, and each bar is fitted by itself. IEC 60774-1, from memory.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final, NamedTuple

import numpy as np

from .....schema.waveforms.kinds.recorder import ColourUnder
from .....schema.waveforms.video_signal import gate_burst
from ..averages import Mean
from ..bars import BarReadings, measure_bars
from ..carrier_fit import Vectors
from ..chroma_alone import NoLines, lay_chroma_lines, leave_out_blanking
from ..composite import list_bar_figures
from ..figure import Figure, Record
from ..line_grid import LineGrid

BURST: Final = "burst amplitude"
BARS: Final = "chroma of the bars"
_AROUND_S: Final = (4.9e-6, 9.0e-6)  # the burst and its edges; the bars begin behind
_FEWEST_SAMPLES: Final = 6
_STEADY: Final = 1e-3  # tolerance over the frequency: more is a tape's
_PLACE_DOUBT: Final = 0.01  # of the amplitude, by the place of an envelope of few cycles
_SPEEDS: Final = 9  # of the tape that are tried, within the tolerance of the carrier


def measure_colour_under(record: Record, waveform: ColourUnder) -> tuple[Figure, ...]:
    """Return burst, bars and noise of a colour-under carrier; none where no lines are found."""
    best = max(_measure_speeds(record, waveform), key=lambda one: one.burst_vpp, default=None)
    if best is None:
        return ()
    grid, bars, figures = best.grid, best.bars, list(best.figures)
    gain = bars.chroma_gain
    share = 100 / waveform.volts_of_unit
    figures.append(Figure(BARS, gain.value * share, "%", gain.uncertainty * share))
    figures += [one for one in list_bar_figures(bars).values() if one.name.endswith(" chroma")]
    samples = max(len(grid) * grid.line_s * record.rate_hz, 1.0)
    figures.append(Figure("noise", bars.noise_v, "V", bars.noise_v / math.sqrt(samples)))
    return tuple(figures)


class _AtSpeed(NamedTuple):
    """Bars and burst on the lines laid for one speed of the tape."""

    grid: LineGrid
    bars: BarReadings
    figures: tuple[Figure, ...]
    """Those of the burst."""

    @property
    def burst_vpp(self) -> float:
        """Amplitude of the burst: largest where its envelope lies on it on all lines."""
        return self.figures[0].value if self.figures else 0.0


def _measure_speeds(record: Record, waveform: ColourUnder) -> Iterator[_AtSpeed]:
    """Yield bars and burst for speeds of the tape within the tolerance of the carrier.

    Flutter makes lines and carrier quicker or slower together.
    """
    system, percent = waveform.system, waveform.bars.nominal
    nominal_hz, (low_hz, high_hz) = waveform.frequency.nominal, waveform.frequency.limits(0.0)
    is_steady = high_hz - low_hz < _STEADY * nominal_hz
    for carrier_hz in [nominal_hz] if is_steady else np.linspace(low_hz, high_hz, _SPEEDS):
        line_s = float(nominal_hz / carrier_hz / waveform.scanning.line_hz)
        try:
            laid = lay_chroma_lines(record, system, percent, float(carrier_hz), line_s)
        except NoLines:
            continue
        grid = leave_out_blanking(laid)
        bars = measure_bars(grid, system, percent, float(carrier_hz), None)
        if bars is not None:
            burst = _measure_burst(
                grid, system, float(carrier_hz), bars.noise_v, is_steady=is_steady
            )
            yield _AtSpeed(grid, bars, tuple(burst))


def _measure_burst(
    grid: LineGrid, system: str, carrier_hz: float, noise_v: float, *, is_steady: bool
) -> Iterator[Figure]:
    """Yield the burst's amplitude and, of a steady carrier, the turn of its phase over two lines.

    Two lines on, the V switch of PAL is back: a quarter turn a line makes 180°, none makes 0°.
    """
    cut = grid.cut(*_AROUND_S)
    if not cut.which.size or cut.volts.shape[1] < _FEWEST_SAMPLES:
        return
    gate = gate_burst(system)
    vectors = np.empty(len(cut.which), dtype=np.complex128)
    errors_v = np.empty(len(cut.which))
    for place, (volts, after_s) in enumerate(zip(cut.volts, cut.after_s, strict=True)):
        shape = gate(after_s + cut.along_s)
        angle = 2 * np.pi * carrier_hz * cut.along_s
        basis = np.column_stack([np.ones_like(shape), shape * np.sin(angle), shape * np.cos(angle)])
        scale = np.linalg.pinv(basis.T @ basis)
        solved = scale @ (basis.T @ volts)
        vectors[place] = solved[1] + 1j * solved[2]
        errors_v[place] = noise_v * math.sqrt(float(scale[1, 1] + scale[2, 2]) / 2)
    vectors *= np.exp(-2j * np.pi * carrier_hz * cut.at_s)
    error_v = float(np.mean(errors_v))
    amplitude = _average_length(vectors, error_v)
    error_vpp = 2 * math.hypot(amplitude.uncertainty, _PLACE_DOUBT * amplitude.value)
    yield Figure(BURST, 2 * amplitude.value, "Vpp", error_vpp)
    if not is_steady:
        return
    order = grid.order[cut.which]
    pairs = np.flatnonzero(order[2:] - order[:-2] == 2)
    if pairs.size and amplitude.value > error_v:
        turn = np.angle(np.sum(vectors[pairs + 2] * vectors[pairs].conj()))
        doubt_deg = math.degrees(error_v / amplitude.value) * math.sqrt(2 / len(pairs))
        yield Figure(
            "turn of the burst over two lines", abs(math.degrees(float(turn))), "°", doubt_deg
        )


def _average_length(vectors: Vectors, error_v: float) -> Mean:
    """Return the root mean square length, without the part that noise adds to it."""
    square = float(np.mean(np.abs(vectors) ** 2)) - 2 * error_v**2
    return Mean(math.sqrt(max(square, 0.0)), error_v / math.sqrt(len(vectors)))
