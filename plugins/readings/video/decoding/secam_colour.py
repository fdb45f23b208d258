"""The colour of SECAM: rest frequencies on the back porch, and the deviations of the bars.

Lines with D'R and D'B follow each other; those with the higher rest frequency are D'R. Nominal
figures and the tolerance of 2 kHz of the rest frequencies: ITU-R BT.470-6, table 2, and BT.1700.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from .....schema.waveforms.colour_bars import BAR_NAMES, bar_colours
from .....schema.waveforms.secam_carrier import compute_bell_v, compute_deviations_hz, find_rest_hz
from ..bars import list_bar_spans_s
from ..figure import Figure
from ..judged_figure import Span
from ..line_grid import LineGrid
from .line_frequency import CarrierOnLine, measure_line_frequency

_PORCH_S: Final = (6.2e-6, 10.2e-6)
_BETWEEN_HZ: Final = 4.33e6  # the rest frequencies
_REST_TOLERANCE_HZ: Final = 2e3
_DEVIATION_SHARE: Final = 0.1  # of the deviation. Common practice.
_DEVIATION_SLACK_HZ: Final = 10e3
_SIZE_SHARE: Final = (0.7, 1.4)  # of the nominal: a receiver's path. Common practice.
_LETTERS: Final = ("D'R", "D'B")
_STANDARD: Final = "BT.470-6, BT.1700"
REST, SIZE, DEVIATION = "rest frequency", "carrier on the back porch", "deviation"


def measure_secam(grid: LineGrid, system: str, percent: float | None) -> Iterator[Figure]:
    """Yield rest frequencies and sizes, and the deviations of colour bars of ``percent``."""
    halves = [grid.select(grid.order % 2 == side) for side in (0, 1)]
    rest_carriers = [
        (half, carrier)
        for half in halves
        if len(half) and (carrier := measure_line_frequency(half, _PORCH_S, _BETWEEN_HZ))
    ]
    if len(rest_carriers) < len(halves):
        return
    # D'R first: its lines have the higher rest frequency.
    rest_carriers.sort(key=lambda pair: -pair[1].hz.value)
    for letters, (_, rest) in zip(_LETTERS, rest_carriers, strict=True):
        yield Figure(f"{REST}, {letters} lines", rest.hz.value, "Hz", rest.hz.uncertainty)
        yield Figure(f"{SIZE}, {letters} lines", rest.vpp.value, "Vpp", rest.vpp.uncertainty)
    if percent is None:
        return
    for number, (letters, (half, rest)) in enumerate(zip(_LETTERS, rest_carriers, strict=True)):
        yield from _list_deviations(half, system, percent, number, letters, rest)


def _list_deviations(
    grid: LineGrid, system: str, percent: float, number: int, letters: str, rest: CarrierOnLine
) -> Iterator[Figure]:
    """Yield the deviation of each colour on lines of one sort, from their own rest frequency."""
    colours = bar_colours(system, percent)
    for name, colour, span_s in zip(BAR_NAMES, colours, list_bar_spans_s(system), strict=True):
        near_hz = find_rest_hz(system)[number] + compute_deviations_hz(colour)[number]
        carrier = measure_line_frequency(grid, span_s, near_hz)
        if carrier is not None and name not in ("white", "black"):
            off = carrier.hz - rest.hz
            yield Figure(f"{name} {DEVIATION}, {letters}", off.value, "Hz", off.uncertainty)


def list_secam_spans(system: str, percent: float | None, scale_v: float) -> dict[str, Span]:
    """Return the limits of the figures; ``scale_v`` is the volts from sync tip to white."""
    spans: dict[str, Span] = {}
    for number, letters in enumerate(_LETTERS):
        middle_hz = find_rest_hz(system)[number]
        limits_hz = middle_hz - _REST_TOLERANCE_HZ, middle_hz + _REST_TOLERANCE_HZ
        spans[f"{REST}, {letters} lines"] = limits_hz, _STANDARD
        size_v = 2 * scale_v * float(compute_bell_v(system, np.array(middle_hz)))
        limits_v = _SIZE_SHARE[0] * size_v, _SIZE_SHARE[1] * size_v
        spans[f"{SIZE}, {letters} lines"] = limits_v, "common practice"
        for name, colour in zip(BAR_NAMES, bar_colours(system, percent or 75.0), strict=True):
            nominal_hz = compute_deviations_hz(colour)[number]
            slack_hz = _DEVIATION_SHARE * abs(nominal_hz) + _DEVIATION_SLACK_HZ
            limits_hz = nominal_hz - slack_hz, nominal_hz + slack_hz
            spans[f"{name} {DEVIATION}, {letters}"] = limits_hz, _STANDARD
    return spans
