"""The symptoms that a chip can show, and those that one fault shows."""

from __future__ import annotations

from typing import Final

import numpy as np

from ..symptoms.catalogue import Symptom, list_known_symptoms
from .known_board import KnownBoard
from .pictures import fit_of_pictures

_SHOWS: Final = 0.4  # of the boards of a fault: it can be told so
_MOST: Final = 3


def list_board_symptoms(board: KnownBoard) -> tuple[Symptom, ...]:
    """Return the symptoms that something on this board can show, those of its chip file first."""
    return tuple(
        symptom
        for symptom in list_known_symptoms(board.chip)
        if symptom.signs or float(_compute_shares(board, symptom).max()) > _SHOWS
    )


def list_shown_symptoms(board: KnownBoard, row: int) -> tuple[str, ...]:
    """Return the symptoms of one fault, by name, the surest first."""
    shares = [
        (float(_compute_shares(board, symptom)[row]), symptom.name)
        for symptom in list_known_symptoms(board.chip)
        if symptom.shows
    ]
    return tuple(name for share, name in sorted(shares, reverse=True)[:_MOST] if share > _SHOWS)


def _compute_shares(board: KnownBoard, symptom: Symptom) -> np.ndarray:
    """Return the share of each fault's boards whose picture fits, shape (hypotheses,)."""
    cloud = board.cloud
    fits = fit_of_pictures(cloud.feature, cloud.shown.astype(float), [symptom])
    return np.asarray(fits.mean(axis=1))
