"""The screen of an oscilloscope: the trace as numbers, and the picture of it as SVG.

The signal is computed on a fine grid of times and gathered column by column: the lowest and the
highest point of the beam, and the share of time at each height. A colour subcarrier thus becomes
a graded band, as on the instrument, and slow parts stay a line.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ...schema.chips.expectation import Expectation
from ...schema.quantities import print_value
from .scope_settings import DIVISIONS_ACROSS, DIVISIONS_UP, ScopeSettings
from .svg_frame import escape_svg_text, frame_svg

Numbers = NDArray[np.float64]
Whole = NDArray[np.int_]
Seen = Callable[[Numbers], Numbers]

BINS_PER_DIV: Final = 20
_DIVISIONS_BEFORE_TRIGGER: Final = 1
_SAMPLES_A_CYCLE: Final = 100
_FEWEST_A_COLUMN: Final = 24
_MOST_SAMPLES: Final = 400_000


@dataclass(frozen=True, eq=False)
class Trace:
    """The beam column by column, in volts at the input after its coupling."""

    t_s: Numbers
    """Middle of each column in seconds after the trigger, shape (columns,)."""
    low_v: Numbers
    """Lowest volts in each column, joined to its neighbours, shape (columns,)."""
    high_v: Numbers
    """Highest volts in each column, joined to its neighbours, shape (columns,)."""
    density: Numbers
    """Share of a column's time at each step of height, from the bottom of the screen to the top.

    Shape (columns, 8 x 20); each column adds up to 1.
    """
    centre_v: float
    """Volts at the middle line of the screen, a whole number of divisions."""
    removed_v: float
    """The DC voltage removed by AC coupling; 0 with DC coupling."""


def compute_trace(
    expectation: Expectation,
    settings: ScopeSettings,
    columns: int = 500,
    seen: Seen | None = None,
) -> Trace:
    """Return the trace of an expectation on a screen of ``columns`` columns with these settings.

    ``seen`` returns the volts that reach the screen at evenly spaced times, where instruments
    change
    the signal; by default these are the volts on the pin.
    """
    span_s = DIVISIONS_ACROSS * settings.time_per_div_s
    start_s = -_DIVISIONS_BEFORE_TRIGGER * settings.time_per_div_s
    grid_shape = (columns, _choose_samples_a_column(expectation, span_s, columns))
    count = columns * grid_shape[1]
    t_s: Numbers = start_s + (np.arange(count, dtype=np.float64) + 0.5) * (span_s / count)
    low_v, high_v, mean_v = _compute_levels(expectation)
    removed_v = mean_v if settings.coupling == "AC" else 0.0
    volts = ((seen or expectation.volts)(t_s) - removed_v).reshape(grid_shape)
    centre_v = _choose_centre_v(low_v - removed_v, high_v - removed_v, settings)
    low, high = _join_columns(volts)
    return Trace(
        t_s=t_s.reshape(grid_shape).mean(axis=1),
        low_v=low,
        high_v=high,
        density=_compute_density((volts - centre_v) / settings.volts_per_div),
        centre_v=centre_v,
        removed_v=removed_v,
    )


def _choose_samples_a_column(expectation: Expectation, span_s: float, columns: int) -> int:
    """Return the number of samples in a column that shows the fastest part of the waveform."""
    fastest_hz = expectation.waveform.fastest_hz if expectation.waveform is not None else 0.0
    sample_count = fastest_hz * span_s * _SAMPLES_A_CYCLE
    return int(np.clip(sample_count / columns + 1, _FEWEST_A_COLUMN, _MOST_SAMPLES / columns))


def _compute_levels(expectation: Expectation) -> tuple[float, float, float]:
    """Return lowest, highest and mean volts to ground."""
    if expectation.waveform is None:
        level_v = expectation.dc.nominal if expectation.dc is not None else 0.0
        return level_v, level_v, level_v
    low_v, high_v, mean_v = (v + expectation.offset_v for v in expectation.waveform.extremes_v)
    return low_v, high_v, mean_v


def _choose_centre_v(low_v: float, high_v: float, settings: ScopeSettings) -> float:
    """Return the volts at the middle line, which centre signal and zero on whole divisions."""
    middle_v = (max(high_v, 0.0) + min(low_v, 0.0)) / 2
    return round(middle_v / settings.volts_per_div) * settings.volts_per_div


def _join_columns(volts: Numbers) -> tuple[Numbers, Numbers]:
    """Return lowest and highest of each row, extended to half-way towards its neighbours."""
    low, high = volts.min(axis=1), volts.max(axis=1)
    meeting = (volts[:-1, -1] + volts[1:, 0]) / 2
    for part in (slice(None, -1), slice(1, None)):
        low[part] = np.minimum(low[part], meeting)
        high[part] = np.maximum(high[part], meeting)
    return low, high


def _compute_density(divisions: Numbers) -> Numbers:
    """Return the share of each row at each height; ``divisions`` counts from the middle line."""
    columns, samples = divisions.shape
    bins = DIVISIONS_UP * BINS_PER_DIV
    height = np.floor((divisions + DIVISIONS_UP / 2) * BINS_PER_DIV + 1e-9).astype(np.intp)
    flat = np.clip(height, 0, bins - 1) + np.arange(columns)[:, None] * bins
    counts = np.bincount(flat.ravel(), minlength=columns * bins)
    return np.asarray(counts.reshape(columns, bins) / samples)


# In the picture a division is 100 units, so that coordinates are whole numbers.
_DIV: Final = 100
_LEFT, _TOP, _BELOW, _RIGHT = 152, 8, 62, 8
_WIDTH, _HEIGHT = DIVISIONS_ACROSS * _DIV, DIVISIONS_UP * _DIV
_LETTERS: Final = 40
_ROW: Final = 52
_STROKE: Final = 8
_SPOT: Final = np.array([1, 2, 3, 2, 1]) / 9  # profile of the spot, in steps of height
_LINE_EXCESS: Final = 0.06  # divisions that a line is higher than it moves to its neighbours
_TALLEST_LINE: Final = 0.4  # divisions
_DIM, _MID = 1, 2  # times the brightness of a beam spread evenly over its height
_BRIGHT_SHARE: Final = 1 / 3  # of the time at one height
_PAPER, _LINES, _INK, _BEAM = "#f8f7f1", "#9aa6a3", "#1c2226", "#0d4f63"


def draw_scope(
    trace: Trace,
    settings: ScopeSettings,
    title: str,
    *,
    standalone: bool = False,
    over: tuple[Numbers, Numbers] | None = None,
    bare: bool = False,
) -> str:
    """Return the screen as SVG: graticule, zero marker, and the trace graded by dwell time.

    ``bare`` leaves out all that is around the screen: the page says it in words. ``over`` is a
    second trace: lowest and highest volts of each column at the input, not a number where it has
    none.
    """
    overlay = "" if over is None else _draw_overlay(over, trace, settings)
    if bare:
        return frame_svg(
            f"{_draw_graticule()}{_draw_beam(trace, settings)}{_strip_caption(overlay)}",
            size=(_WIDTH, _HEIGHT),
            name="scope-picture scope-bare",
            title=title,
            description=describe_scope(trace, settings),
            stretches=True,
        )
    body = (
        f'<g transform="translate({_LEFT} {_TOP})">{_draw_graticule()}'
        f"{_draw_beam(trace, settings)}{overlay}"
        f"{_draw_zero_marker(trace, settings)}{_draw_settings(settings)}</g>"
    )
    return frame_svg(
        body,
        size=(_LEFT + _WIDTH + _RIGHT, _TOP + _HEIGHT + _BELOW + (_ROW if overlay else 0)),
        name="scope-picture",
        title=title,
        description=describe_scope(trace, settings),
        standalone=standalone,
    )


def _strip_caption(overlay: str) -> str:
    """Return the captured trace without its caption, which lies below the screen."""
    return overlay.partition("<text")[0]


def describe_scope(trace: Trace, settings: ScopeSettings) -> str:
    """Return the picture in words: settings, place of zero volts, extent of the trace."""
    lines = round(-trace.centre_v / settings.volts_per_div)
    divisions = "division" if abs(lines) == 1 else "divisions"
    where = f"{abs(lines)} {divisions} {'above' if lines > 0 else 'below'} the middle line"
    low, high = (print_value(float(v), "V") for v in (trace.low_v.min(), trace.high_v.max()))
    zero = f"Zero volts is {where if lines else 'the middle line'}"
    if settings.coupling == "AC":
        zero += (
            f", where the mean of the signal lies ({print_value(trace.removed_v, 'V')} to ground)"
        )
    return f"{settings.sentence} {zero}. The trace goes from {low} to {high}."


def _draw_graticule() -> str:
    """Return the graticule: a line each division, ticks each fifth of one on the middle lines."""
    across, up = _WIDTH, _HEIGHT
    rules = "".join(f"M{x} 0v{up}" for x in range(0, across + 1, _DIV))
    rules += "".join(f"M0 {y}h{across}" for y in range(0, up + 1, _DIV))
    ticks = "".join(f"M{x} {up // 2 - 8}v16" for x in range(0, across, _DIV // 5))
    ticks += "".join(f"M{across // 2 - 8} {y}h16" for y in range(0, up, _DIV // 5))
    middle = f"M{across // 2} 0v{up}M0 {up // 2}h{across}"
    return (
        f'<rect class="scope-screen" width="{across}" height="{up}" fill="{_PAPER}"/>'
        f'<g class="scope-graticule" fill="none" stroke="{_LINES}">'
        f'<path d="{rules}" stroke-width="1.5" stroke-opacity=".6"/>'
        f'<path d="{middle}{ticks}" stroke-width="2"/></g>'
    )


def _draw_beam(trace: Trace, settings: ScopeSettings) -> str:
    """Return the beam: the envelope faint, frequent heights brighter, plain lines brightest."""
    x = np.rint((np.arange(len(trace.t_s)) + 0.5) * (_WIDTH / len(trace.t_s))).astype(int)
    low, high = (
        _convert_height(trace.low_v, trace, settings),
        _convert_height(trace.high_v, trace, settings),
    )
    line = _is_line(low, high)
    grades = "".join(
        f'<path class="scope-{name}" d="{_draw_runs(bright)}" stroke="{_BEAM}"'
        f' stroke-opacity="{opacity}" stroke-width="{_STROKE}"/>'
        for name, opacity, bright in _yield_grades(trace.density, line)
    )
    return (
        f'<g class="scope-beam" fill="none" stroke-linejoin="round" stroke-linecap="butt">'
        f'<path class="scope-envelope" d="{_draw_envelope(x, low, high)}" fill="{_BEAM}"'
        f' stroke="{_BEAM}" fill-opacity=".3" stroke-opacity=".3" stroke-width="3"/>{grades}'
        f'<path class="scope-line" d="{_draw_line(x, low, high, line)}" stroke="{_BEAM}"'
        f' stroke-width="6" stroke-linecap="round"/></g>'
    )


def _draw_overlay(over: tuple[Numbers, Numbers], trace: Trace, settings: ScopeSettings) -> str:
    """Return a captured trace as thin dark bars, with a caption."""
    x = np.rint((np.arange(len(trace.t_s)) + 0.5) * (_WIDTH / len(trace.t_s))).astype(int)
    is_captured = np.isfinite(over[0])
    low, high = (_convert_height(np.where(is_captured, v, 0.0), trace, settings) for v in over)
    bars = "".join(
        f"M{x[column]} {low[column] + 3}V{high[column] - 3}"
        for column in np.flatnonzero(is_captured).tolist()
    )
    return (
        f'<path class="scope-captured" d="{bars}" fill="none" stroke="{_INK}" stroke-width="2.5"/>'
        f'<text class="scope-words" x="0" y="{_HEIGHT + 46 + _ROW}" font-size="{_LETTERS}"'
        f' fill="{_INK}">thin: captured</text>'
    )


def _convert_height(volts: Numbers, trace: Trace, settings: ScopeSettings) -> Whole:
    """Return units down from the top of the screen, limited to the screen."""
    divisions = DIVISIONS_UP / 2 - (volts - trace.centre_v) / settings.volts_per_div
    return np.rint(np.clip(divisions, 0, DIVISIONS_UP) * _DIV).astype(int)


def _is_line(low: Whole, high: Whole) -> NDArray[np.bool_]:
    """Return where the beam is a line: no higher than it moves between columns, and not an edge."""
    middle = np.pad((low + high) / 2, 1, mode="edge")
    tall, moves = low - high, np.abs(middle[2:] - middle[:-2])
    line = (tall <= moves + _LINE_EXCESS * _DIV) & (tall <= _TALLEST_LINE * _DIV)
    beside = np.pad(line, 1)
    return np.asarray(line & (beside[2:] | beside[:-2]))  # one column alone is no line


def _draw_envelope(x: Whole, low: Whole, high: Whole) -> str:
    """Return the outline as path data, along the top to the right and back along the bottom."""
    return f"M{_draw_polyline(x, high)}L{_draw_polyline(x[::-1], low[::-1])}Z"


def _draw_line(x: Whole, low: Whole, high: Whole, line: NDArray[np.bool_]) -> str:
    """Return the middle of the columns that are a line as path data, broken between them."""
    middle = (low + high) // 2
    ends = np.flatnonzero(np.diff(line)) + 1
    pieces = np.split(np.arange(len(x)), ends)
    return "".join(f"M{_draw_polyline(x[p], middle[p])}h1" for p in pieces if line[p[0]])


def _draw_polyline(x: Whole, y: Whole) -> str:
    """Return points as path data, without those on a straight line between their neighbours."""
    bends = np.ones(len(x), dtype=bool)
    turn = np.diff(x[:-1]) * np.diff(y[1:]) - np.diff(x[1:]) * np.diff(y[:-1])
    bends[1:-1] = turn != 0
    return "L".join(f"{a} {b}" for a, b in zip(x[bends], y[bends], strict=True))


def _yield_grades(
    density: Numbers, line: NDArray[np.bool_]
) -> Iterator[tuple[str, float, NDArray[np.bool_]]]:
    """Yield name, opacity and mask (strokes, steps) of each grade brighter than the envelope.

    The grades begin where the beam is as bright as if spread evenly over its height, where it is
    twice as bright, and where it stays a third of the time.
    """
    strokes = _average_by_stroke(density)
    dwell = np.apply_along_axis(np.convolve, 1, strokes, _SPOT, "same")
    relative_brightness = dwell * np.count_nonzero(strokes, axis=1)[:, None]
    band = ~(_average_by_stroke(line[:, None]) > 0) & (strokes > 0)
    yield "dim", 0.35, band & (relative_brightness >= _DIM)
    yield "mid", 0.5, band & (relative_brightness >= _MID)
    yield "bright", 0.8, band & (dwell >= _BRIGHT_SHARE)


def _draw_runs(bright: NDArray[np.bool_]) -> str:
    """Return upright strokes, a few columns wide, over the marked steps of height."""
    edges = np.diff(np.pad(bright, ((0, 0), (1, 1))).astype(np.int8), axis=1)
    (stroke, start), (_, end) = np.nonzero(edges > 0), np.nonzero(edges < 0)
    step, half = _DIV // BINS_PER_DIV, _STROKE // 2
    return "".join(
        f"M{n * _STROKE + half} {_HEIGHT - b * step}v-{(e - b) * step}"
        for n, b, e in zip(stroke, start, end, strict=True)
    )


def _average_by_stroke(columns: Numbers | NDArray[np.bool_]) -> Numbers:
    """Return the mean over the columns that share a stroke, for each stroke across the screen."""
    strokes = _WIDTH // _STROKE
    of_column = (np.arange(len(columns)) + 0.5) * strokes // len(columns)
    starts = np.searchsorted(of_column, np.arange(strokes))
    means = np.add.reduceat(columns.astype(np.float64), starts, axis=0)
    return means / np.diff(starts, append=len(columns))[:, None]


def _draw_zero_marker(trace: Trace, settings: ScopeSettings) -> str:
    """Return the marker at the line of zero volts, or of the mean with AC coupling."""
    y = int(_convert_height(np.zeros(1), trace, settings)[0])
    words = "0 V" if settings.coupling == "DC" else "mean"
    return (
        f'<g class="scope-zero" fill="{_INK}"><path d="M-20 {y - 12}L0 {y}L-20 {y + 12}Z"/>'
        f'<text x="-26" y="{y + 13}" font-size="{_LETTERS}" text-anchor="end">{words}</text></g>'
    )


def _draw_settings(settings: ScopeSettings) -> str:
    """Return the settings as text below the screen."""
    words = "   ".join(
        (
            f"{print_value(settings.volts_per_div, 'V')}/div",
            f"{print_value(settings.time_per_div_s, 's')}/div",
            settings.coupling,
            f"{settings.probe} probe",
        )
    )
    return (
        f'<text class="scope-words" x="0" y="{_HEIGHT + 46}" font-size="{_LETTERS}"'
        f' fill="{_INK}" xml:space="preserve">{escape_svg_text(words)}</text>'
    )
