"""Diodes that clip a signal, and followers that nothing loads: the shapes that parts give signals.

The good board's signal is stated as it is clipped. Without the diode it grows as far as its source
brings it through the parts, as far as the chip's own protection lets it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .devices import Diode, order_leads
from .paths import Paths
from .senders import carries_signal
from .topology import GROUND, Topology, find_carried

Array = NDArray[Any]

_CLOSE_V: Final = 0.5  # how near to the diode's limit a signal is held by it
_CLOSE_SHARE: Final = 0.12
_UNCLIPPED: Final = (1.25, 4.0)  # times the stated signal, where its source tells nothing
_LEFT_UNLOADED: Final = (0.25, 0.7)  # of the signal, its peaks alone: common practice
_TRANSISTOR_LEADS: Final = 3
_PROTECTED_V: Final = 0.7  # beyond its supplies, a pin conducts


def compute_clipped_shares(paths: Paths) -> dict[str, Array]:
    """Return how much larger signals are where a diode no longer clips them, by point.

    Relative to the good board's signal, shape (boards,).
    """
    boards = paths.boards
    shares: dict[str, Array] = {}
    for device in boards.good.devices:
        # A protection diode inside a pin, or a chip's load, does not fail by itself.
        if not isinstance(device, Diode) or " of " in device.ref:
            continue
        opening_faults = [
            number
            for number, fault in enumerate(boards.faults)
            if device.ref in fault.switched_off and not fault.added
        ]
        for name in _list_clipped_points(paths, device):
            share = shares.setdefault(name, np.ones(boards.count))
            for number in opening_faults:
                share[boards.list_rows(number)] = _compute_unclipped_gain(paths, name, device.ref)
    return shares


def compute_unloaded_shares(paths: Paths) -> dict[str, Array]:
    """Return the share left of signals behind followers that nothing pulls down, by point.

    The one resistor at the emitter is open: the capacitance there keeps the peaks. A share of 1 is
    a follower as it should be. Shape (boards,).
    """
    boards, topology = paths.boards, paths.topology
    shares: dict[str, Array] = {}
    for emitter, ref in _list_follower_loads(topology):
        left = boards.good.draws.draw_uniform(f"left without {ref}", *_LEFT_UNLOADED)
        share = np.ones(boards.count)
        for number, fault in enumerate(boards.faults):
            one = fault.hypothesis
            if one.kind == "part" and one.what == ref and one.failure == "open":
                share[boards.list_rows(number)] = left
        for name in find_carried(topology.chip, [emitter]):
            shares[name] = shares.get(name, 1.0) * share
    return shares


def _list_follower_loads(topology: Topology) -> Iterator[tuple[str, str]]:
    """Yield the emitters of followers, collector at rest, with the one resistor that loads them."""
    for part in topology.chip.application.parts:
        if part.kind != "transistor" or len(part.joins) != _TRANSISTOR_LEADS:
            continue
        _, collector, emitter = (part.joins[lead] for lead in order_leads(part))
        loads = [
            other
            for other in topology.parts_at.get(emitter, ())
            if other is not part and topology.carries_dc(other)
        ]
        if [load.kind for load in loads] != ["resistor"] or not topology.is_quiet(collector):
            continue
        if any(topology.is_quiet(end) for end in loads[0].joins):
            yield emitter, loads[0].ref


def _list_clipped_points(paths: Paths, diode: Diode) -> Iterator[str]:
    """Yield the points whose stated signal ends where a diode to a quiet point limits it."""
    topology = paths.topology
    names = (*topology.points, GROUND)
    anode, cathode = names[diode.anode], names[diode.cathode]
    for name, other, direction in ((anode, cathode, 1.0), (cathode, anode, -1.0)):
        if not carries_signal(topology, name) or not topology.is_quiet(other):
            continue
        held_v = 0.0 if other == GROUND else topology.stated_dc_v.get(other, 0.0)
        limits_v = [held_v + direction * diode.drop_v]
        if np.isfinite(diode.zener_v):
            # Backwards a zener limits as well.
            limits_v.append(held_v - direction * diode.zener_v)
        if any(_reaches(paths, name, limit_v) for limit_v in limits_v):
            yield name


def _reaches(paths: Paths, name: str, limit_v: float) -> bool:
    waveform = paths.topology.expectations[name].waveform
    assert waveform is not None
    low, high, _ = waveform.extremes_v
    end = high if limit_v > 0.5 * (low + high) else low
    return abs(end - limit_v) < max(_CLOSE_V, _CLOSE_SHARE * (high - low))


def _compute_unclipped_gain(paths: Paths, name: str, ref: str) -> Array:
    """Return how many times larger a signal is unclipped, shape (draws,); never less than once."""
    topology, draws = paths.topology, paths.boards.good.draws
    waveform = topology.expectations[name].waveform
    assert waveform is not None
    low_v, high_v, _ = waveform.extremes_v
    stated_vpp = max(high_v - low_v, 1e-3)
    times = draws.draw_log_uniform(f"unclipped by {ref}", *_UNCLIPPED)
    path = paths.at.get(name)
    source = topology.expectations.get(path.source) if path is not None else None
    if path is not None and path.source != name and source is not None and source.waveform:
        # The source's own signal, as the parts bring it here, is the unclipped one.
        brought_vpp = path.volts_per_volt * source.waveform.figures.vpp_v
        times = np.full(draws.count, brought_vpp / stated_vpp)
    if name in topology.supply_of:
        # The chip's own protection clips next, a junction beyond its supplies.
        supply_v = topology.find_nominal_v(topology.supply_of[name])
        if high_v <= supply_v + _PROTECTED_V:
            most_vpp = max(supply_v, high_v) + _PROTECTED_V - min(low_v, 0.0)
            times = np.minimum(times, most_vpp / stated_vpp)
    return np.maximum(times, 1.0)
