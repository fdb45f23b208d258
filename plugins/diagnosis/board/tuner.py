"""The tuner outside: its gain follows the control voltage that the board sends it."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .operating_point import Boards

_HALVES_WITHIN_V: Final = (0.5, 2.0)  # some 40 dB in three to nine volts. Common practice.
_LEAST: Final = 3e-3
_MOST: Final = 2.0


def compute_tuner_gain(boards: Boards, node: str) -> NDArray[Any] | None:
    """Return the gain beside the good board's of a tuner whose signal comes in at a node.

    Shape (boards,); None where no tuner is there, or nothing controls it. Full gain at the highest
    control voltage; below, it halves for each volt or so.
    """
    topology, draws = boards.good.topology, boards.good.draws
    nodes = {n.id: n.name.casefold() for n in topology.chip.application.nodes}
    pins = {n: p.function.casefold() for n, p in topology.pin_at.items() if p.role == "output"}
    controls = [n for n, text in (nodes | pins).items() if "agc" in text and "tuner" in text]
    if "tuner" not in nodes.get(node, "") or not controls or node in controls:
        return None
    volts = boards.volts[:, topology.index[controls[0]]]
    good = volts[: boards.draws][boards.draw_of]
    halving = boards.spread_draws(
        draws.draw_log_uniform(f"{node} halves within", *_HALVES_WITHIN_V)
    )
    octaves = np.clip((volts - good) / halving, -10, 10)
    return np.asarray(np.clip(2.0**octaves, _LEAST, _MOST))
