"""How likely everything is to have failed before anything is measured."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Set
from functools import cache
from importlib.resources import files
from typing import Any, Final

import numpy as np
import yaml
from numpy.typing import NDArray

from ....schema import Chip
from ....schema.note import Note
from ...readings.observed_range import select_settled_notes
from ..board.cloud import Cloud, Hypothesis

Numbers = NDArray[np.float64]

_NONE: Final = "none of these"
_OTHER_NAMES: Final = {
    ("resistor", "value high"): "drifted up",
    ("potentiometer", "value high"): "drifted up",
}
"""How the odds file calls the ways in which some kinds of part fail."""


@cache
def usual_odds() -> dict[str, Any]:
    """Return the odds that come with the package."""
    text = files(__package__).joinpath("odds.yaml").read_text(encoding="utf-8")
    odds: dict[str, Any] = yaml.safe_load(text)
    return odds


def prior_chances(
    chip: Chip,
    cloud: Cloud,
    odds: Mapping[str, Any] | None = None,
    notes: Iterable[Note] = (),
) -> Numbers:
    """Return the chance of every hypothesis, shape (hypotheses,), adding up to 1."""
    known = odds or usual_odds()
    kinds = {part.ref: part.kind for part in chip.application.parts}
    grounds = {str(pin.number) for pin in chip.pins if pin.role == "ground"}
    weights = np.array([_weight(h, kinds, grounds, known) for h in cloud.hypotheses])
    shares: dict[str, float] = {}
    for hypothesis, weight in zip(cloud.hypotheses, weights.tolist(), strict=True):
        if hypothesis.kind == "part":
            shares[hypothesis.what] = shares.get(hypothesis.what, 0.0) + weight
    before = _seen_before(notes, known)
    for row, hypothesis in enumerate(cloud.hypotheses):
        if hypothesis.kind == "part":
            # The odds of a part are shared among its ways to fail.
            whole = float(known["parts"].get(kinds[hypothesis.what], 1.0))
            weights[row] *= whole / shares[hypothesis.what] * before.get(hypothesis.what, 1.0)
    return np.asarray(weights / weights.sum())


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


def _seen_before(notes: Iterable[Note], known: Mapping[str, Any]) -> dict[str, float]:
    """Return by how much the odds rise of parts that notes say have failed before.

    The rule: each set in which a part was proved to have failed adds ``seen before`` to its odds,
    in proportion, up to ``most seen before``. A note without a proof, in conflict, or withdrawn,
    says nothing.
    """
    sets: dict[str, int] = {}
    for note in select_settled_notes(notes):
        # A suspect that was exchanged on the way to the cure proves nothing against it.
        if note.kind == "fault and remedy" and note.part is not None and note.proof:
            sets[note.part] = sets.get(note.part, 0) + note.sets
    each, most = float(known["seen before"]), float(known["most seen before"])
    return {part: min(1 + each * number, most) for part, number in sets.items()}
