"""Outcomes of measurements, in steps that a technician tells apart.

The figures of all simulated boards that are still likely are sorted into steps: as in a good set,
a little off, far off, on either side; nothing there. Steps grow with the distance, as the spread
of a prediction does.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..board.cloud import Cloud
from ..weighing.spreads import Spreads

Numbers = NDArray[np.float64]

QUANTITIES: Final = ("dc", "vpp", "frequency", "ripple")
_EDGES: Final = tuple(
    float(np.copysign(np.expm1(abs(edge)), edge))
    for edge in (-4.2, -3.0, -2.0, -1.15, 1.15, 2.0, 3.0, 4.2)
)
"""In standard deviations: between steps of equal width in log(1 + distance)."""
STEPS: Final = len(_EDGES) + 1
NOTHING: Final = STEPS  # the last step: no signal
COUNT: Final = STEPS + 1
RIGHT: Final = STEPS // 2
_BLUR: Final = 0.08  # of a step's boards that are read as the next one
_RIPPLE_SPREAD: Final = 0.5
_FREE_COUNT: Final = 1e-4  # of a frequency, a spread below which steps tell nothing more
_LEAST_WEIGHT: Final = 1e-300  # against division by nothing
_READS_ANYTHING: Final = 0.5  # of readings that the model is wrong about; the others are as good


@dataclass(frozen=True)
class Boards:
    """The simulated boards that are still likely: rows and draws of a cloud, with weights."""

    rows: NDArray[np.intp]
    draws: NDArray[np.intp]
    weights: Numbers


def pick_likely_boards(
    weights: Numbers, most: int = 1500, least: float = 1e-5, each: int = 8
) -> Boards:
    """Return the likeliest simulated boards; weights (hypotheses, draws) add up to about 1.

    Of each hypothesis at most ``each``: the others' weight goes to them.
    """
    if weights.shape[1] > each:
        draws = np.argpartition(-weights, each, axis=1)[:, :each]
        kept = np.take_along_axis(weights, draws, axis=1)  # hypotheses x each
        kept_sums = np.maximum(kept.sum(axis=1), _LEAST_WEIGHT)
        kept *= weights.sum(axis=1, keepdims=True) / kept_sums[:, None]
    else:
        draws, kept = np.broadcast_to(np.arange(weights.shape[1]), weights.shape), weights
    flat_weights = kept.ravel()
    picked = np.flatnonzero(flat_weights > least * flat_weights.max())
    if len(picked) > most:
        picked = picked[np.argpartition(-flat_weights[picked], most)[:most]]
    picked_weights = flat_weights[picked]
    rows = picked // kept.shape[1]
    return Boards(rows, draws.ravel()[picked], picked_weights / picked_weights.sum())


@dataclass(frozen=True, eq=False)
class _KnownSteps:
    """Steps of one quantity, as far as they were asked for."""

    steps: NDArray[np.int8]
    """Shape (hypotheses, draws, points)."""
    is_known: NDArray[np.bool_]
    """Shape (hypotheses, draws)."""


@lru_cache(maxsize=16)  # under 1 MB each; most boards that are likely were so a step before
def _keep_steps(cloud: Cloud, spreads: Spreads, quantity: str) -> _KnownSteps:
    shape = cloud.dc_v.shape
    return _KnownSteps(np.zeros(shape, dtype=np.int8), np.zeros(shape[:2], dtype=bool))


def sort_into_steps(
    cloud: Cloud, spreads: Spreads, boards: Boards, quantity: str
) -> NDArray[np.int8]:
    """Return the step of every likely board at every point, shape (boards, points)."""
    kept = _keep_steps(cloud, spreads, quantity)
    is_new = ~kept.is_known[boards.rows, boards.draws]
    if is_new.any():
        rows, draws = boards.rows[is_new], boards.draws[is_new]
        kept.steps[rows, draws] = _compute_steps(cloud, spreads, rows, draws, quantity)
        kept.is_known[rows, draws] = True
    return kept.steps[boards.rows, boards.draws]


def _compute_steps(
    cloud: Cloud,
    spreads: Spreads,
    rows: NDArray[np.intp],
    draws: NDArray[np.intp],
    quantity: str,
) -> NDArray[np.int8]:
    """Return the steps of some boards at every point, shape (boards, points).

    Single precision throughout: steps are coarse, and this is half of the work of a question.
    """
    if quantity == "dc":
        move_v = cloud.dc_v[rows, draws] - cloud.dc_v[0][draws]
        return sort_distance(move_v / spreads.dc_v.astype(np.float32))
    floor_v = spreads.floor_v.astype(np.float32)
    if quantity == "frequency":
        hertz, good_hertz = cloud.frequency_hz[rows, draws], cloud.frequency_hz[0][draws]
        # A counter that gets no signal above the noise counts nothing.
        count_floor_v = spreads.count_floor_v.astype(np.float32)
        is_none = ~(hertz > 0) | ~(cloud.vpp_v[rows, draws] > count_floor_v)
        ratio = np.where(is_none, 1.0, hertz) / np.where(good_hertz > 0, good_hertz, 1.0)
        steps = sort_distance(np.log(ratio) / np.maximum(spreads.frequency, _FREE_COUNT))
        return np.where(is_none, np.int8(NOTHING), steps)
    shown_vpp, good_vpp = cloud.ripple_vpp[rows, draws], cloud.ripple_vpp[0][draws]
    spread: Any = np.float32(_RIPPLE_SPREAD)
    if quantity == "vpp":
        # An oscilloscope shows the signal, or the ripple where that is larger.
        shown_vpp = np.fmax(shown_vpp, cloud.vpp_v[rows, draws])
        good_vpp = np.fmax(good_vpp, cloud.vpp_v[0][draws])
        spread = spreads.vpp.astype(np.float32)
    least_vpp = floor_v / 2
    ratio = np.log(np.maximum(shown_vpp, least_vpp) / np.maximum(good_vpp, least_vpp))
    steps = sort_distance(ratio / spread)
    step_below_floor = np.where(np.isfinite(shown_vpp), np.int8(NOTHING), np.int8(RIGHT))
    return np.where(shown_vpp > floor_v, steps, step_below_floor)


def sort_distance(distance: Any) -> NDArray[np.int8]:
    """Return steps of distances in standard deviations; an unknown one counts as right."""
    step = np.zeros(distance.shape, dtype=np.int8)
    for edge in _EDGES:  # counting edges is much faster than a search for each figure
        step += distance >= distance.dtype.type(edge)
    step[np.isnan(distance)] = RIGHT
    return step


def sum_step_chances(
    steps: NDArray[np.int8],
    thing_numbers: NDArray[np.intp],
    weights: Numbers,
    things: int,
    wrong: Numbers,
) -> Numbers:
    """Return the joint chance of steps and things, shape (points, steps, things).

    ``wrong``: how often the model is wrong about each point, shape (points,), and it reads as in a
    good set or anything.
    """
    points = steps.shape[1]
    # Each board's cell in the flat array of points, steps and things.
    cells = np.multiply(steps, things, dtype=np.intp)
    cells += np.arange(points) * (COUNT * things) + thing_numbers[:, None]
    flat = np.bincount(cells.ravel(), np.repeat(weights, points), minlength=points * COUNT * things)
    joint = flat.reshape(points, COUNT, things)
    blurred = _blur_steps(joint)
    thing_chances = joint.sum(axis=1)  # points x things
    step_chances = np.full(COUNT, _READS_ANYTHING / COUNT)
    step_chances[RIGHT] += 1 - _READS_ANYTHING
    share = wrong[:, None, None]
    unexplained = share * step_chances[None, :, None] * thing_chances[:, None, :]
    return np.asarray((1 - share) * blurred + unexplained)


def _blur_steps(joint: NDArray[Any]) -> Numbers:
    """Return the joint chances with some of each step's boards read as the next one.

    Nothing there is never taken for something.
    """
    blurred = (1 - 2 * _BLUR) * joint
    blurred[:, 1:STEPS] += _BLUR * joint[:, : STEPS - 1]
    blurred[:, : STEPS - 1] += _BLUR * joint[:, 1:STEPS]
    # Beyond the last step on either side there is none to be taken for.
    for end in (0, STEPS - 1):
        blurred[:, end] += _BLUR * joint[:, end]
    blurred[:, NOTHING] = joint[:, NOTHING]
    return np.asarray(blurred)
