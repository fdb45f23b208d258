"""The levels of a sandcastle pulse, and where its burst key is."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np

from ....schema.waveforms import Samples
from .averages import average
from .figure import Figure, Record
from .sync_pulses import Index

_FEWEST_SAMPLES: Final = 4  # on a level
_EDGE_S: Final = 0.4e-6  # left out beside a change of level
_SHORTEST_KEY_S: Final = 0.5e-6  # less is noise at a border
_LONGEST_KEY_S: Final = 9e-6
_LONGEST_BLANKING_S: Final = 16e-6
_LEVELS_WITH_FIELD: Final = 4  # base, field blanking, line blanking, burst key
KEY_BEYOND: Final = "burst key beyond line blanking"


def measure_sandcastle(record: Record, levels_v: Mapping[str, float]) -> Iterator[Figure]:
    """Yield each level, width and delay of the burst key, and how far it outlasts line blanking.

    ``levels_v`` are the levels expected, by their names, lowest first. A sample belongs to the
    level that is nearest to it.
    """
    expected_v = np.array(list(levels_v.values()))
    borders_v = (expected_v[1:] + expected_v[:-1]) / 2
    level_number = np.digitize(record.volts, borders_v)  # shape (samples,)
    margin = max(1, math.ceil(_EDGE_S / record.interval_s))
    is_settled = _find_settled(level_number, margin)
    for number, name in enumerate(levels_v):
        samples_v = record.volts[is_settled & (level_number == number)]
        if len(samples_v) < _FEWEST_SAMPLES:
            continue
        noise_v = float(np.std(samples_v))
        error_v = math.hypot(noise_v / math.sqrt(len(samples_v)), record.mean_error_v(noise_v))
        yield Figure(f"{name} level", float(np.mean(samples_v)), "V", error_v)
    yield from _time_key(record, borders_v)
    yield from _time_rest(record, borders_v)


def _find_settled(level_number: Index, margin: int) -> Samples:
    """Return, for each sample, whether the level is the same for some samples around it."""
    changes = np.concatenate([[0], np.cumsum(level_number[1:] != level_number[:-1])])
    padded = np.pad(changes, margin, mode="edge")
    return np.asarray(padded[2 * margin :] == padded[: -2 * margin])


def _time_key(record: Record, borders_v: Samples) -> Iterator[Figure]:
    """Yield width and delay of the burst key, from the crossings of the borders of levels."""
    key_rises_s, key_falls_s = _cross(record, float(borders_v[-1]))
    blanking_rises_s, _ = _cross(record, float(borders_v[-2]))
    if not key_rises_s.size or not key_falls_s.size:
        return
    # A record may begin within a key: its fall has no rise.
    key_falls_s = key_falls_s[np.searchsorted(key_falls_s, key_rises_s[0]) :]
    key_count = min(len(key_rises_s), len(key_falls_s))
    widths_s = key_falls_s[:key_count] - key_rises_s[:key_count]
    widths_s = widths_s[(widths_s > _SHORTEST_KEY_S) & (widths_s < _LONGEST_KEY_S)]
    if not widths_s.size:
        return
    # Two edges, each anywhere between two samples.
    error_s = math.sqrt(2) * (record.interval_s / math.sqrt(12))
    width = average(widths_s, error_s)
    yield Figure("burst key width", width.value, "s", width.uncertainty)

    last_rise = np.searchsorted(blanking_rises_s, key_rises_s, side="right") - 1
    has_rise = last_rise >= 0
    delays_s = key_rises_s[has_rise] - blanking_rises_s[last_rise[has_rise]]
    delays_s = delays_s[(delays_s > 0) & (delays_s < _LONGEST_BLANKING_S)]
    if delays_s.size:
        delay = average(delays_s, error_s)
        yield Figure("burst key after blanking", delay.value, "s", delay.uncertainty)


def _time_rest(record: Record, borders_v: Samples) -> Iterator[Figure]:
    """Yield for how long the key goes on when line blanking is over.

    A pulse that adds its parts then has the step of the key alone over its base: about the level
    of field blanking, which lasts for whole lines.
    """
    if len(borders_v) < _LEVELS_WITH_FIELD - 1:
        return
    _, blank_down = _cross(record, float(borders_v[-2]))
    _, low_down = _cross(record, float(borders_v[-3]))
    after = np.searchsorted(low_down, blank_down)
    ended = after < len(low_down)
    if not ended.any():
        return
    rests_s = low_down[after[ended]] - blank_down[ended]
    rests_s = rests_s[rests_s < _LONGEST_KEY_S]
    if rests_s.size and float(np.median(rests_s)) > _SHORTEST_KEY_S:
        rest = average(rests_s, math.sqrt(2) * record.interval_s / math.sqrt(12))
        yield Figure(KEY_BEYOND, rest.value, "s", rest.uncertainty)


def _cross(record: Record, level_v: float) -> tuple[Samples, Samples]:
    """Return the times of rises and of falls through a level, between samples."""
    volts = record.volts
    above = volts > level_v
    at = np.flatnonzero(above[1:] != above[:-1])
    times_s = (at + (level_v - volts[at]) / (volts[at + 1] - volts[at])) * record.interval_s
    rises = above[at + 1]
    return times_s[rises], times_s[~rises]
