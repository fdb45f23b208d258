"""Chrominance without sync: the lines found by the envelope of burst and bars.

The carrier is demodulated at the subcarrier, its envelope folded at the line rate, and laid along
the envelope that the colour bars should have, where their correlation is highest. Burst and bars
may each be absent. Lines without chroma beside others with it are those of field blanking.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ....schema.systems import SCANNING, VIDEO_LEVELS, VIDEO_TIMING
from ....schema.waveforms import Samples
from ....schema.waveforms.colour_bars import bar_colours, compute_chrominance
from .bars import list_bar_spans_s
from .burst import CARRIERS_HZ
from .figure import Record
from .line_grid import LineGrid
from .sync_pulses import Sync

_CYCLES: Final = 3.0  # over which the envelope is smoothed
_LONGEST_SMOOTHING_S: Final = 1e-6
_PLACES: Final = 640  # along a line, 0.1 µs each
_MOST_LINES: Final = 40  # over which an error of 100 ppm of a time base moves nothing much
_LEAST_CORRELATION: Final = 0.5
_CLEARLY_BETTER: Final = 0.02  # of correlation
_SAMPLES_A_CYCLE: Final = 2.2
_PICTURE_SPANS_S: Final = ((12e-6, 35e-6), (35e-6, 58e-6))
_BLANK: Final = 0.2  # of the power of a usual line: a line with less carries no bars
_BLANKING_LINES: Final = 25  # of a field; BT.470-6
_FIELD_LINES: Final = 262.5  # of the shorter field
_LEAST_CHANCE: Final = 0.05  # of a record of any start to lie within a field blanking
_BAND_HZ: Final = 0.3e6  # on either side of a subcarrier: holds most of the power of bars
_OTHER_CARRIER: Final = 6.0  # times the power, to be another subcarrier


class NoLines(Exception):  # noqa: N818  an answer, not a failure
    """The reason why the lines of a chroma signal are not found, in words."""


def find_chroma_lines(record: Record, system: str, percent: float) -> LineGrid:
    """Return the grid of the first lines of chrominance of colour bars. Raises NoLines."""
    scanning = SCANNING[system]
    carrier_hz, line_s = float(scanning.subcarrier_hz[0]), float(1 / scanning.line_hz)
    return lay_chroma_lines(record, system, percent, carrier_hz, line_s)


def lay_chroma_lines(
    record: Record, system: str, percent: float, carrier_hz: float, line_s: float
) -> LineGrid:
    """Return the grid of the first lines of such a carrier and duration. Raises NoLines."""
    if record.rate_hz < _SAMPLES_A_CYCLE * carrier_hz:
        raise NoLines("sampled too slowly for the colour subcarrier")
    if record.span_s < line_s:
        raise NoLines("less than a line was captured")
    envelope = _fold_envelope(record, carrier_hz, line_s)
    smoothing = _find_smoothing_s(carrier_hz) / line_s * _PLACES
    burst, bars = (
        _smooth_over(template, smoothing) for template in _draw_templates(system, percent)
    )
    best_correlation, best_place = 0.0, 0
    # Either may be absent; both together are preferred.
    for template in (burst + bars, bars, burst):
        correlation, place = lay_along(envelope, template)
        if correlation > best_correlation + _CLEARLY_BETTER:
            best_correlation, best_place = correlation, place
    if best_correlation < _LEAST_CORRELATION:
        raise NoLines("no burst and no bars come once a line")
    first_s = best_place / _PLACES * line_s
    line_count = min(int((record.span_s - first_s) / line_s) + 2, _MOST_LINES)
    order = np.arange(-1, line_count)
    starts_s = first_s + order.astype(np.float64) * line_s
    return lay_bare_grid(record, starts_s, order, line_s, SCANNING[system].lines)


def find_other_carrier_hz(record: Record, carrier_hz: float) -> float | None:
    """Return another subcarrier that the record clearly has in place of the expected one, or None.

    The two subcarriers of ITU-R BT.470-6 are 0.85 MHz apart. Those of PAL-M and PAL-N, near that
    of NTSC, are not told from it.
    """
    others = [
        hz for hz in (CARRIERS_HZ["4.43"], CARRIERS_HZ["3.58"]) if not _is_near(hz, carrier_hz)
    ]
    if len(others) != 1 or record.rate_hz < _SAMPLES_A_CYCLE * max(others[0], carrier_hz):
        return None
    windowed_v = (record.volts - record.volts.mean()) * np.hanning(len(record.volts))
    bin_powers = np.abs(np.fft.rfft(windowed_v)) ** 2
    bin_hz = np.fft.rfftfreq(len(record.volts), record.interval_s)

    def sum_power(middle_hz: float) -> float:
        return float(bin_powers[np.abs(bin_hz - middle_hz) < _BAND_HZ].sum())

    (other_hz,) = others
    return other_hz if sum_power(other_hz) > _OTHER_CARRIER * sum_power(carrier_hz) else None


def _is_near(hz: float, other_hz: float) -> bool:
    return abs(hz - other_hz) < _BAND_HZ


def leave_out_blanking(grid: LineGrid) -> LineGrid:
    """Return the lines that carry bars, beside others that do not; else all lines.

    Without luminance the power of a line is that of its chroma.
    """
    powers = _compute_powers(grid)
    known = np.isfinite(powers)
    if not known.any():
        return grid
    blank = known & (powers < _BLANK * float(powers[known].max()))
    # A line at the end of the record that shows too little may be blank as well.
    left_out = blank | ~known if blank.any() else blank
    return replace(grid.select(~left_out), left_out=int(np.count_nonzero(left_out)))


def _compute_powers(grid: LineGrid) -> Samples:
    """Return the power of the weaker half of each line; nan where neither is in the record."""
    powers = np.full((len(_PICTURE_SPANS_S), len(grid)), np.inf)
    for part, span_s in zip(powers, _PICTURE_SPANS_S, strict=True):
        cut = grid.cut(*span_s)
        if cut.volts.shape[1] > 1:
            part[cut.which] = cut.volts.var(axis=1)
    least = powers.min(axis=0)
    return np.where(np.isfinite(least), least, np.nan)


def may_be_field_blanking(grid: LineGrid) -> bool:
    """Return whether a record of these lines may well lie within a field blanking by chance.

    A blanking of 25 lines holds as many starts of a record as it is longer than the record.
    """
    lines = grid.record.span_s / grid.line_s
    return (_BLANKING_LINES - lines) / _FIELD_LINES > _LEAST_CHANCE


def _fold_envelope(record: Record, carrier_hz: float, line_s: float) -> Samples:
    """Return the mean envelope along the line, shape (places,), from any moment of a line on."""
    sample_count = min(len(record.volts), int(_MOST_LINES * line_s / record.interval_s))
    t_s = np.arange(sample_count) * record.interval_s
    centred_v = record.volts[:sample_count] - record.volts[:sample_count].mean()
    # Turned down by the subcarrier and smoothed, the chroma is its envelope.
    turned_v = centred_v * np.exp(-2j * np.pi * carrier_hz * t_s)
    width = max(2, round(_find_smoothing_s(carrier_hz) / record.interval_s))
    envelope_v = np.abs(np.convolve(turned_v, np.full(width, 2 / width), "same"))

    place = (np.mod(t_s / line_s, 1.0) * _PLACES).astype(np.intp) % _PLACES
    samples_at = np.bincount(place, minlength=_PLACES)
    totals_v = np.bincount(place, envelope_v, minlength=_PLACES)
    means_v = totals_v / np.maximum(samples_at, 1)
    # Samples far apart leave places empty: they are interpolated.
    filled = np.flatnonzero(samples_at)
    return np.asarray(np.interp(np.arange(_PLACES), filled, means_v[filled], period=_PLACES))


def _find_smoothing_s(carrier_hz: float) -> float:
    """Return how long an envelope is averaged: three cycles, of a low carrier only one."""
    return max(min(_CYCLES / carrier_hz, _LONGEST_SMOOTHING_S), 1 / carrier_hz)


def _smooth_over(template: Samples, places: float) -> Samples:
    """Return an envelope averaged over so many places, as that of a record is."""
    width = max(1, round(places))
    around = np.pad(template, width, mode="wrap")
    return np.convolve(around, np.full(width, 1 / width), "same")[width:-width]


def _draw_templates(system: str, percent: float) -> tuple[Samples, Samples]:
    """Return the envelopes of the burst and of the bars along a line that starts at 0H."""
    timing, levels = VIDEO_TIMING[system], VIDEO_LEVELS[system]
    line_s = float(1 / SCANNING[system].line_hz)
    at_s = np.arange(_PLACES) / _PLACES * line_s
    end_s = timing.burst_start_s + timing.burst_cycles / float(SCANNING[system].subcarrier_hz[0])
    inside = (at_s >= timing.burst_start_s) & (at_s < end_s)
    burst = np.where(inside, float(levels.burst_pp) / 2, 0.0)
    bars = np.zeros(_PLACES)
    span = float(levels.white - levels.black)
    middles_s = [(a + b) / 2 for a, b in list_bar_spans_s(system)]
    half_s = (middles_s[1] - middles_s[0]) / 2
    for middle_s, colour in zip(middles_s, bar_colours(system, percent), strict=True):
        bars[np.abs(at_s - middle_s) <= half_s] = span * math.hypot(*compute_chrominance(colour))
    return burst, bars


def lay_along(envelope: Samples, template: Samples) -> tuple[float, int]:
    """Return the highest correlation, and the place of the template's start in the envelope."""
    first, second = envelope - envelope.mean(), template - template.mean()
    products = np.fft.irfft(np.fft.rfft(first) * np.fft.rfft(second).conj(), _PLACES)
    size = math.sqrt(float(first @ first) * float(second @ second))
    place = int(np.argmax(products))
    return (float(products[place]) / size if size else 0.0), place


def lay_bare_grid(
    record: Record, starts_s: Samples, order: NDArray[np.intp], line_s: float, lines: int
) -> LineGrid:
    """Return the grid of lines that have no sync of their own."""
    none = np.zeros(len(starts_s))
    sync = Sync(
        sign=1,
        starts_s=starts_s,
        widths_s=none,
        tips_v=none,
        blankings_v=none,
        numbers=order,
        line_s=line_s,
        line_uncertainty_s=math.inf,
        broad_s=none[:0],
        narrow_s=none[:0],
    )
    return LineGrid(record, sync, starts_s, order, None, lines)
