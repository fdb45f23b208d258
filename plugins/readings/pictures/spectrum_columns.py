"""The spectrum of a record in columns of a logarithmic axis, with mains and line harmonics marked.

Levels are those of sines, by a Hann window over the whole record: a peak is drawn at its own level,
or up to 1.4 dB below it where it lies between two bins; noise reads less the longer the record is.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from ....schema.quantities import print_value
from ....schema.systems import SCANNING
from ....schema.waveforms import Samples
from ...drawing.spectrum_picture import Origin, SpectrumMark, SpectrumTrace

_MOST_SAMPLES: Final = 1 << 19
_COLUMNS: Final = 440
_LEAST_BINS: Final = 2.5  # from zero, for a frequency to be seen apart from it
_LOWEST_HZ: Final = 10.0
_NARROWEST: Final = 4  # times the lowest frequency of the picture: a smaller span shows nothing
_MAINS_HARMONICS: Final = (1, 2)  # of the mains itself, and behind a full-wave rectifier
_LINE_HARMONICS: Final = 20
_NAMED_HARMONICS: Final = (1, 2, 4, 8)
_NEAR_BINS: Final = 2
_COLOURS_HZ: Final = 20e3  # about a subcarrier: the lines of its colours, a line rate apart
_BESIDE_BINS: Final = 40
_HANN_BANDWIDTH_BINS: Final = 1.5
_FEWEST_SAMPLES: Final = 48
_NOISE_QUANTILE: Final = 0.25  # of the bins beside a line: most of the others hold lines as well
_RISES_DB: Final = 14.0  # above the lower quarter beside it: five bins of noise hardly reach it
_LEAST_V: Final = 1e-9  # less is rounding
_MAINS_HZ: Final = {625: 50.0, 525: 60.0}
"""Where the system is at home; SECAM and PAL of 625 lines in lands of 50 Hz. Common practice."""


@dataclass(frozen=True, eq=False)
class SpectrumView:
    """A spectrum and the words about what its record is too short or too slow to show."""

    trace: SpectrumTrace
    note: str

    def document(self) -> list[dict[str, Any]]:
        """Return the named marks as plain data."""
        return [
            {"name": mark.name, "hz": mark.hz, "level_dbv": _round(mark.level_dbv)}
            for mark in self.trace.marks
            if mark.name
        ]


def _round(level_dbv: float | None) -> float | None:
    return None if level_dbv is None else round(level_dbv, 1)


def compute_spectrum(
    volts: Samples, interval_s: float, system: str | None, line_hz: float | None = None
) -> SpectrumView | None:
    """Return the spectrum of evenly spaced samples; None for too few.

    ``system`` gives mains, line rate and subcarrier; a measured ``line_hz`` takes precedence.
    """
    volts = volts[:_MOST_SAMPLES]
    count = len(volts)
    if count < _FEWEST_SAMPLES:
        return None
    bin_hz = 1 / (count * interval_s)
    from_hz = max(_LEAST_BINS * bin_hz, _LOWEST_HZ)
    to_hz = 0.5 / interval_s  # half the sampling rate (sampling theorem)
    if to_hz < _NARROWEST * from_hz:
        return None
    window = np.hanning(count + 1)[:-1]  # periodic: zero again one sample after its end
    peaks_v = np.abs(np.fft.rfft((volts - volts.mean()) * window)) * 2 / window.sum()
    levels_dbv = 20 * np.log10(np.maximum(peaks_v / math.sqrt(2), _LEAST_V))  # shape (bins,)
    marks = [
        replace(mark, level_dbv=_read_level(levels_dbv, mark.hz, mark.origin, bin_hz))
        for mark in _list_marks(system, line_hz)
        if from_hz <= mark.hz <= to_hz
    ]
    column_dbv = _gather(levels_dbv, bin_hz, from_hz, to_hz)
    trace = SpectrumTrace(from_hz, to_hz, column_dbv, tuple(marks))
    return SpectrumView(trace, _explain(system, from_hz, count * interval_s))


def _gather(levels_dbv: Samples, bin_hz: float, from_hz: float, to_hz: float) -> Samples:
    """Return the highest level in each column; between bins that are farther apart, a line."""
    edges_hz = np.geomspace(from_hz, to_hz, _COLUMNS + 1)
    middles = np.sqrt(edges_hz[:-1] * edges_hz[1:]) / bin_hz
    columns = np.interp(middles, np.arange(len(levels_dbv)), levels_dbv)
    first = np.ceil(edges_hz[:-1] / bin_hz).astype(int)
    after = np.minimum(np.ceil(edges_hz[1:] / bin_hz).astype(int), len(levels_dbv))
    held = after > first
    starts = np.stack([first[held], after[held]], axis=1).ravel()
    padded = np.append(levels_dbv, -np.inf)
    columns[held] = np.maximum.reduceat(padded, starts)[::2]
    return np.asarray(columns)


def _read_level(levels_dbv: Samples, hz: float, origin: Origin, bin_hz: float) -> float | None:
    """Return the level of the line about a frequency; None unless it rises above what is beside it.

    The power of the bins of a line, over the noise bandwidth of the window, is that of the sine
    wherever it lies between them (F. J. Harris, Proceedings of the IEEE 66, 1978). Of a subcarrier
    the strongest line of its colours is read: it is suppressed itself.
    """
    nearest_bin = round(hz / bin_hz)
    near_bins = _NEAR_BINS
    if origin == "subcarrier":
        near_bins = max(round(_COLOURS_HZ / bin_hz), _NEAR_BINS)
    first, end = max(nearest_bin - near_bins, 1), nearest_bin + near_bins + 1
    bin_powers = 10 ** (levels_dbv[first:end] / 10)
    line_powers = np.convolve(bin_powers, np.ones(2 * _NEAR_BINS + 1), "same")
    level_dbv = 10 * math.log10(float(line_powers.max()) / _HANN_BANDWIDTH_BINS)
    # Noise grows towards zero, where mains are; colours spread far about the subcarrier.
    reach = _BESIDE_BINS if origin == "mains" else len(levels_dbv)
    below_dbv = levels_dbv[max(first - reach, 1) : first]
    above_dbv = levels_dbv[end : end + reach]
    beside_dbv = np.concatenate([below_dbv, above_dbv])
    if not beside_dbv.size:
        return None
    noise_dbv = float(np.quantile(beside_dbv, _NOISE_QUANTILE))
    return level_dbv if level_dbv > noise_dbv + _RISES_DB else None


def _list_marks(system: str | None, line_hz: float | None) -> Iterator[SpectrumMark]:
    """Yield the frequencies that tell where a part of a signal is from, without their levels."""
    scanning = SCANNING.get(system or "")
    for mains_hz in {_MAINS_HZ[scanning.lines]} if scanning else sorted(_MAINS_HZ.values()):
        for order in _MAINS_HARMONICS:
            # Fields come at the rate of the mains, so that a picture has lines there as well.
            name = f"mains{', fields' if scanning else ''}" if order == 1 else f"mains × {order}"
            yield SpectrumMark("mains", name, mains_hz * order, None)
    if scanning is None:
        return
    line_hz = line_hz or float(scanning.line_hz)
    for order in range(1, _LINE_HARMONICS + 1):
        name = ("line" if order == 1 else f"line × {order}") if order in _NAMED_HARMONICS else ""
        yield SpectrumMark("line", name, line_hz * order, None)
    for hz in scanning.subcarrier_hz[:1]:
        yield SpectrumMark("subcarrier", "subcarrier", float(hz), None)


def _explain(system: str | None, from_hz: float, span_s: float) -> str:
    """Return why mains are not shown, or an empty text."""
    scanning = SCANNING.get(system or "")
    mains_hz = _MAINS_HZ[scanning.lines] if scanning else min(_MAINS_HZ.values())
    if from_hz <= mains_hz:
        return ""
    least_s = _LEAST_BINS / mains_hz
    return (
        f"{print_value(span_s, 's', 3)} of record is too short to show {mains_hz:g} Hz of mains:"
        f" capture {print_value(least_s, 's')} or more"
    )
