"""The tuner outside: its gain follows the control voltage that the board sends it."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .operating_point import Boards

_HALVES_WITHIN_V: Final = (0.5, 2.0)  # some 40 dB in three to nine volts. Common practice.
_LEAST: Final = 3e-3
_MOST: Final = 2.0
_MOST_OCTAVES: Final = 10.0


def compute_tuner_gain(boards: Boards, node: str) -> NDArray[Any] | None:
    """Return the gain of a tuner whose signal comes in at a node, relative to the good board's.

    Shape (boards,); None where no tuner is there, or nothing controls it. Full gain at the highest
    control voltage; below, it halves for each volt or so.
    """
    topology, draws = boards.good.topology, boards.good.draws
    node_names = {n.id: n.name.casefold() for n in topology.chip.application.nodes}
    outputs = {n: p.function.casefold() for n, p in topology.pin_at.items() if p.role == "output"}
    titles = node_names | outputs
    controls = [name for name, title in titles.items() if "agc" in title and "tuner" in title]
    if "tuner" not in node_names.get(node, "") or not controls or node in controls:
        return None
    control_v = boards.volts[:, topology.index[controls[0]]]
    good_v = control_v[: boards.draws][boards.draw_of]
    halving_v = boards.spread_draws(
        draws.draw_log_uniform(f"{node} halves within", *_HALVES_WITHIN_V)
    )
    # The gain in octaves goes with the control voltage: decibels per volt.
    octaves = np.clip((control_v - good_v) / halving_v, -_MOST_OCTAVES, _MOST_OCTAVES)
    return np.asarray(np.clip(2.0**octaves, _LEAST, _MOST))
