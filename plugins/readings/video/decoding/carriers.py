"""Carriers of a recorder, of sound and of an IF: size, frequency, deviation, modulation.

The record is turned down by a frequency near its own and smoothed three times over one cycle of
it, which leaves its envelope and its instantaneous frequency. Where these carry video, the lines
are found by their sync, and the figures are read on the level parts of the lines.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from .....schema.waveforms import Samples
from .....schema.waveforms.kinds.carriers import FmCarrier, ModulatedIf
from .....schema.waveforms.kinds.recorder import FmLuminance
from ..averages import Mean, read_flat_part
from ..bars import list_bar_spans_s
from ..carrier_fit import Vectors
from ..disturbances import fit_ripple
from ..figure import Figure, Record
from ..line_grid import LineGrid, lay_grid, leave_out_blanking
from ..sync_pulses import NoSync, find_sync
from .line_frequency import measure_line_frequency

_TIP_S: Final = (0.9e-6, 3.7e-6)
_BLANKING_S: Final = (5.6e-6, 9.0e-6)
_SYNC_SHARE: Final = 0.3  # of the way from sync tip to white
_SAMPLES_A_CYCLE: Final = 2.5
_SMOOTHINGS: Final = 3
_SHARES: Final = (0.05, 0.95)  # quantiles of an envelope that should be constant
_FEWEST: Final = 64  # samples
_POINTS_A_TONE: Final = 50
_MOST_SAMPLES: Final = 400_000  # that are demodulated


@dataclass(frozen=True, eq=False)
class Demodulated:
    """Envelope in volts from the middle to the peak, and frequency in hertz, one each sample."""

    envelope_v: Samples
    hz: Samples


def demodulate(record: Record, near_hz: float) -> Demodulated | None:
    """Return envelope and frequency; None for too few samples a cycle."""
    if record.rate_hz < _SAMPLES_A_CYCLE * near_hz or len(record.volts) < _FEWEST:
        return None
    volts = record.volts[:_MOST_SAMPLES]
    turn = 2 * np.pi * near_hz * record.interval_s
    turned: Vectors = 2 * (volts - volts.mean()) * np.exp(-1j * turn * np.arange(len(volts)))
    width = max(round(1 / (near_hz * record.interval_s)), 2)
    for _ in range(_SMOOTHINGS):
        turned = np.convolve(turned, np.full(width, 1 / width), "same")
    steps = np.angle(turned[1:] * turned[:-1].conj())
    hz = near_hz + steps / (2 * np.pi * record.interval_s)
    return Demodulated(np.abs(turned), np.append(hz, hz[-1]))


def measure_fm_luminance(record: Record, waveform: FmLuminance) -> Iterator[Figure]:
    """Yield size of the carrier, and its frequency at sync tip, blanking and white."""
    tip_hz, white_hz = waveform.sync_tip.nominal, waveform.white.nominal
    middle_hz, span_hz = (tip_hz + white_hz) / 2, white_hz - tip_hz
    demodulated = demodulate(record, middle_hz)
    if demodulated is None:
        return
    grid = _find_lines(record, (demodulated.hz - middle_hz) / span_hz)
    if grid is None:
        yield from _list_size(demodulated.envelope_v)
        return
    # The lines were found on the demodulated video; the figures are those of the carrier itself.
    grid = replace(grid, record=record)
    white_bar_s, *_ = list_bar_spans_s(waveform.system)
    tip = measure_line_frequency(grid, _TIP_S, tip_hz)
    blanking = measure_line_frequency(grid, _BLANKING_S, tip_hz + _SYNC_SHARE * span_hz)
    white = measure_line_frequency(grid, white_bar_s, white_hz)
    parts = {"sync tip": tip, "blanking": blanking, "the white bar": white}
    yield from _compare_sizes([part.vpp for part in parts.values() if part is not None])
    for name, part in parts.items():
        if part is not None:
            yield Figure(f"carrier at {name}", part.hz.value, "Hz", part.hz.uncertainty)
    if tip is not None and white is not None:
        deviation = white.hz - tip.hz
        yield Figure("deviation to the white bar", deviation.value, "Hz", deviation.uncertainty)


def measure_fm_carrier(record: Record, waveform: FmCarrier) -> Iterator[Figure]:
    """Yield size, mean frequency, and the deviation where the record holds a whole tone."""
    demodulated = demodulate(record, waveform.carrier.nominal)
    if demodulated is None:
        return
    yield from _list_size(demodulated.envelope_v)
    hz, interval_s = demodulated.hz, record.interval_s
    tone_s, span_s = waveform.period_s, len(hz) * interval_s
    if span_s < tone_s:
        return
    block = max(int(tone_s / _POINTS_A_TONE / interval_s), 1)  # samples
    block_count = len(hz) // block
    block_hz: Samples = hz[: block_count * block].reshape(block_count, block).mean(axis=1)
    block_s = np.arange(block_count, dtype=np.float64) * block * interval_s
    swing = fit_ripple(block_s, block_hz, 1 / tone_s)
    error_hz = swing.uncertainty / 2
    yield Figure("deviation", swing.value / 2, "Hz", error_hz)
    # Part of a tone would pull the mean to one side.
    whole_tones_s = math.floor(span_s / tone_s) * tone_s
    whole_tones_hz = block_hz[: round(whole_tones_s / block / interval_s)]
    yield Figure("mean of the carrier", float(whole_tones_hz.mean()), "Hz", error_hz)


def measure_modulated_if(record: Record, waveform: ModulatedIf) -> Iterator[Figure]:
    """Yield the carrier at sync tip, and how much of it is left at blanking and white."""
    demodulated = demodulate(record, waveform.carrier.nominal)
    if demodulated is None:
        return
    # Negative modulation: the carrier is largest at sync tips.
    grid = _find_lines(record, -demodulated.envelope_v)
    if grid is None:
        return
    white_bar_s, *_ = list_bar_spans_s(waveform.system)
    tip, blanking, white = (
        None if part is None else part.average(grid.record)
        for part in (read_flat_part(grid, *span) for span in (_TIP_S, _BLANKING_S, white_bar_s))
    )
    if tip is None or not tip.value:
        return
    yield Figure("carrier at sync tip", 2 * abs(tip.value), "Vpp", 2 * tip.uncertainty)
    for name, level in (("blanking", blanking), ("the white bar", white)):
        if level is not None:
            share = level.value / tip.value
            error = math.hypot(level.uncertainty, share * tip.uncertainty) / abs(tip.value)
            yield Figure(f"carrier left at {name}", 100 * share, "%", 100 * error)


def _find_lines(record: Record, video: Samples) -> LineGrid | None:
    """Return the grid of the record by the sync of its demodulated video; None without any."""
    demodulated = Record(video, record.interval_s)
    try:
        sync = find_sync(demodulated)
    except NoSync:
        return None
    return leave_out_blanking(lay_grid(demodulated, sync))


def _compare_sizes(sizes: list[Mean]) -> Iterator[Figure]:
    """Yield the mean size of a carrier at several frequencies, and by how much they differ."""
    if not sizes:
        return
    values = [size.value for size in sizes]
    mean_v = sum(values) / len(values)
    error_v = math.hypot(*(size.uncertainty for size in sizes)) / len(sizes)
    yield Figure("carrier amplitude", mean_v, "Vpp", error_v)
    change = 100 * (max(values) - min(values)) / mean_v
    worst_v = max(size.uncertainty for size in sizes)
    yield Figure("change of amplitude", change, "%", 100 * math.sqrt(2) * worst_v / mean_v)


def _list_size(envelope_v: Samples) -> Iterator[Figure]:
    """Yield the size of a carrier whose amplitude should not change, and by how much it does."""
    inner = envelope_v[_FEWEST // 4 : -_FEWEST // 4]
    middle_v = float(np.median(inner))
    low_v, high_v = (float(part) for part in np.quantile(inner, _SHARES))
    size = Mean(2 * middle_v, float(np.std(inner)) * 2 / math.sqrt(len(inner) / _FEWEST))
    yield Figure("carrier amplitude", size.value, "Vpp", size.uncertainty)
    if middle_v:
        change = 100 * (high_v - low_v) / (2 * middle_v)
        yield Figure("change of amplitude", change, "%", max(change, 1.0) / 10)
