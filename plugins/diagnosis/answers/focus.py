"""The complaint leads the first measurements, the readings the later ones.

A symptom may have been told wrongly, or the model may be wrong about it, so nothing is ruled out by
it alone. But for "the picture rolls" a technician begins at the field sync, not at the video
amplifier, however many parts that has: suspects that cannot show the complaint count for less while
little has been read. Common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ....schema import Chip
from ..board.cloud import Cloud
from ..deciding.next_step import Step
from ..symptoms.catalogue import Symptom
from ..weighing.known_board import KnownBoard
from ..weighing.pictures import fit_of_symptoms
from ..weighing.posterior import Posterior
from ..weighing.spreads import Spreads

Numbers = NDArray[np.float64]

_SHOWS: Final = 0.25  # of the boards of a fault: it shows the complaint
_FEW_READINGS: Final = 3
_ASIDE: Final = 0.02  # how much what never shows it is thought of before anything was read
_LEAST_CHANCE: Final = 1e-300  # against division by nothing


def focus_on_complaint(
    chip: Chip, posterior: Posterior, spreads: Spreads, symptoms: tuple[Symptom, ...], readings: int
) -> Posterior:
    """Return the posterior by which measurements are chosen after so many readings.

    Faults that seldom show the complaint are set aside, less and less as readings speak for
    themselves; ``none of these`` keeps its share.
    """
    if not symptoms:
        return posterior
    shares = compute_share_of_boards(chip, posterior.cloud, spreads, symptoms)
    interest = _ASIDE + (1 - _ASIDE) * np.minimum(shares / _SHOWS, 1.0)  # shape (hypotheses,)
    factors = interest ** (1 / (1 + readings))
    other_chances = max(1 - posterior.chances[0], _LEAST_CHANCE)
    factors[0] = float((posterior.chances[1:] * factors[1:]).sum() / other_chances)
    weights = posterior.weights * factors[:, None]
    return replace(posterior, weights=weights / weights.sum())


def order_by_complaint(
    board: KnownBoard, steps: Sequence[Step], symptoms: tuple[Symptom, ...], readings: int
) -> list[Step]:
    """Return the steps with measurements away from the complaint's signal last.

    Before the first reading they are left out; after a few readings the order stays as it is.
    """
    if not symptoms or readings >= _FEW_READINGS:
        return list(steps)
    concerned = list_complaint_points(board, symptoms)
    near = [step for step in steps if step.kind != "measure" or step.at in concerned]
    if not any(step.kind == "measure" for step in near):
        return list(steps)
    return near if not readings else [*near, *(step for step in steps if step not in near)]


def list_complaint_points(board: KnownBoard, symptoms: tuple[Symptom, ...]) -> frozenset[str]:
    """Return the pins and nodes of everything that can show the complaint.

    They are those of its stages, of the parts on their pins, and of parts, feeds and sources whose
    failure shows it.
    """
    chip, cloud = board.chip, board.cloud
    shows = compute_share_of_boards(chip, cloud, board.spreads, symptoms) > _SHOWS
    is_near = board.spreads.near[shows].any(axis=0)  # shape (points,)
    points = {cloud.points[column] for column in np.flatnonzero(is_near).tolist()}
    stages = {h.what for row, h in enumerate(cloud.hypotheses) if h.kind == "stage" and shows[row]}
    for block in chip.blocks:
        if block.id in stages:
            points.update((*block.inputs, *block.outputs, *block.needs))
    # Every part is on a supply or on ground: that concerns no signal.
    supplies = {f"pin {pin.number}" for pin in chip.pins if pin.role in ("supply", "ground")}
    signal_points = points - supplies - {"ground"}
    for part in chip.application.parts:
        if signal_points & {*part.joins}:
            points.update(part.joins)
    return frozenset(points)


def compute_share_of_boards(
    chip: Chip, cloud: Cloud, spreads: Spreads, symptoms: tuple[Symptom, ...]
) -> Numbers:
    """Return the share of each fault's boards that show the complaint, shape (hypotheses,)."""
    return np.asarray(fit_of_symptoms(chip, cloud, spreads, symptoms).mean(axis=1))
