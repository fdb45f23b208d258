"""Given all that was read: how likely is each thing to be at fault, alone or with a second one?

Bayes' rule over every simulated board of every fault, and over pairs of those that a single fault
leaves unexplained. Source of the rule for pairs: de Kleer and Williams, Diagnosing multiple
faults, Artificial Intelligence 32 (1987).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
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
    list_features,
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
_PAIRS_KEPT: Final = 200
_SHARE_OF_BAD_PART: Final = 0.7
_DIGITS: Final = 12  # of chances: less is rounding
_GOOD_BOARD: Final = 0.3  # of "none of these", a board on which nothing is wrong at all
_SOLDERED_BUT_BAD: Final = 0.05  # a joint that was soldered again and is still bad
_CURED_BY_CHANCE: Final = 0.004  # a set that works after a joint was soldered that was good
_PAIRS_TOLD: Final = 3
_EXPLAINS: Final = 0.5  # how surely a fault must move a reading that it is to explain
_LEAST_CHANCE: Final = 1e-300  # against division by nothing


@lru_cache(maxsize=16)
def _list_rows(cloud: Cloud) -> Mapping[Thing, list[int]]:
    rows: dict[Thing, list[int]] = {}
    for row, hypothesis in enumerate(cloud.hypotheses):
        rows.setdefault(find_thing(hypothesis), []).append(row)
    return rows


@lru_cache(maxsize=16)
def _number_things(cloud: Cloud) -> NDArray[np.intp]:
    numbers = np.empty(len(cloud.hypotheses), dtype=np.intp)
    for number, rows in enumerate(_list_rows(cloud).values()):
        numbers[rows] = number
    return numbers


def order_by_chance(chances: Numbers) -> NDArray[np.intp]:
    """Return the places of chances, the greatest first; equal ones keep their order however their
    last digits are rounded."""
    return np.argsort(-np.round(chances, _DIGITS), kind="stable")


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

    @property
    def things(self) -> tuple[Thing, ...]:
        """Everything that may be at fault, in the order of the cloud."""
        return tuple(self.rows_of)

    @property
    def number(self) -> NDArray[np.intp]:
        """For each hypothesis the number of its thing, shape (hypotheses,)."""
        return _number_things(self.cloud)

    @cached_property
    def shares(self) -> Numbers:
        """Chance of each thing, shape (things,)."""
        shares = np.bincount(self.number, self.chances, minlength=len(self.things))
        return np.asarray(shares, dtype=float)

    @property
    def rows_of(self) -> Mapping[Thing, list[int]]:
        """The rows of each thing's ways to fail."""
        return _list_rows(self.cloud)

    @cached_property
    def ranked(self) -> tuple[tuple[Thing, float], ...]:
        """The things, likeliest first; those as likely in the order of the cloud."""
        order = order_by_chance(self.shares).tolist()
        return tuple((self.things[at], float(self.shares[at])) for at in order)

    def share_of(self, thing: Thing | None) -> float:
        """Return the chance of one thing; 0 for one that cannot be at fault here."""
        return float(self.shares[self.things.index(thing)]) if thing in self.things else 0.0

    def list_ways(self, thing: Thing) -> list[tuple[Hypothesis, float]]:
        """How a thing may have failed, with the chances, likeliest first."""
        rows = self.rows_of[thing]
        ways = [(self.cloud.hypotheses[row], float(self.chances[row])) for row in rows]
        return sorted(ways, key=lambda pair: -round(pair[1], _DIGITS))


def compute_posterior(
    chip: Chip,
    cloud: Cloud,
    spreads: Spreads,
    prior: Numbers,
    symptoms: Sequence[Symptom],
    evidence: Evidence,
    odds: Mapping[str, Any] | None = None,
    resistances: Sequence[Weighed] = (),
) -> Posterior:
    """Return the chances of all faults, and of pairs of faults, that the evidence leaves.

    ``resistances``: those of the evidence, weighed already (``resistances.py``).
    """
    weighed = [*weigh_readings(chip, cloud, spreads, evidence), *resistances]
    finding_chances = weigh_findings(cloud, evidence)
    likelihood = _compute_likelihood(chip, cloud, spreads, symptoms, weighed)
    single = prior[:, None] / cloud.draws * finding_chances[:, None] * likelihood
    # "None of these" is mostly a fault that no board simulates: any reading is as likely then.
    anything = float(np.prod([one.otherwise for one in weighed])) * weigh_unthought_fault(symptoms)
    none_likelihood = (1 - _GOOD_BOARD) * anything + _GOOD_BOARD * likelihood[0]
    single[0] = prior[0] / cloud.draws * finding_chances[0] * none_likelihood
    known_odds = odds or load_usual_odds()
    pairs, paired = _weigh_pairs(cloud, single, weighed, symptoms, evidence, prior, known_odds)
    total = float(single.sum() + sum(chance for _, _, chance in pairs))
    weights = (single + paired) / total
    best = float((single / np.maximum(prior[:, None], _LEAST_CHANCE)).max()) * cloud.draws
    told_pairs = tuple((i, j, chance / total) for i, j, chance in pairs[:_PAIRS_TOLD])
    return Posterior(cloud, weights, told_pairs, best / max(anything, _LEAST_CHANCE))


def _compute_likelihood(
    chip: Chip,
    cloud: Cloud,
    spreads: Spreads,
    symptoms: Sequence[Symptom],
    weighed: Sequence[Weighed],
) -> Numbers:
    """Return the likelihood of symptoms and readings on every board, shape (hypotheses, draws).

    The model is wrong about some faults as a whole: then it is wrong at many points at once.
    """
    trust = model_trust()
    levels = (
        (1 - trust.wrong_about_a_fault, trust.sound),
        (trust.wrong_about_a_fault, trust.doubtful),
    )
    fits = fit_of_symptoms(chip, cloud, spreads, symptoms)
    likelihood = np.zeros(fits.shape)
    # Each level weighs all readings; mixing them point by point would lose that.
    for share, error_chances in levels:
        picture_chances = weigh_picture(fits, error_chances.symptom_against, bool(symptoms))
        likelihood += share * picture_chances * _join_readings(weighed, error_chances)
    likelihood *= excuse_cleared(cloud, symptoms)
    return likelihood


def weigh_readings(chip: Chip, cloud: Cloud, spreads: Spreads, evidence: Evidence) -> list[Weighed]:
    """Return every reading weighed, those of one quantity at one point taken together.

    The model is wrong about all of them or about none.
    """
    by_point: dict[tuple[str, str], list[Observation]] = {}
    for observation in evidence.observations:
        if observation.point in cloud.column:
            by_point.setdefault((observation.point, observation.quantity), []).append(observation)
    weighed = []
    for readings in by_point.values():
        each = [weigh(chip, cloud, spreads, observation) for observation in readings]
        weighed.append(_join_at_point(readings, each))
    return weigh_company(cloud, spreads, [readings[0] for readings in by_point.values()], weighed)


def _join_at_point(readings: Sequence[Observation], each: Sequence[Weighed]) -> Weighed:
    """Return the readings of one quantity at one point as one, any of them perhaps a slip."""
    predicted = np.ones(each[0].predicted.shape)
    for observation, one in zip(readings, each, strict=True):
        predicted = predicted * (
            (1 - observation.slip) * one.predicted + observation.slip * one.otherwise
        )
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
    chances = np.ones(len(cloud.hypotheses))
    for row, hypothesis in enumerate(cloud.hypotheses):
        for result in evidence.parts:
            chances[row] *= _find_result_chance(hypothesis, result.ref, result.outcome)
        for soldered in evidence.joints:
            is_it = hypothesis.kind == "joint" and f"pin {hypothesis.what}" == soldered.pin
            if is_it != soldered.was_bad:
                chances[row] *= _CURED_BY_CHANCE if soldered.was_bad else _SOLDERED_BUT_BAD
    return chances


def _find_result_chance(hypothesis: Hypothesis, ref: str, outcome: str) -> float:
    its = hypothesis.kind == "part" and hypothesis.what == ref
    return find_outcome_chance(outcome, hypothesis.failure if its else None)


def _weigh_pairs(
    cloud: Cloud,
    single: Numbers,
    weighed: Sequence[Weighed],
    symptoms: Sequence[Symptom],
    evidence: Evidence,
    prior: Numbers,
    odds: Mapping[str, Any],
) -> tuple[list[tuple[int, int, float]], Numbers]:
    """Return the likeliest pairs, and their chances shared between their two faults.

    The shared chances have the shape (hypotheses, draws).
    """
    paired = np.zeros_like(single)
    # A single finding is explained by a single fault.
    if len(weighed) + len(evidence.parts) < 2:
        return [], paired
    rows = _choose_rows_to_pair(cloud, single, weighed, evidence)
    if len(rows) < 2:
        return [], paired
    trust = model_trust()
    first, second = _list_pairs(cloud, rows)
    likelihood = _weigh_pair_pictures(cloud, first, second, symptoms)  # pairs x draws
    for one in weighed:
        density = one.mix_errors(trust.sound)
        # Of two faults on the same board, the one that moves a reading more decides it.
        first_decides = one.moved[first] >= one.moved[second]
        likelihood = likelihood * np.where(first_decides, density[first], density[second])
    chances = likelihood.mean(axis=1) * float(odds["second fault"])  # shape (pairs,)
    chances *= prior[first] * prior[second]
    chances *= _weigh_pair_findings(cloud, first, second, evidence)
    likeliest = np.argsort(-chances, kind="stable")[:_PAIRS_KEPT]
    likeliest = likeliest[chances[likeliest] > 0]
    first, second = first[likeliest], second[likeliest]
    chances, likelihood = chances[likeliest], likelihood[likeliest]
    draw_sums = np.maximum(likelihood.sum(axis=1), _LEAST_CHANCE)
    draw_chances = likelihood * (chances / draw_sums)[:, None]
    first_share = _share_chances(cloud, first, second, evidence)[:, None]
    np.add.at(paired, first, first_share * draw_chances)
    np.add.at(paired, second, (1 - first_share) * draw_chances)
    return list(zip(first.tolist(), second.tolist(), chances.tolist(), strict=True)), paired


def _list_pairs(cloud: Cloud, rows: Sequence[int]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the pairs of different things among some hypotheses: the rows of either."""
    numbers: dict[Thing, int] = {}
    things = [numbers.setdefault(find_thing(cloud.hypotheses[row]), len(numbers)) for row in rows]
    first, second = np.triu_indices(len(rows), k=1)
    apart = np.array(things)[first] != np.array(things)[second]
    return np.array(rows)[first[apart]], np.array(rows)[second[apart]]


def _share_chances(
    cloud: Cloud, first: NDArray[np.intp], second: NDArray[np.intp], evidence: Evidence
) -> Numbers:
    """Return the first one's share of the chance of each pair, shape (pairs,): mostly half.

    A part that was already found bad has most of it; the rest belongs to the fault that is still
    to be found.
    """
    bad_refs = {result.ref for result in evidence.parts if is_bad(result.outcome)}
    is_bad_part = np.array([h.kind == "part" and h.what in bad_refs for h in cloud.hypotheses])
    difference = is_bad_part[first].astype(float) - is_bad_part[second]
    return np.asarray(0.5 + (_SHARE_OF_BAD_PART - 0.5) * difference)


def _choose_rows_to_pair(
    cloud: Cloud, single: Numbers, weighed: Sequence[Weighed], evidence: Evidence
) -> list[int]:
    """Return the rows of faults that may be one of two.

    They are likely ones, those that explain a reading well, and parts that were found bad.
    """
    bad_refs = {result.ref for result in evidence.parts if is_bad(result.outcome)}
    good_refs = {result.ref for result in evidence.parts if result.is_good}
    refs = [h.what if h.kind == "part" else None for h in cloud.hypotheses]
    scores = np.log(np.maximum(single.sum(axis=1), _LEAST_CHANCE))
    rows = set(np.argsort(-scores)[: _PAIRED // 2].tolist())
    rows |= {row for row, ref in enumerate(refs) if ref in bad_refs}
    rows_of_reading = max(2, (_PAIRED - len(rows)) // max(len(weighed), 1))
    for one in weighed:
        # Only a fault that moves a reading explains it.
        fit = (one.predicted * (one.moved > _EXPLAINS)).mean(axis=1)
        rows |= set(np.argsort(-fit)[:rows_of_reading].tolist())
    return [row for row in sorted(rows - {0}) if refs[row] not in good_refs]


def _weigh_pair_pictures(
    cloud: Cloud, first: NDArray[np.intp], second: NDArray[np.intp], symptoms: Sequence[Symptom]
) -> Numbers:
    """Return the likelihood of the symptoms under pairs, shape (pairs, draws)."""
    trust = model_trust()
    if not symptoms:
        return np.full((len(first), cloud.draws), trust.no_symptom)
    names = list_features(symptoms)
    shown = cloud.shown[..., [cloud.feature[name] for name in names]].astype(float)
    first_shown, second_shown = shown[first], shown[second]  # pairs x draws x features
    # Each feature is as under the fault that spoils it more.
    first_spoils_more = np.abs(first_shown - 1) >= np.abs(second_shown - 1)
    both_shown = np.where(first_spoils_more, first_shown, second_shown)
    columns = {name: column for column, name in enumerate(names)}
    fits = fit_of_pictures(columns, both_shown, symptoms)
    return weigh_picture(fits, trust.sound.symptom_against, is_told=True)


def _weigh_pair_findings(
    cloud: Cloud, first: NDArray[np.intp], second: NDArray[np.intp], evidence: Evidence
) -> Numbers:
    """Return how likely the findings at parts are under pairs, shape (pairs,)."""
    likelihood = np.ones(len(first))
    for result in evidence.parts:
        chances = np.array(
            [_find_result_chance(one, result.ref, result.outcome) for one in cloud.hypotheses]
        )
        is_its = np.array([one.what == result.ref for one in cloud.hypotheses])
        likelihood *= np.where(is_its[first], chances[first], chances[second])
    return likelihood
