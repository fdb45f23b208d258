"""Given all that was read: how likely is each thing to be at fault, alone or with a second one?

Bayes' rule over every simulated board of every fault, and over pairs of those that a single fault
leaves unexplained. Source of the rule for pairs: de Kleer and Williams, Diagnosing multiple
faults, Artificial Intelligence 32 (1987).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ....schema import Chip
from ..board.cloud import Cloud, Hypothesis
from ..evidence.observations import Evidence, Observation
from ..evidence.part_tests import find_outcome_chance, is_bad
from ..symptoms.catalogue import Symptom
from .company import weigh_company
from .likelihood import Weighed, weigh
from .model_trust import ErrorChances, model_trust
from .pictures import (
    excuse_cleared,
    fit_of_pictures,
    fit_of_symptoms,
    weigh_picture,
    weigh_unthought_fault,
)
from .priors import load_usual_odds
from .spreads import Spreads

Numbers = NDArray[np.float64]
Thing = tuple[str, str]
"""A thing to replace or repair: (kind, name); all stages are the chip."""

CHIP: Final[Thing] = ("chip", "")
NONE: Final[Thing] = ("none", "")
_PAIRED: Final = 40  # so many faults are thought of as one of two
_GOOD_BOARD: Final = 0.3  # of "none of these", a board on which nothing is wrong at all
_SOLDERED_BUT_BAD: Final = 0.05  # a joint that was soldered again and is still bad
_CURED_BY_CHANCE: Final = 0.004  # a set that works after a joint was soldered that was good


def find_thing(hypothesis: Hypothesis) -> Thing:
    """Return the thing to repair under a hypothesis."""
    if hypothesis.kind == "stage":
        return CHIP
    if hypothesis.kind == "none":
        return NONE
    return hypothesis.kind, hypothesis.what


@dataclass(frozen=True, eq=False)
class Posterior:
    """The chances that the evidence leaves to every fault."""

    cloud: Cloud
    weights: Numbers
    """Chance of every simulated board, shape (hypotheses, draws), pairs shared between the two;
    adds up to 1."""
    pairs: tuple[tuple[int, int, float], ...]
    """The likeliest two faults at once: rows and chance."""
    explained: float
    """How likely the evidence is under the best, against where nothing of the model holds."""

    @cached_property
    def chances(self) -> Numbers:
        """Chance of each hypothesis, shape (hypotheses,)."""
        return np.asarray(self.weights.sum(axis=1))

    @cached_property
    def things(self) -> tuple[Thing, ...]:
        """Everything that may be at fault, in the order of the cloud."""
        return tuple(dict.fromkeys(find_thing(h) for h in self.cloud.hypotheses))

    @cached_property
    def number(self) -> NDArray[np.intp]:
        """For each hypothesis the number of its thing, shape (hypotheses,)."""
        places = {thing: at for at, thing in enumerate(self.things)}
        return np.array([places[find_thing(h)] for h in self.cloud.hypotheses], dtype=np.intp)

    @cached_property
    def shares(self) -> Numbers:
        """Chance of each thing, shape (things,)."""
        shares = np.bincount(self.number, self.chances, minlength=len(self.things))
        return np.asarray(shares, dtype=float)

    @cached_property
    def rows_of(self) -> dict[Thing, list[int]]:
        """The rows of each thing's ways to fail."""
        rows: dict[Thing, list[int]] = {}
        for row, hypothesis in enumerate(self.cloud.hypotheses):
            rows.setdefault(find_thing(hypothesis), []).append(row)
        return rows

    @cached_property
    def ranked(self) -> tuple[tuple[Thing, float], ...]:
        """The things, likeliest first."""
        order = np.argsort(-self.shares, kind="stable").tolist()
        return tuple((self.things[at], float(self.shares[at])) for at in order)

    def share_of(self, thing: Thing | None) -> float:
        """Return the chance of one thing; 0 for one that cannot be at fault here."""
        return float(self.shares[self.things.index(thing)]) if thing in self.things else 0.0

    def list_ways(self, thing: Thing) -> list[tuple[Hypothesis, float]]:
        """How a thing may have failed, with the chances, likeliest first."""
        rows = self.rows_of[thing]
        found = [(self.cloud.hypotheses[row], float(self.chances[row])) for row in rows]
        return sorted(found, key=lambda pair: -pair[1])


def compute_posterior(
    chip: Chip,
    cloud: Cloud,
    spreads: Spreads,
    prior: Numbers,
    told: Sequence[Symptom],
    evidence: Evidence,
    odds: Mapping[str, Any] | None = None,
    resistances: Sequence[Weighed] = (),
) -> Posterior:
    """Weigh every fault, and pairs of faults, by the evidence.

    ``resistances``: those of the evidence, weighed already (``resistances.py``).
    """
    weighed = [*weigh_readings(chip, cloud, spreads, evidence), *resistances]
    fits = fit_of_symptoms(chip, cloud, spreads, told)
    found = weigh_findings(cloud, evidence)
    trust = model_trust()
    levels = (
        (1 - trust.wrong_about_a_fault, trust.sound),
        (trust.wrong_about_a_fault, trust.doubtful),
    )
    seen = np.zeros(fits.shape)
    for share, chances in levels:
        pictures = weigh_picture(fits, chances.symptom_against, bool(told))
        seen += share * pictures * _join_readings(weighed, chances)
    seen *= excuse_cleared(cloud, told)
    single = prior[:, None] / cloud.draws * found[:, None] * seen
    anything = float(np.prod([one.otherwise for one in weighed])) * weigh_unthought_fault(told)
    single[0] = (
        prior[0] / cloud.draws * found[0] * ((1 - _GOOD_BOARD) * anything + _GOOD_BOARD * seen[0])
    )
    known = odds or load_usual_odds()
    pairs, paired = _weigh_pairs(cloud, single, weighed, told, evidence, prior, known)
    total = float(single.sum() + sum(chance for _, _, chance in pairs))
    weights = (single + paired) / total
    best = float((single / np.maximum(prior[:, None], 1e-300)).max()) * cloud.draws
    told_pairs = tuple((i, j, chance / total) for i, j, chance in pairs[:3])
    return Posterior(cloud, weights, told_pairs, best / max(anything, 1e-300))


def weigh_readings(chip: Chip, cloud: Cloud, spreads: Spreads, evidence: Evidence) -> list[Weighed]:
    """Return every reading weighed; readings of one quantity of one point are taken together,
    since the model is wrong about all of them or about none."""
    by_point: dict[tuple[str, str], list[Observation]] = {}
    for seen in evidence.observations:
        if seen.point in cloud.column:
            by_point.setdefault((seen.point, seen.quantity), []).append(seen)
    found = []
    for readings in by_point.values():
        each = [weigh(chip, cloud, spreads, seen) for seen in readings]
        found.append(_join_at_point(readings, each))
    return weigh_company(cloud, spreads, [readings[0] for readings in by_point.values()], found)


def _join_at_point(readings: Sequence[Observation], each: Sequence[Weighed]) -> Weighed:
    """Return the readings of one quantity at one point as one, any of them perhaps a slip."""
    predicted = np.ones(each[0].predicted.shape)
    for seen, one in zip(readings, each, strict=True):
        predicted = predicted * ((1 - seen.slip) * one.predicted + seen.slip * one.otherwise)
    otherwise = float(np.prod([one.otherwise for one in each]))
    moved = np.max([one.moved for one in each], axis=0)
    return Weighed(predicted, otherwise, moved, each[0].near, each[0].doubt)


def _join_readings(weighed: Sequence[Weighed], chances: ErrorChances) -> Numbers | float:
    """Return the likelihood of all readings on every board, shape (hypotheses, draws)."""
    product: Numbers | float = 1.0
    for one in weighed:
        product = product * one.mix_errors(chances)
    return product


def weigh_findings(cloud: Cloud, evidence: Evidence) -> Numbers:
    """Return how likely all that was found of parts and joints is, shape (hypotheses,)."""
    found = np.ones(len(cloud.hypotheses))
    for row, hypothesis in enumerate(cloud.hypotheses):
        for result in evidence.parts:
            found[row] *= _find_result_chance(hypothesis, result.ref, result.outcome)
        for soldered in evidence.joints:
            is_it = hypothesis.kind == "joint" and f"pin {hypothesis.what}" == soldered.pin
            if is_it != soldered.was_bad:
                found[row] *= _CURED_BY_CHANCE if soldered.was_bad else _SOLDERED_BUT_BAD
    return found


def _find_result_chance(hypothesis: Hypothesis, ref: str, outcome: str) -> float:
    its = hypothesis.kind == "part" and hypothesis.what == ref
    return find_outcome_chance(outcome, hypothesis.failure if its else None)


def _weigh_pairs(
    cloud: Cloud,
    single: Numbers,
    weighed: Sequence[Weighed],
    told: Sequence[Symptom],
    evidence: Evidence,
    prior: Numbers,
    known: Mapping[str, Any],
) -> tuple[list[tuple[int, int, float]], Numbers]:
    """Return the likeliest pairs, and their chances shared between their two faults.

    Of two faults on the same board, the one that moves a reading more decides it.
    """
    paired = np.zeros_like(single)
    if len(weighed) + len(evidence.parts) < 2:
        return [], paired
    rows = _choose_rows_to_pair(cloud, single, weighed, evidence)
    if len(rows) < 2:
        return [], paired
    trust = model_trust()
    likelihood = np.ones((len(rows), len(rows), cloud.draws))
    for one in weighed:
        said, moved = one.mix_errors(trust.sound)[rows], one.moved[rows]
        first = moved[:, None] >= moved[None, :]
        likelihood *= np.where(first, said[:, None], said[None, :])
    likelihood *= _weigh_pair_pictures(cloud, rows, told)
    chances = likelihood.mean(axis=2) * float(known["second fault"])
    chances *= prior[rows][:, None] * prior[rows][None, :]
    chances *= _weigh_pair_findings(cloud, rows, evidence)
    numbers = [find_thing(cloud.hypotheses[row]) for row in rows]
    apart = np.array([[a != b for b in numbers] for a in numbers])
    chances = np.triu(chances * apart, k=1)
    order = np.argsort(-chances, axis=None)[:200]
    found = []
    for at in order.tolist():
        i, j = divmod(at, len(rows))
        chance = float(chances[i, j])
        if chance <= 0:
            break
        draws = likelihood[i, j] / max(float(likelihood[i, j].sum()), 1e-300)
        first_share, second_share = _share_chance(cloud, rows[i], rows[j], evidence)
        paired[rows[i]] += first_share * chance * draws
        paired[rows[j]] += second_share * chance * draws
        found.append((rows[i], rows[j], chance))
    return found, paired


def _share_chance(cloud: Cloud, first: int, second: int, evidence: Evidence) -> tuple[float, float]:
    """Return how the chance of a pair is shared: in half, but a part that was already found bad
    leaves it to the one that is still to be found."""
    bad = {result.ref for result in evidence.parts if is_bad(result.outcome)}
    is_bad_part = [
        h.kind == "part" and h.what in bad
        for h in (cloud.hypotheses[first], cloud.hypotheses[second])
    ]
    if is_bad_part == [True, False]:
        return 0.7, 0.3
    if is_bad_part == [False, True]:
        return 0.3, 0.7
    return 0.5, 0.5


def _choose_rows_to_pair(
    cloud: Cloud, single: Numbers, weighed: Sequence[Weighed], evidence: Evidence
) -> list[int]:
    """Return the rows that may be one of two: likely ones, and those that explain a reading well
    or a part that was found bad."""
    score = np.log(np.maximum(single.sum(axis=1), 1e-300))
    wanted = set(np.argsort(-score)[: _PAIRED // 2].tolist())
    bad = {result.ref for result in evidence.parts if is_bad(result.outcome)}
    wanted |= {row for row, h in enumerate(cloud.hypotheses) if h.kind == "part" and h.what in bad}
    good = {result.ref for result in evidence.parts if result.is_good}
    each = max(2, (_PAIRED - len(wanted)) // max(len(weighed), 1))
    for one in weighed:
        fit = (one.predicted * (one.moved > 0.5)).mean(axis=1)
        wanted |= set(np.argsort(-fit)[:each].tolist())
    return [
        row
        for row in sorted(wanted - {0})
        if not (cloud.hypotheses[row].kind == "part" and cloud.hypotheses[row].what in good)
    ]


def _weigh_pair_pictures(cloud: Cloud, rows: Sequence[int], told: Sequence[Symptom]) -> Numbers:
    """Return the likelihood of the symptoms under pairs, shape (rows, rows, draws): each feature
    is as under the one that spoils it more."""
    trust = model_trust()
    if not told:
        return np.full((len(rows), len(rows), 1), trust.no_symptom)
    shown = cloud.shown[rows].astype(float)
    first, second = shown[:, None], shown[None, :]
    both = np.where(np.abs(first - 1) >= np.abs(second - 1), first, second)
    fits = fit_of_pictures(cloud.feature, both, told)
    return weigh_picture(fits, trust.sound.symptom_against, is_told=True)


def _weigh_pair_findings(cloud: Cloud, rows: Sequence[int], evidence: Evidence) -> Numbers:
    """Return how likely the findings at parts are under pairs, shape (rows, rows)."""
    found = np.ones((len(rows), len(rows)))
    for result in evidence.parts:
        each = np.array(
            [_find_result_chance(cloud.hypotheses[row], result.ref, result.outcome) for row in rows]
        )
        its = np.array([cloud.hypotheses[row].what == result.ref for row in rows])
        found *= np.where(its[:, None], each[:, None], each[None, :])
    return found
