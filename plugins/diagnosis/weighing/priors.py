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
    known = odds or load_usual_odds()
    weights = _weigh_by_odds(Same(chip), cloud, Same(known)).copy()
    _add_past_faults(weights, cloud, collect_past_faults(notes), known, chassis)
    return np.asarray(weights / weights.sum())


@lru_cache(maxsize=8)
def _weigh_by_odds(chip: Same[Chip], cloud: Cloud, same_odds: Same[Mapping[str, Any]]) -> Numbers:
    """Return the odds of every hypothesis before any note, shape (hypotheses,)."""
    known = same_odds.value
    kinds = {part.ref: part.kind for part in chip.value.application.parts}
    grounds = {str(pin.number) for pin in chip.value.pins if pin.role == "ground"}
    weights = np.array([_weight(h, kinds, grounds, known) for h in cloud.hypotheses])
    shares: dict[str, float] = {}
    for hypothesis, weight in zip(cloud.hypotheses, weights.tolist(), strict=True):
        if hypothesis.kind == "part":
            shares[hypothesis.what] = shares.get(hypothesis.what, 0.0) + weight
    for row, hypothesis in enumerate(cloud.hypotheses):
        if hypothesis.kind == "part":
            # The odds of a part are shared among its ways to fail.
            whole = float(known["parts"].get(kinds[hypothesis.what], 1.0))
            weights[row] *= whole / shares[hypothesis.what]
    return weights


def _weight(
    hypothesis: Hypothesis, kinds: Mapping[str, str], grounds: Set[str], known: Mapping[str, Any]
) -> float:
    """Return the odds of a hypothesis; of a part only in proportion to its other ways to fail."""
    if hypothesis.kind == "none":
        return float(known[_NONE])
    if hypothesis.kind == "part":
        plain = hypothesis.failure.split(",")[0]
        name = _OTHER_NAMES.get((kinds[hypothesis.what], plain), plain)
        return float(known["modes"].get(name, 1.0))
    if hypothesis.kind == "joint":
        is_ground = hypothesis.what in grounds
        return float(known["ground joint open" if is_ground else "pin joint open"])
    named = f"{hypothesis.kind} {hypothesis.failure.split(',')[0]}"
    default = {"stage": "stage weak", "supply": "supply low", "outside": "outside missing"}
    return float(known.get(named, 0.5 * float(known[default[hypothesis.kind]])))


def _add_past_faults(
    weights: Numbers,
    cloud: Cloud,
    faults: Sequence[PastFault],
    known: Mapping[str, Any],
    chassis: str | None,
) -> None:
    """Change the weights of parts and joints to those after the faults that notes proved.

    The weight of all of them together stays: notes prove no fault of a stage, of a supply or
    outside, so they say nothing of how parts compare with those. A fault whose way of failing is
    not known counts for each way of the part in proportion to its weight.
    """
    rows = [row for row, h in enumerate(cloud.hypotheses) if h.kind in ("part", "joint")]
    sets = weigh_sets(
        faults,
        chassis,
        here=float(known["seen before"]),
        elsewhere=float(known["seen in another chassis"]),
        most_of_a_shop=float(known["most seen before"]),
    )
    counts = np.zeros(len(weights))
    for fault, number in zip(faults, sets, strict=True):
        of_thing = [
            row
            for row in rows
            if (cloud.hypotheses[row].kind, cloud.hypotheses[row].what) == (fault.kind, fault.name)
        ]
        of_way = [row for row in of_thing if cloud.hypotheses[row].failure == fault.way] or of_thing
        if of_way:
            counts[of_way] += number * weights[of_way] / weights[of_way].sum()
    if counts.any():
        whole = float(weights[rows].sum())
        shares = (weights[rows] / whole).tolist()
        after = update_shares(shares, counts[rows].tolist(), float(known["sets behind the odds"]))
        weights[rows] = whole * np.array(after)
