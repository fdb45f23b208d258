"""The board as drawn, compared with the catalogue.

For lint: where the drawn circuit contradicts a stated voltage or signal, one of the two is wrong.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from ....schema import Chip
from ....schema.waveforms import Waveform
from .devices import list_board_devices
from .elements import Element
from .good_board import GoodBoard, build_good_board, solve_held
from .hypotheses import list_faults
from .levels import find_outside_kinds, list_held_levels
from .operating_point import Boards
from .paths import Paths
from .senders import carries_signal
from .severities import Draws
from .topology import Topology

_SHAPING: Final = ("transistor", "diode", "zener diode", "crystal", "ceramic resonator",
                   "delay line", "ceramic filter", "transformer")  # fmt: skip
_DRAWS: Final = 8
_SEED: Final = 20
_LEAST_V: Final = 0.1
_LEAST_VPP: Final = 0.02
_UNSTATED_DC: Final = 0.12  # how far off where no tolerance is stated
_UNSTATED_VPP: Final = 0.3
_LOAD: Final = (0.4, 2.5)  # of the stated supply current, what the drawn feed may carry


@dataclass(frozen=True)
class Solved:
    """One point, as the drawn circuit makes it and as it is stated."""

    at: str
    quantity: Literal["dc", "vpp", "part of a signal", "supply current"]
    """``part of a signal``: a sine in it at a frequency of its own, such as the burst."""
    stated: float
    """Volts, volts peak to peak, or amperes."""
    solved: float
    low: float
    """Limits that the solved figure should lie in."""
    high: float
    source: str = ""
    """Of a signal: the point that sends it."""
    frequency_hz: float = 0.0
    """Of a part of a signal."""

    @property
    def contradicts(self) -> bool:
        """Whether the drawn circuit cannot make the stated figure."""
        return not self.low <= self.solved <= self.high


def solve_board(chip: Chip, condition: str) -> tuple[Solved, ...]:
    """Return every point that parts lead to, as stated and as solved, in one condition."""
    board = build_good_board(Topology(chip, condition), Draws(_DRAWS, _SEED))
    boards = Boards(board, list_faults(board)[:1])
    boards.solve_dc()
    return (*_solve_nodes(board), *_solve_supply_currents(board), *_solve_signals(boards))


def _solve_nodes(board: GoodBoard) -> Iterator[Solved]:
    """Yield the nodes that no rail and no source outside holds, solved with all pins held."""
    topology = board.topology
    levels, kinds = list_held_levels(topology), find_outside_kinds(topology)
    held = {n: v for n, v in levels.items() if n in topology.pin_at or n in kinds}
    devices = list_board_devices(topology)
    all_off = np.zeros(len(devices), dtype=int)
    volts, _ = solve_held(topology, board.draws.count, board.elements, devices, all_off, held)
    for name, stated_v in topology.stated_dc_v.items():
        parts = topology.parts_at.get(name, ())
        has_dc_path = any(map(topology.carries_dc, parts))
        # A node with capacitors alone gets its voltage from beyond the drawing.
        if name in held or topology.is_pulsed(name) or not has_dc_path:
            continue
        solved_v = float(np.median(volts[:, board.index[name]]))
        expectation = topology.expectations.get(name)
        limits = expectation.dc_limits_v() if expectation is not None else None
        low_v, high_v = limits or (stated_v, stated_v)
        # Narrow limits of the reading say little of how exact a drawing is.
        spread_v = max(_UNSTATED_DC * abs(stated_v), _LEAST_V)
        low_v, high_v = min(low_v, stated_v - spread_v), max(high_v, stated_v + spread_v)
        yield Solved(name, "dc", stated_v, solved_v, low_v, high_v)


def _solve_supply_currents(board: GoodBoard) -> Iterator[Solved]:
    """Yield the current of each supply's drawn feed at the stated voltages."""
    topology = board.topology
    for supply in topology.chip.supplies:
        for name in (f"pin {number}" for number in supply.pins):
            if supply.current is None or name not in topology.stated_dc_v:
                continue
            feed_a = sum(_compute_feed_a(topology, name, element) for element in board.elements)
            if feed_a:
                stated_a = supply.current.nominal / len(supply.pins)
                low_a, high_a = (share * stated_a for share in _LOAD)
                yield Solved(name, "supply current", stated_a, feed_a, low_a, high_a)


def _compute_feed_a(topology: Topology, name: str, element: Element) -> float:
    """Return the amperes that a part brings from a rail to a supply pin; 0 for other parts."""
    if name not in element.ends or element.kind not in ("resistor", "coil"):
        return 0.0
    rails = [end for end in element.ends if end != name and end.startswith("rail")]
    if not rails or rails[0] not in topology.stated_dc_v:
        return 0.0
    across_v = topology.stated_dc_v[rails[0]] - topology.stated_dc_v[name]
    return across_v * float(np.median(element.compute_siemens(0.0).real))


def _is_shaped(topology: Topology, name: str) -> bool:
    """Return whether a part at a point shapes or keeps its signal: no matter of shares then."""
    return any(part.kind in _SHAPING for part in topology.parts_at.get(name, ()))


def _solve_signals(boards: Boards) -> Iterator[Solved]:
    """Yield the signals that arrive where one is stated, and not at their own source."""
    paths = Paths(boards)
    paths.solve()
    topology = boards.good.topology
    for name, path in paths.at.items():
        if name == path.source or not carries_signal(topology, name):
            continue
        if path.source not in topology.expectations or _is_shaped(topology, name):
            continue
        here, there = (topology.expectations[n].waveform for n in (name, path.source))
        # Another part of the signal: their sizes are not comparable.
        if here is None or there is None or here.kind != there.kind:
            continue
        stated_vpp = here.figures.vpp_v
        solved_vpp = path.volts_per_volt * there.figures.vpp_v
        spread = max(_UNSTATED_VPP * stated_vpp, _LEAST_VPP)
        low_vpp, high_vpp = stated_vpp - spread, stated_vpp + spread
        yield Solved(name, "vpp", stated_vpp, solved_vpp, low_vpp, high_vpp, path.source)
        yield from _solve_sines(paths, name, path.source, here, there)


def _solve_sines(
    paths: Paths, name: str, source: str, here: Waveform, there: Waveform
) -> Iterator[Solved]:
    """Yield the sines within a signal, each as stated and as the drawn circuit passes it."""
    sent_vpp = dict(there.parts_of_their_own)
    for hz, stated_vpp in here.parts_of_their_own:
        if hz not in sent_vpp:
            continue
        solved_vpp = paths.find_passed_gain(source, name, hz) * sent_vpp[hz]
        spread = max(_UNSTATED_VPP * stated_vpp, _LEAST_VPP)
        low_vpp, high_vpp = stated_vpp - spread, stated_vpp + spread
        yield Solved(
            name, "part of a signal", stated_vpp, solved_vpp, low_vpp, high_vpp, source, hz
        )
