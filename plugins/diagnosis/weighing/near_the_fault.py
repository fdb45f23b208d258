"""Points that lie at a fault itself: the ends of a part, the pins of a stage.

The model is trusted less about them than about points far away: that a fault leaves its own
ends alone is seldom true, whatever the model thinks.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ....schema import Chip
from ..answers.wording import parse_joint_pin
from ..board.cloud import Cloud, Hypothesis


def find_points_near(chip: Chip, cloud: Cloud) -> NDArray[np.bool_]:
    """Return which points lie at each fault, shape (hypotheses, points)."""
    parts = {part.ref: part.joins for part in chip.application.parts}
    stages = {block.id: (*block.inputs, *block.outputs, *block.needs) for block in chip.blocks}

    def list_ends(hypothesis: Hypothesis) -> tuple[str, ...]:
        name = hypothesis.what
        if hypothesis.kind == "joint":
            return (parse_joint_pin(name),)
        if hypothesis.kind == "outside":
            # The node itself, and all that the parts on it lead to.
            return (name, *(end for joins in parts.values() if name in joins for end in joins))
        if hypothesis.kind == "supply":
            return (_find_rail(hypothesis),)
        ends_of = {"part": parts, "stage": stages}.get(hypothesis.kind, {})
        return ends_of.get(name, ())

    near = np.zeros((len(cloud.hypotheses), len(cloud.points)), dtype=bool)
    for row, hypothesis in enumerate(cloud.hypotheses):
        for end in list_ends(hypothesis):
            if end in cloud.column:
                near[row, cloud.column[end]] = True
    return near


def _find_rail(supply: Hypothesis) -> str:
    """Return the point where a supply comes in, as the board model names it."""
    return supply.title.rpartition(", at ")[2]
