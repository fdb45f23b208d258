"""How likely everything is to have failed before anything is measured."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set
from functools import cache, lru_cache
from importlib.resources import files
from typing import Any, Final

import numpy as np
import yaml
from numpy.typing import NDArray

from ....schema import Chip
from ....schema.note import Note
from ...notes.past_faults import PastFault, collect_past_faults, update_shares, weigh_sets
from ..board.cloud import Cloud, Hypothesis
from .same_object import Same

Numbers = NDArray[np.float64]

_NONE: Final = "none of these"
_OTHER_NAMES: Final = {
    ("resistor", "value high"): "drifted up",
    ("potentiometer", "value high"): "drifted up",
}
"""How the odds file calls the ways in which some kinds of part fail."""
_USUAL_FAILURES: Final = {
    "stage": "stage weak",
    "supply": "supply low",
    "outside": "outside missing",
}
_UNLISTED: Final = 0.5  # of the odds of the usual failure


@cache
def load_usual_odds() -> dict[str, Any]:
    """Return the odds that come with the package."""
    text = files(__package__).joinpath("odds.yaml").read_text(encoding="utf-8")
    odds: dict[str, Any] = yaml.safe_load(text)
    return odds


def compute_prior(
    chip: Chip,
    cloud: Cloud,
    odds: Mapping[str, Any] | None = None,
    notes: Iterable[Note] = (),
    chassis: str | None = None,
) -> Numbers:
    """Return the chance of every hypothesis, shape (hypotheses,), adding up to 1.

    ``notes`` are those on the chip; with ``chassis`` those of other chassis count less.
    """
    known_odds = odds or load_usual_odds()
    weights = _weigh_by_odds(Same(chip), cloud, Same(known_odds)).copy()
    # A copy, since the odds alone are kept for the next question.
    _add_past_faults(weights, cloud, collect_past_faults(notes), known_odds, chassis)
    return np.asarray(weights / weights.sum())


@lru_cache(maxsize=8)
def _weigh_by_odds(chip: Same[Chip], cloud: Cloud, same_odds: Same[Mapping[str, Any]]) -> Numbers:
    """Return the odds of every hypothesis before any note, shape (hypotheses,)."""
    odds = same_odds.value
    kinds = {part.ref: part.kind for part in chip.value.application.parts}
    grounds = {str(pin.number) for pin in chip.value.pins if pin.role == "ground"}
    weights = np.array([_weight(h, kinds, grounds, odds) for h in cloud.hypotheses])
    mode_sums: dict[str, float] = {}
    for hypothesis, weight in zip(cloud.hypotheses, weights.tolist(), strict=True):
        if hypothesis.kind == "part":
            mode_sums[hypothesis.what] = mode_sums.get(hypothesis.what, 0.0) + weight
    for row, hypothesis in enumerate(cloud.hypotheses):
        if hypothesis.kind == "part":
            # The odds of a part are shared among its ways to fail.
            part_odds = float(odds["parts"].get(kinds[hypothesis.what], 1.0))
            weights[row] *= part_odds / mode_sums[hypothesis.what]
    return weights


def _weight(
    hypothesis: Hypothesis, kinds: Mapping[str, str], grounds: Set[str], odds: Mapping[str, Any]
) -> float:
    """Return the odds of a hypothesis; of a part only in proportion to its other ways to fail."""
    if hypothesis.kind == "none":
        return float(odds[_NONE])
    failure = hypothesis.failure.split(",")[0]  # without the leads: ``open, pin 3 to pin 4``
    if hypothesis.kind == "part":
        mode = _OTHER_NAMES.get((kinds[hypothesis.what], failure), failure)
        return float(odds["modes"].get(mode, 1.0))
    if hypothesis.kind == "joint":
        is_ground = hypothesis.what in grounds
        return float(odds["ground joint open" if is_ground else "pin joint open"])
    # A failure that the file does not list is half as likely as the usual one of its kind.
    usual = float(odds[_USUAL_FAILURES[hypothesis.kind]])
    return float(odds.get(f"{hypothesis.kind} {failure}", _UNLISTED * usual))


def _add_past_faults(
    weights: Numbers,
    cloud: Cloud,
    faults: Sequence[PastFault],
    odds: Mapping[str, Any],
    chassis: str | None,
) -> None:
    """Change the weights of parts and joints to those after the faults that notes proved.

    The weight of all of them together stays: notes prove no fault of a stage, of a supply or
    outside, so they say nothing of how parts compare with those. A fault whose way of failing is
    not known counts for each way of the part in proportion to its weight.
    """
    set_counts = weigh_sets(
        faults,
        chassis,
        here=float(odds["seen before"]),
        elsewhere=float(odds["seen in another chassis"]),
        most_of_a_shop=float(odds["most seen before"]),
    )
    rows = [row for row, h in enumerate(cloud.hypotheses) if h.kind in ("part", "joint")]
    counts = np.zeros(len(weights))  # sets with each fault, shape (hypotheses,)
    for fault, set_count in zip(faults, set_counts, strict=True):
        thing = (fault.kind, fault.name)
        rows_of_thing = [
            r for r in rows if (cloud.hypotheses[r].kind, cloud.hypotheses[r].what) == thing
        ]
        rows_of_way = [r for r in rows_of_thing if cloud.hypotheses[r].failure == fault.way]
        counted_rows = rows_of_way or rows_of_thing
        if counted_rows:
            way_weights = weights[counted_rows]
            counts[counted_rows] += set_count * way_weights / way_weights.sum()
    if not counts.any():
        return
    weight_of_all = float(weights[rows].sum())
    shares = (weights[rows] / weight_of_all).tolist()
    set_total = float(odds["sets behind the odds"])
    weights[rows] = weight_of_all * np.array(
        update_shares(shares, counts[rows].tolist(), set_total)
    )
