"""Colour-difference and RGB signals of colour bars: levels, size, polarity, axis, crosstalk.

They have no sync: their lines are found where the shape of the bars, right way up or upside down,
fits the record best, folded at the line rate. The levels of the eight bars over blanking are then
a sum of shares of the signals that may be in them, by least squares: of R-Y, B-Y and luminance in
a colour difference, of the three colours in red, green or blue. A demodulator whose reference is
turned by an angle p gives V cos p + U sin p on its R-Y output and U cos p - V sin p on B-Y, from
the definition of synchronous demodulation, with U = 0.492 (B-Y) and V = 0.877 (R-Y) (ITU-R BT.470).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from .....schema.systems import SCANNING
from .....schema.waveforms import Samples
from .....schema.waveforms.colour_bars import (
    BAR_NAMES,
    K_U,
    K_V,
    LUMA,
    bar_colours,
    compute_luminance,
)
from .....schema.waveforms.kinds.colour_difference import ColourDifference, RgbBars
from ..averages import Mean, read_flat_part
from ..bars import list_bar_spans_s
from ..chroma_alone import lay_along, lay_bare_grid, leave_out_blanking
from ..figure import Figure, Record
from ..line_grid import LineGrid

DecodedBars = ColourDifference | RgbBars

_PLACES: Final = 640  # along a line, 0.1 µs each
_FOLDED_LINES: Final = 40
_MOST_LINES: Final = 600
_LEAST_FIT: Final = 0.7  # correlation of the record with the bars
_BLANKING_S: Final = (1.0e-6, 7.5e-6)  # level in the whole of every blanking
_SLOWEST_S: Final = 1.0e-6  # interval that shows the level of a bar


class DecodedReading(NamedTuple):
    """The figures of decoded bars, and the lines they were measured on."""

    figures: tuple[Figure, ...]
    grid: LineGrid
    is_inverted: bool
    """Whether the bars are upside down, against the expected polarity."""


@dataclass(frozen=True, eq=False)
class _Levels:
    """Levels of the eight bars over blanking, shapes (bars,), and their noise."""

    volts: Samples
    errors_v: Samples
    noise: Mean


def measure_decoded(
    record: Record, waveform: DecodedBars, frequency_hz: float | None
) -> DecodedReading | None:
    """Return the figures of decoded bars; None where their lines are not found.

    ``frequency_hz`` is the line rate where it was measured.
    """
    line_hz = frequency_hz or float(SCANNING[waveform.system].line_hz)
    if record.interval_s > _SLOWEST_S or record.span_s < 1 / line_hz:
        return None
    grid = _find_lines(record, waveform, 1 / line_hz)
    if grid is None:
        return None
    levels = _read_levels(leave_out_blanking(grid), waveform.system)
    if levels is None:
        return None
    figures = [
        Figure(f"{name} level", float(volts), "V", float(error_v))
        for name, volts, error_v in zip(BAR_NAMES, levels.volts, levels.errors_v, strict=True)
    ]
    figures.append(Figure("noise", levels.noise.value, "V", levels.noise.uncertainty))
    find = _list_difference if isinstance(waveform, ColourDifference) else _list_colour
    shares = _fit_shares(waveform, levels)
    figures += find(waveform, shares)
    return DecodedReading(tuple(figures), grid, shares.values[0] < 0)


def _find_lines(record: Record, waveform: DecodedBars, line_s: float) -> LineGrid | None:
    """Return the grid of the lines; None where the bars do not fit."""
    sample_count = min(len(record.volts), int(_FOLDED_LINES * line_s / record.interval_s))
    t_s = np.arange(sample_count) * record.interval_s
    place = (np.mod(t_s / line_s, 1.0) * _PLACES).astype(np.intp) % _PLACES
    samples_at = np.bincount(place, minlength=_PLACES)
    totals_v = np.bincount(place, record.volts[:sample_count], minlength=_PLACES)
    means_v = totals_v / np.maximum(samples_at, 1)
    filled = np.flatnonzero(samples_at)
    folded_v = np.interp(np.arange(_PLACES), filled, means_v[filled], period=_PLACES)
    # Bars that are upside down fit the template with the other sign.
    template_v = waveform.volts(np.arange(_PLACES) / _PLACES * waveform.line_s)
    correlation, shift = max(lay_along(folded_v, template_v), lay_along(-folded_v, template_v))
    if correlation < _LEAST_FIT:
        return None
    first_s = shift / _PLACES * line_s
    line_count = min(int((record.span_s - first_s) / line_s) + 2, _MOST_LINES)
    order = np.arange(-1, line_count)
    starts_s = first_s + order.astype(np.float64) * line_s
    return lay_bare_grid(record, starts_s, order, line_s, SCANNING[waveform.system].lines)


def _read_levels(grid: LineGrid, system: str) -> _Levels | None:
    """Return the levels of all bars; None where one of them is not in the record."""
    parts = [read_flat_part(grid, *span_s) for span_s in list_bar_spans_s(system)]
    blanking = read_flat_part(grid, *_BLANKING_S)
    if blanking is None:
        return None
    rest = blanking.average(grid.record)
    means = [part.average(grid.record) - rest for part in parts if part is not None]
    if len(means) < len(parts):
        return None
    noise_v = float(np.median([part.noise_v for part in parts if part is not None]))
    freedom = sum(part.means_v.size * (part.samples - 1) for part in parts if part is not None)
    rounding_v = math.sqrt(noise_v**2 + grid.record.scatter_error_v2(noise_v)) - noise_v
    noise = Mean(noise_v, math.hypot(noise_v / math.sqrt(2 * max(freedom, 1)), rounding_v))
    values = np.array([mean.value for mean in means])
    return _Levels(values, np.array([mean.uncertainty for mean in means]), noise)


class _Shares(NamedTuple):
    """Shares of signals in the levels, in volts for one unit of each; the pin's own comes first."""

    names: tuple[str, ...]
    values: Samples
    errors: Samples
    misfit: float
    """Largest difference that is left, in volts."""


def _fit_shares(waveform: DecodedBars, levels: _Levels) -> _Shares:
    colours = np.array(bar_colours(waveform.system, waveform.bars.nominal))
    luma = np.array([compute_luminance(tuple(colour)) for colour in colours])
    names, signals = _list_signals(waveform, colours, luma)
    basis = np.column_stack(signals)
    if waveform.polarity == "negative":
        basis = -basis
    scale = np.linalg.pinv(basis)
    values = scale @ levels.volts
    misfit = float(np.abs(levels.volts - basis @ values).max())
    errors = np.sqrt((scale**2) @ levels.errors_v**2)
    return _Shares(names, values, np.asarray(errors), misfit)


def _list_signals(
    waveform: DecodedBars, colours: NDArray[np.float64], luma: Samples
) -> tuple[tuple[str, ...], list[Samples]]:
    """Return names and levels of the signals that may be in the bars, the pin's own first."""
    if isinstance(waveform, RgbBars):
        names = sorted(("red", "green", "blue"), key=lambda name: name != waveform.colour)
        return tuple(names), [colours[:, ("red", "green", "blue").index(name)] for name in names]
    difference = {"R-Y": colours[:, 0] - luma, "B-Y": colours[:, 2] - luma}
    if waveform.axis == "G-Y":
        green = colours[:, 1] - luma
        # Across the plane of the differences, at a right angle to G-Y over these bars.
        other = difference["B-Y"] - green * (green @ difference["B-Y"]) / (green @ green)
        return ("G-Y", "across G-Y", "luminance"), [green, other, luma]
    partner = "B-Y" if waveform.axis == "R-Y" else "R-Y"
    signals = [difference[waveform.axis], difference[partner], luma]
    return (waveform.axis, partner, "luminance"), signals


def _list_difference(waveform: DecodedBars, shares: _Shares) -> Iterator[Figure]:
    """Yield size, turn of the axis, luminance, and the size of the partner that goes with it."""
    assert isinstance(waveform, ColourDifference)
    yield from _list_size(waveform, shares)
    own, partner, luminance = (float(value) for value in shares.values)
    own_error, partner_error, luminance_error = (float(error) for error in shares.errors)
    size = math.hypot(own, partner) or math.inf
    yield Figure("luminance in it", 100 * luminance / size, "%", 100 * luminance_error / size)
    # A matrix makes G-Y of the other two: it has no axis of its own to be turned.
    if waveform.axis == "G-Y":
        return
    # U and V are scaled differently, so that a turn mixes in the partner in this ratio.
    ratio = K_U / K_V if waveform.axis == "R-Y" else -K_V / K_U
    turned_in = partner / ratio
    angle = math.atan2(turned_in, abs(own)) * math.copysign(1.0, own)
    error = math.hypot(partner_error / ratio * own, own_error * partner / ratio)
    error /= own**2 + turned_in**2 or math.inf
    yield Figure("turn of the axis", math.degrees(angle), "°", math.degrees(error))
    partner_name = shares.names[1]
    partner_span = _find_span(waveform, partner_name)
    partner_vpp, error_vpp = abs(own) * partner_span, own_error * partner_span
    yield Figure(f"{partner_name} that goes with it", partner_vpp, "Vpp", error_vpp)


def _list_colour(waveform: DecodedBars, shares: _Shares) -> Iterator[Figure]:
    """Yield size, and what there is of the other two colours."""
    yield from _list_size(waveform, shares)
    own = abs(float(shares.values[0])) or math.inf
    for name, value, error in list(zip(shares.names, shares.values, shares.errors, strict=True))[
        1:
    ]:
        yield Figure(f"{name} in it", 100 * float(value) / own, "%", 100 * float(error) / own)


def _list_size(waveform: DecodedBars, shares: _Shares) -> Iterator[Figure]:
    span = _find_span(waveform, shares.names[0])
    own, error = abs(float(shares.values[0])), float(shares.errors[0])
    yield Figure("size of the bars", own * span, "Vpp", error * span)
    worst_v = float(shares.errors.max())
    percent = 100 / (own * span or math.inf)
    yield Figure("misfit of the bars", shares.misfit * percent, "%", worst_v * percent)


def _find_span(waveform: DecodedBars, name: str) -> float:
    """Return lowest to highest level of a signal of the bars, of black to white."""
    colours = np.array(bar_colours(waveform.system, waveform.bars.nominal))
    columns = {"red": 0, "green": 1, "blue": 2, "R-Y": 0, "G-Y": 1, "B-Y": 2}
    levels = colours[:, columns[name]]
    if name.endswith("-Y"):
        levels = levels - colours @ np.array(LUMA)
    return float(np.ptp(levels))
