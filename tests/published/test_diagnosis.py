"""The reasoning against published results and against a general library for Bayesian networks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import product

import numpy as np
import pytest
from pgmpy.factors.discrete import TabularCPD
from pgmpy.inference import VariableElimination
from pgmpy.models import DiscreteBayesianNetwork
from pinfolio.plugins.faultfinding.hypotheses import Hypothesis
from pinfolio.plugins.faultfinding.next_probe import expected_bits
from pinfolio.plugins.faultfinding.outcomes import Predictions
from pinfolio.plugins.faultfinding.points import OUTCOMES, Point
from pinfolio.plugins.faultfinding.suspects import Observation, posterior

SECOND_FAULT = 0.1
MISTAKEN = 0.07


def made_predictions(seed: int, faults: int, points: int) -> Predictions:
    """Faults with random odds and random outcomes; "none of these" is the last."""
    chance = np.random.default_rng(seed)
    named = [Hypothesis("part", f"R{n}", "open", odds) for n, odds in
             enumerate(chance.uniform(1, 5, faults))]  # fmt: skip
    table = chance.dirichlet(np.ones(len(OUTCOMES)), (faults + 1, points))
    places = tuple(Point(f"pin {number + 1}", "vpp") for number in range(points))
    return Predictions((*named, Hypothesis("none", "none", "", 6.0)), places, table)


def as_network(predicted: Predictions) -> DiscreteBayesianNetwork:
    """The first fault, the second given the first (or no second), each point given both, and two
    readings of each point.

    State n of ``second``, one past the last hypothesis, is "no second fault".
    """
    odds = np.array([hypothesis.odds for hypothesis in predicted.hypotheses])
    count = len(odds)
    prior = odds / odds.sum()
    joint = np.zeros((count, count + 1))  # first, second
    joint[:, count] = prior
    for first, second in product(range(count - 1), repeat=2):
        if first < second:
            joint[first, second] = SECOND_FAULT * prior[first] * prior[second]
    joint /= joint.sum()
    marginal = joint.sum(axis=1)
    network = DiscreteBayesianNetwork([("first", "second")])
    network.add_cpds(
        TabularCPD("first", count, marginal[:, None]),
        TabularCPD("second", count + 1, (joint / marginal[:, None]).T, ["first"], [count]),
    )
    for column in range(len(predicted.points)):
        network.add_edges_from([("first", f"point {column}"), ("second", f"point {column}")])
        reads = [
            _reads(predicted.table[:, column], first, second)
            for first, second in product(range(count), range(count + 1))
        ]
        network.add_cpds(
            TabularCPD(
                f"point {column}", len(OUTCOMES), np.array(reads).T,
                ["first", "second"], [count, count + 1],
            )
        )  # fmt: skip
        _add_readings(network, column)
    assert network.check_model()
    return network


def _add_readings(network: DiscreteBayesianNetwork, column: int) -> None:
    """A reading says what the point shows, or when mistaken anything."""
    count = len(OUTCOMES)
    says = (1 - MISTAKEN) * np.eye(count) + MISTAKEN / count
    for time in ("first", "second"):
        name = f"{time} reading {column}"
        network.add_edge(f"point {column}", name)
        network.add_cpds(TabularCPD(name, count, says, [f"point {column}"], [count]))


def _reads(rows: np.ndarray, first: int, second: int) -> np.ndarray:
    """Of two faults, the one that leaves the point right less often decides."""
    if second == len(rows):
        return rows[first]
    return rows[min(first, second, key=lambda row: rows[row, 0])]


@pytest.mark.parametrize("seed", range(5))
def test_posteriors_against_variable_elimination(seed: int) -> None:
    """Every single fault and every pair, by pgmpy's exact inference on the same network."""
    predicted = made_predictions(seed, faults=6, points=4)
    read = {
        "first reading 0": seed % 7,
        "first reading 2": (3 * seed + 1) % 7,
        "second reading 2": (3 * seed + seed % 2) % 7,
        "first reading 3": (5 * seed + 2) % 7,
    }
    found = posterior(
        predicted,
        [Observation(predicted.points[int(name[-1])], OUTCOMES[o]) for name, o in read.items()],
        {"second fault": SECOND_FAULT, "mistaken reading": MISTAKEN},
    )
    elimination = VariableElimination(as_network(predicted))
    exact = elimination.query(["first", "second"], evidence=read, show_progress=False)
    values = exact.values if exact.variables[0] == "first" else exact.values.T
    np.testing.assert_allclose(found.single, values[:, -1], atol=1e-12)
    np.testing.assert_allclose(found.paired, values[:, :-1], atol=1e-12)


@pytest.mark.parametrize("stages", [3, 7, 15])
def test_a_plain_chain_is_split_in_half(stages: int) -> None:
    """Half-split: with equal odds the first test goes to the middle, and each splits the rest.

    Published in the United States Navy's training courses (Navy Electricity and Electronics
    Training Series; half-split or bracketing method), here from memory.
    """
    # Stage k dead: missing behind its output and behind all after it.
    behind = np.arange(stages)[:, None] <= np.arange(stages)[None, :]
    table = np.stack([~behind, behind], axis=2).astype(float)
    suspects = np.arange(stages)
    for dead in range(stages):
        left, tests = suspects, 0
        while len(left) > 1:
            weights = np.isin(suspects, left) / len(left)
            at = int(np.argmax(expected_bits(table, weights)))
            before = np.searchsorted(left, at, side="right")
            assert abs(before - (len(left) - before)) <= 1, "not the middle of what is left"
            left = left[:before] if dead <= at else left[before:]
            tests += 1
        assert left.tolist() == [dead]
        assert tests <= np.ceil(np.log2(stages))


COMPONENTS = ("M1", "M2", "M3", "A1", "A2")
FAILS = 0.01
VALUES = np.arange(0, 17)  # what X, Y and Z may be; one that is not predicted may be any


def consequences(sound: set[str]) -> Mapping[str, int] | None:
    """What the sound components make of the terminals; None when they cannot all be sound.

    X, Y, Z are products of inputs A=3, B=2, C=2, D=3, E=3; F = X + Y reads 10, G = Y + Z 12.
    """
    known = {"F": 10, "G": 12}
    rules = [("M1", "X"), ("M2", "Y"), ("M3", "Z")]
    known |= {terminal: 6 for component, terminal in rules if component in sound}
    sums = [("A1", "X", "Y", "F"), ("A2", "Y", "Z", "G")]
    for _ in range(3):
        for adder, first, second, total in sums:
            if adder not in sound:
                continue
            if first in known and second in known:
                if known[first] + known[second] != known[total]:
                    return None
            elif first in known or second in known:
                missing, other = (second, first) if first in known else (first, second)
                known[missing] = known[total] - known[other]
    return known


def candidates() -> Iterator[tuple[frozenset[str], float, Mapping[str, int]]]:
    """The sets of broken components that are consistent, with prior odds and predictions."""
    for states in product((False, True), repeat=len(COMPONENTS)):
        broken = frozenset(name for name, bad in zip(COMPONENTS, states, strict=True) if bad)
        predicted = consequences(set(COMPONENTS) - broken)
        if predicted is not None:
            odds = FAILS ** len(broken) * (1 - FAILS) ** (len(COMPONENTS) - len(broken))
            yield broken, odds, predicted


def test_the_multiplier_adder_example() -> None:
    """Minimal diagnoses {M1}, {A1}, {M2, M3}, {M2, A2}; X is the best place to measure.

    de Kleer and Williams, Diagnosing multiple faults, Artificial Intelligence 32 (1987), sections
    2 and 4, from memory. Their scoring: a value that a candidate predicts is certain, one that it
    does not may be anything.
    """
    found = list(candidates())
    consistent = {broken for broken, _, _ in found}
    minimal = {c for c in consistent if not any(other < c for other in consistent)}
    assert minimal == {
        frozenset({"M1"}), frozenset({"A1"}), frozenset({"M2", "M3"}), frozenset({"M2", "A2"})
    }  # fmt: skip
    anything = np.full(len(VALUES), 1 / len(VALUES))
    table = np.array(
        [
            [
                (predicted[at] == VALUES).astype(float) if at in predicted else anything
                for at in "XYZ"
            ]
            for _, _, predicted in found
        ]
    )
    odds = np.array([odds for _, odds, _ in found])
    bits = dict(zip("XYZ", expected_bits(table, odds / odds.sum()), strict=True))
    assert max(bits, key=lambda at: bits[at]) == "X"
    assert bits["X"] > 0.9, "M1 and A1, alike likely, part at X"
