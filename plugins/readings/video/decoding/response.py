"""Bandwidth of a video path: from the packets of a multiburst, or from the rise of sync.

Packets are compared with the first, of the lowest frequency; where the response passes -3 dB it is
interpolated along the logarithm of the frequency. A rise time t beyond that of the standard, t0,
says sqrt(t² - t0²) of the path (rise times of cascades add in squares: any circuit textbook), and
0.35 over it is its bandwidth; a rise no slower than the standard's tells nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import Final

from .....schema.systems import VIDEO_TIMING
from .....schema.waveforms.corners import compute_edge_bandwidth_hz
from .....schema.waveforms.kinds.multiburst import list_multiburst_packets
from ..averages import Mean, average
from ..carrier_fit import fit_carrier
from ..figure import Figure
from ..line_grid import LineGrid

_MARGIN_S: Final = 0.5e-6  # left out at either end of a packet
_SAMPLES_A_CYCLE: Final = 2.2
_EDGE_DB: Final = -3.0
_SURE: Final = 2.0  # standard uncertainties
_SLOWER: Final = 1.15  # rise over the standard's, for it to be that of the path
_DB: Final = 20 / math.log(10)
BANDWIDTH: Final = "bandwidth"
CANNOT_TELL: Final = (
    "bandwidth not told: the edges of sync are as fast as the standard sets them, or noise hides"
    " that; a multiburst tells it"
)


def measure_multiburst(grid: LineGrid, system: str) -> Iterator[Figure]:
    """Yield the response at each packet of a multiburst in dB, and the bandwidth to -3 dB."""
    packets = list_multiburst_packets(system)
    sizes = list[tuple[float, Mean]]()
    for start_s, hz in zip(packets.starts_s, packets.frequencies_hz, strict=True):
        span_s = start_s + _MARGIN_S, start_s + packets.lasts_s - _MARGIN_S
        fit = fit_carrier(grid.cut(*span_s), hz)
        if fit is not None and grid.record.rate_hz > _SAMPLES_A_CYCLE * hz:
            sizes.append((hz, average(fit.amplitudes_v, fit.vector_error_v)))
    if not sizes:
        return
    # The first packet, of the lowest frequency, passes any path: it is 0 dB.
    (first_hz, first_size), *others = sizes
    if first_size.value <= 0:
        return
    response = [(hz, _compare(size, first_size)) for hz, size in others if size.value > 0]
    for hz, level in response:
        yield Figure(f"response at {hz / 1e6:g} MHz", level.value, "dB", level.uncertainty)
    edge = _find_edge([(first_hz, Mean(0.0, 0.0)), *response])
    if edge is not None:
        yield Figure(BANDWIDTH, edge.value, "Hz", edge.uncertainty)


def _compare(size: Mean, first: Mean) -> Mean:
    """Return a size over the first one in dB."""
    error = math.hypot(size.uncertainty / size.value, first.uncertainty / first.value)
    return Mean(_DB * math.log(size.value / first.value), _DB * error)


def _find_edge(response: list[tuple[float, Mean]]) -> Mean | None:
    """Return the frequency at which the response passes -3 dB; None where no packet shows it."""
    for (low_hz, low), (high_hz, high) in pairwise(response):
        if low.value >= _EDGE_DB > high.value + _SURE * high.uncertainty:
            share = (low.value - _EDGE_DB) / (low.value - high.value)
            octaves = math.log(high_hz / low_hz)
            hz = low_hz * math.exp(share * octaves)
            error = math.hypot((1 - share) * low.uncertainty, share * high.uncertainty)
            return Mean(hz, hz * octaves * error / (low.value - high.value))
    return None


def find_bandwidth(rise: Figure | None, system: str) -> Figure | None:
    """Return the bandwidth from the rise time of sync; None where that is the standard's own."""
    nominal_s = VIDEO_TIMING[system].sync_rise_s
    if rise is None or rise.value - _SURE * rise.uncertainty < _SLOWER * nominal_s:
        return None
    path_s = math.sqrt(rise.value**2 - nominal_s**2)
    # The square of the standard's rise is known to a tenth of the time, by its tolerance.
    error_s = math.hypot(rise.value * rise.uncertainty, 0.1 * nominal_s**2) / path_s
    hz = compute_edge_bandwidth_hz(path_s)
    return Figure(BANDWIDTH, hz, "Hz", hz * error_s / path_s)
