"""Resistances with the set off, weighed like any other reading."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ....schema import Chip, Part
from ..evidence.observations import Resistance
from .cloud_cache import keep_ohms, read_ohms
from .known_board import KnownBoard
from .likelihood import Weighed
from .normal import compute_normal_density

Numbers = NDArray[np.float64]

LEAST_OHM: Final = 0.05  # meter leads: less is a short
SPREAD: Final = 0.25  # of good boards, natural logarithm: what chips conduct at rest differs
_MOVE_SPREAD: Final = 0.25
_FAR: Final = 3.0
_DECADES: Final = 16.0  # natural logarithms from a short to nothing at all
_AS_GOOD: Final = 0.5


def weigh_resistances(board: KnownBoard, readings: Sequence[Resistance]) -> list[Weighed]:
    """Return how likely resistances are on every simulated board. Raises KeyError for a point that
    the board does not have."""
    if not readings:
        return []
    ohms = _simulate(board, readings)
    return [_weigh(ohms[:, :, at], reading) for at, reading in enumerate(readings)]


def list_good_ohms(board: KnownBoard, readings: Sequence[Resistance]) -> Numbers:
    """Return the ohms of good boards where each resistance was read, shape (readings, draws)."""
    return _simulate(board, readings)[0].T if readings else np.zeros((0, 0))


def list_two_lead_parts(chip: Chip) -> tuple[Part, ...]:
    """Return the parts with two leads at different points, ground among them or not."""
    return tuple(
        part for part in chip.application.parts if len({*part.joins}) == len(part.joins) == 2
    )


@lru_cache(maxsize=8)
def simulate_across_parts(board: KnownBoard) -> Numbers:
    """Return ohms across each part with two leads, in circuit, with the set off; shape (hypotheses,
    draws, parts). A second or so at the first question, then from the cache."""
    document, condition = board.chip.document(), board.cloud.condition
    ohms = read_ohms(document, condition)
    if ohms is None:
        pairs = tuple(_order_ends(part) for part in list_two_lead_parts(board.chip))
        ohms = keep_ohms(document, condition, _solve_off_resistances(document, condition, pairs))
    return ohms


def _order_ends(part: Part) -> tuple[str, str]:
    """Return the two ends of a part, ground last."""
    first, second = part.joins
    return (second, first) if first == "ground" else (first, second)


def _simulate(board: KnownBoard, readings: Sequence[Resistance]) -> Numbers:
    """Return ohms on every board, shape (hypotheses, draws, readings)."""
    document = board.chip.document()
    pairs = tuple((reading.first, reading.second) for reading in readings)
    return _solve_off_resistances(document, board.cloud.condition, pairs)


def _weigh(ohms: Numbers, reading: Resistance) -> Weighed:
    level = np.log(np.maximum(ohms, LEAST_OHM))
    value = float(np.log(max(reading.ohm, LEAST_OHM)))
    good = level[0]
    move = np.minimum(np.abs(level - good), _FAR)
    own = float(np.hypot(SPREAD, reading.share))
    predicted = compute_normal_density(value, level, np.hypot(own, _MOVE_SPREAD * move))
    near = float(np.mean(compute_normal_density(value, good, own)))
    otherwise = _AS_GOOD * near + (1 - _AS_GOOD) / _DECADES
    moved = 1 - np.exp(-((move / (2 * own)) ** 2))
    return Weighed(predicted, otherwise, moved, np.zeros((1, 1), dtype=bool))


@lru_cache(maxsize=16)
def _solve_off_resistances(
    document: str, condition: str, pairs: tuple[tuple[str, str], ...]
) -> Numbers:
    """Return ohms of the pairs, shape (hypotheses, draws, pairs), as in the cloud."""
    from ..board.set_off import solve_off_resistances  # takes long to import
    from ..board.simulate import DRAWS, SEED

    chip = Chip.model_validate_json(document)
    return np.asarray(solve_off_resistances(chip, condition, pairs, DRAWS, SEED), dtype=float)
