"""The model's front door: clouds of boards, single failures, the board as drawn."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ....schema import Chip
from .cloud import FEATURES, Cloud, Hypothesis, Seen
from .features import read_features
from .good_board import GoodBoard, build_good_board
from .hypotheses import Fault, list_faults
from .operating_point import Boards
from .settling import Settled, settle
from .severities import Draws
from .signals import Signal
from .topology import Topology

Array = NDArray[Any]

DRAWS: Final = 24
SEED: Final = 20
_NOTHING_VPP: Final = 2e-3
_LEAST_ARRIVING: Final = 0.1  # of a signal: with less, nobody can tell how large it was
_NOISE_HEIGHT: Final = (0.4, 1.3)  # of what the catalogue says: nobody reads noise alike
_UNSTATED_NOISE: Final = (0.15, 1.2)  # of the good signal: what full gain or a limiter brings up
_HISSES: Final = 0.6  # of chips, those without muting: common practice
_KEYING: Final = ("sandcastle", "pulse", "line pulse", "field pulse", "flyback pulse")
_LITTLE_V: Final = 0.1
_CLAMPED: Final = ("line pulse", "flyback pulse")
_UNCLAMPED: Final = (1.0, 4.0)
_LEAST_TO_COUNT: Final = 0.03  # of the good signal: with less a counter counts nothing
_NO_SIGNAL: Final = ("noise", "steady", "control voltage")
_LEAST_SHARE: Final = 1e-3
_LEAST_SOLVED_V: Final = 0.2
_NEARLY_EXPLAINED: Final = 0.4  # of the solved voltage: a stated one as near is explained
_OWN_BIAS: Final = 0.3  # of inputs for pulses, those with a bias of their own


def simulate_cloud(chip: Chip, condition: str, samples: int = DRAWS, seed: int = SEED) -> Cloud:
    """Return the cloud of a chip in one condition: every fault on ``samples`` boards."""
    board = build_good_board(Topology(chip, condition), Draws(samples, seed))
    return _simulate_faults(board, list_faults(board))


def simulate_failure(chip: Chip, condition: str, hypothesis: Hypothesis) -> Cloud:
    """Return the cloud of the good board and one hypothesis; raises KeyError for none such."""
    board = build_good_board(Topology(chip, condition), Draws(DRAWS, SEED))
    wanted = (hypothesis.kind, hypothesis.what, hypothesis.failure)
    none, *others = list_faults(board)
    found = [
        fault
        for fault in others
        if (fault.hypothesis.kind, fault.hypothesis.what, fault.hypothesis.failure) == wanted
    ]
    if not found:
        raise KeyError(f"{hypothesis.title}: no such fault on the board of {chip.part}")
    return _simulate_faults(board, [none, *found])


def _simulate_faults(board: GoodBoard, faults: Sequence[Fault]) -> Cloud:
    return read_settled(settle(Boards(board, faults)))


def read_settled(settled: Settled) -> Cloud:
    """Return the readings of instruments on settled boards."""
    boards, topology = settled.boards, settled.boards.good.topology
    by_point = (len(boards.faults), boards.draws, boards.nodes)
    dc_v = _compute_shown_dc(settled)
    good_vpp, good_hz = _measure_good_signals(settled)
    vpp, hz, words = _measure_signals(settled, good_vpp, good_hz)
    features = read_features(settled)
    shown = np.stack([features[name] for name in FEATURES], axis=1)  # boards x features
    return Cloud(
        part=topology.chip.part,
        condition=topology.condition,
        points=topology.points,
        hypotheses=tuple(fault.hypothesis for fault in boards.faults),
        dc_v=dc_v.reshape(by_point).astype(np.float32),
        vpp_v=vpp.reshape(by_point).astype(np.float32),
        frequency_hz=hz.reshape(by_point),
        ripple_vpp=settled.ripple_vpp.reshape(by_point).astype(np.float32),
        words=words.reshape(by_point),
        shown=shown.reshape(*by_point[:2], len(FEATURES)).astype(np.float32),
        healthy_dc_v=np.median(dc_v[: boards.draws], axis=0).astype(np.float32),
        healthy_vpp_v=good_vpp.astype(np.float32),
        healthy_frequency_hz=good_hz,
    )


def _measure_signals(
    settled: Settled, good_vpp: Array, good_hz: Array
) -> tuple[Array, Array, Array]:
    """Return peak to peak, frequency and words seen on all boards, shape (boards, points) each.

    ``good_vpp`` and ``good_hz`` are those of the good board, shape (points,). NaN where a figure
    is unknown.
    """
    boards, topology = settled.boards, settled.boards.good.topology
    vpp = np.zeros((boards.count, boards.nodes))
    hz = np.full((boards.count, boards.nodes), np.nan)
    words = np.zeros((boards.count, boards.nodes), dtype=np.uint8)
    for column, name in enumerate(topology.points):
        signal = settled.find_board_signal(name)
        if signal is None:
            continue
        if good_vpp[column] > 0:
            unclamped_gain = _compute_unclamped_gain(settled, name)
            vpp[:, column] = good_vpp[column] * signal.level * unclamped_gain
            words[:, column] = signal.words
        if name in topology.quiet_noise_vpp or (good_vpp[column] > 0 and np.any(signal.noise)):
            # Without a signal the stages' full gain brings up noise instead.
            noise_vpp = _compute_noise_vpp(settled, name, signal, good_vpp[column])
            is_louder = noise_vpp > vpp[:, column]
            words[is_louder, column] |= int(Seen.NOISE | Seen.DISTORTED)
            vpp[:, column] = np.maximum(vpp[:, column], noise_vpp)
        if np.isfinite(good_hz[column]):
            is_counted = signal.level > _LEAST_TO_COUNT
            hz[:, column] = np.where(is_counted, good_hz[column] * (1 + signal.detune), np.nan)
    vpp[vpp < _NOTHING_VPP] = 0.0
    for name, stated_at in settled.paths.sources.items():
        if name != stated_at and not good_vpp[topology.index[name]]:
            # Something comes in there; how large it is outside, nothing tells.
            vpp[:, topology.index[name]] = np.nan
    # Of a signal too small to see, an oscilloscope tells nothing but its noise.
    least_vpp = _LEAST_TO_COUNT * np.maximum(good_vpp, _NOTHING_VPP)
    words[np.nan_to_num(vpp) < least_vpp] &= int(Seen.NOISE)
    return vpp, hz, words


def _compute_noise_vpp(settled: Settled, name: str, signal: Signal, good_vpp: float) -> Array:
    """Return the noise that a point shows, peak to peak, shape (boards,).

    Where the catalogue states none, it is some share of the signal (``good_vpp``).
    """
    stated_vpp = settled.topology.quiet_noise_vpp.get(name)
    span = _UNSTATED_NOISE if stated_vpp is None else _NOISE_HEIGHT
    height = settled.draws.draw_log_uniform(f"noise at {name}", *span)[settled.boards.draw_of]
    noise_vpp = np.clip(signal.noise, 0, 1) * height
    if stated_vpp is not None:
        return np.asarray(stated_vpp * noise_vpp)
    # Some chips mute what they limit without a signal.
    hisses = settled.draws.draw_event("hisses without a signal", _HISSES)[settled.boards.draw_of]
    return np.asarray(good_vpp * noise_vpp * hisses)


def _measure_good_signals(settled: Settled) -> tuple[Array, Array]:
    """Return peak to peak and frequency that points of the good board show, shape (points,)."""
    topology = settled.boards.good.topology
    vpp = np.zeros(len(topology.points))
    hz = np.full(len(topology.points), np.nan)
    for column, name in enumerate(topology.points):
        if settled.paths.sources.get(name, name) != name:
            vpp[column], hz[column] = _measure_far_end(settled, name)
            continue
        expectation = topology.expectations.get(name)
        waveform = expectation.waveform if expectation is not None else None
        share = 1.0
        if (waveform is None or not waveform.period_s) and name in settled.paths.at:
            # Nothing is stated here: the source's signal, as the parts bring it.
            path = settled.paths.at[name]
            stated_at = settled.paths.sources[path.source]
            waveform = topology.expectations[stated_at].waveform
            stated_path = settled.paths.at.get(stated_at)
            stated_share = stated_path.volts_per_volt if stated_path is not None else 1.0
            share = path.volts_per_volt / max(stated_share, _LEAST_SHARE)
        if waveform is None or not waveform.period_s or waveform.kind in _NO_SIGNAL:
            continue
        vpp[column] = share * waveform.figures.vpp_v
        hz[column] = waveform.frequency_hz or np.nan
    return vpp, hz


def _measure_far_end(settled: Settled, name: str) -> tuple[float, float]:
    """Return peak to peak and frequency where a signal comes in that is stated farther on.

    The parts between tell how much larger it must be; 0 V where hardly anything of it arrives.
    """
    stated_at = settled.paths.sources[name]
    path = settled.paths.at.get(stated_at)
    waveform = settled.topology.expectations[stated_at].waveform
    if path is None or path.source != name or waveform is None or not waveform.period_s:
        return 0.0, np.nan
    if path.volts_per_volt < _LEAST_ARRIVING:
        return 0.0, np.nan
    return waveform.figures.vpp_v / path.volts_per_volt, waveform.frequency_hz or np.nan


def _compute_unclamped_gain(settled: Settled, name: str) -> Array | float:
    """Return by how much pulses are larger where the pin that they come to does not clamp them.

    That is where they come in, and at the pin once its joint is open; by how much, nobody tells.
    """
    topology, boards = settled.topology, settled.boards
    path = settled.paths.at.get(name)
    stated_at = settled.paths.sources.get(path.source) if path is not None else None
    if path is None or stated_at is None or stated_at == path.source:
        return 1.0
    waveform = topology.expectations[stated_at].waveform
    if waveform is None or waveform.kind not in _CLAMPED:
        return 1.0
    gain = settled.draws.draw_log_uniform(f"{path.source} unclamped", *_UNCLAMPED)[boards.draw_of]
    # Before the pin's own clamp the pulses always have their full height.
    if name == path.source:
        return gain
    return np.where(boards.is_lifted[:, topology.index[name]], gain, 1.0)


def _compute_shown_dc(settled: Settled) -> Array:
    """Return a DC meter's readings, shape (boards, points): good boards read as stated."""
    boards, topology = settled.boards, settled.boards.good.topology
    volts = boards.volts[:, : boards.nodes].copy()
    for name in topology.points:
        if topology.leads_outside(name) and name not in topology.stated_dc_v:
            # What is on it outside the drawing, nothing tells.
            volts[:, topology.index[name]] = np.nan
    good_volts = volts[: boards.draws][boards.draw_of]
    for name, stated_v in topology.stated_dc_v.items():
        column = topology.index[name]
        good_v = good_volts[:, column]
        # What parts explain nearly is taken in proportion, the rest by its distance.
        missing_v = stated_v - good_v
        is_near = np.abs(good_v) > _LEAST_SOLVED_V
        is_near &= np.abs(missing_v) < _NEARLY_EXPLAINED * np.abs(good_v)
        share = np.where(is_near, stated_v / np.where(is_near, good_v, 1.0), 1.0)
        added_v = np.where(is_near, 0.0, missing_v)
        signal = settled.find_board_signal(name)
        if signal is None:
            volts[:, column] = volts[:, column] * share + added_v
            continue
        # The unexplained part is the mean of the signal, and goes with it.
        shown_v = volts[:, column] * share + added_v * np.clip(signal.level, 0, 1)
        volts[:, column] = _remove_pulses(settled, name, shown_v, signal.level)
    return volts


def _remove_pulses(settled: Settled, name: str, volts: Array, level: Array) -> Array:
    """Return an input's volts, fallen towards the foot of its pulses as far as they are missing.

    Their mean came with them; on some boards the pin has a bias of its own.
    """
    topology = settled.topology
    pin, expectation = topology.pin_at.get(name), topology.expectations.get(name)
    waveform = expectation.waveform if expectation is not None else None
    if pin is None or pin.role != "input" or waveform is None or waveform.kind not in _KEYING:
        return volts
    low_v, _, mean_v = waveform.extremes_v
    draw_of = settled.boards.draw_of
    foot_share = settled.draws.draw_uniform(f"foot of {name}", 0.0, 1.0)[draw_of]
    foot_v = foot_share * max(low_v, 0)
    has_own_bias = settled.draws.draw_event(f"{name} has a bias", _OWN_BIAS)[draw_of]
    # Pulses that are missing take their share of the mean with them.
    fallen_v = foot_v + (volts - foot_v) * np.clip(level, 0, 1)
    return np.where(has_own_bias | (np.abs(mean_v) < _LITTLE_V), volts, fallen_v)
