"""The reasoning against published results and against a general library for Bayesian networks."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from pgmpy.factors.discrete import TabularCPD
from pgmpy.inference import VariableElimination
from pgmpy.models import DiscreteBayesianNetwork
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.deciding.expected_minutes import compute_expected_bits
from pinfolio.plugins.diagnosis.evidence.observations import Evidence, Observation
from pinfolio.plugins.diagnosis.evidence.part_tests import PartResult, find_outcome_chance
from pinfolio.plugins.diagnosis.weighing.model_trust import model_trust
from pinfolio.plugins.diagnosis.weighing.posterior import compute_posterior, weigh_readings
from pinfolio.plugins.diagnosis.weighing.spreads import compute_spreads

sys.path.insert(0, str(Path(__file__).parent.parent / "plugins" / "diagnosis"))
from made_cloud import Good, Made, make_cloud

CHIP = load_chip(next(path for path in chip_files() if path.stem == "kye2620"))
CONDITION = "colour bars"
GOOD = {"pin 2": Good(dc=6.0), "pin 5": Good(vpp=2.0, hz=50.0), "pin 12": Good(dc=4.1)}
NO_PAIRS = {"second fault": 1e-300}


def make_faults(seed: int, count: int) -> list[Made]:
    """Faults that each move some of three points, by amounts that spread."""
    chance = np.random.default_rng(seed)
    faults = []
    for number in range(count):
        low, high = np.sort(chance.uniform(0, 6, 2))
        dc = {"pin 2": (low, high)} if chance.random() < 0.6 else {}
        vpp = {"pin 5": chance.uniform(0.2, 3)} if chance.random() < 0.6 else {}
        faults.append(Made("part", f"R{number}", "open", dc=dc, vpp=vpp))
    return faults


@pytest.mark.parametrize("seed", range(5))
def test_posteriors_against_variable_elimination(seed: int) -> None:
    """Every fault on every simulated board, by pgmpy's exact inference on the same network: the
    fault, which board, whether the model holds, and a node for each reading and finding."""
    cloud = make_cloud(CHIP.part, CONDITION, GOOD, make_faults(seed, 6), draws=4)
    spreads = compute_spreads(CHIP, cloud)
    chance = np.random.default_rng(seed)
    prior = chance.dirichlet(np.ones(len(cloud.hypotheses)))
    observations = (
        Observation("pin 2", "dc", value=float(chance.uniform(0, 6)), uncertainty=0.05),
        Observation("pin 12", "dc", value=4.2, uncertainty=0.05),
        Observation("pin 5", "vpp", value=float(chance.uniform(0.5, 2)), uncertainty=0.05),
    )
    results = (PartResult("R1", "good", "good", ""),)
    evidence = Evidence(observations=observations, parts=results)
    found = compute_posterior(CHIP, cloud, spreads, prior, (), evidence, NO_PAIRS)

    network = build_network(cloud, weigh_readings(CHIP, cloud, spreads, evidence), prior)
    given = {f"reading {number}": 0 for number in range(len(observations))} | {"R1": 0}
    exact = VariableElimination(network).query(["fault"], evidence=given, show_progress=False)
    # "None of these" is a mixture of its own, which the network leaves out.
    shares = found.chances[1:] / found.chances[1:].sum()
    np.testing.assert_allclose(shares, exact.values[1:] / exact.values[1:].sum(), rtol=1e-6)


def build_network(cloud, weighed, prior) -> DiscreteBayesianNetwork:  # type: ignore[no-untyped-def]
    """Return the network: state 0 of a reading is "as it was read", scaled to at most 1."""
    trust, count, draws = model_trust(), len(cloud.hypotheses), cloud.draws
    network = DiscreteBayesianNetwork([("fault", "R1")])
    doubt = trust.wrong_about_a_fault
    network.add_cpds(TabularCPD("fault", count, prior[:, None]))
    good = [
        find_outcome_chance("good", h.failure if h.what == "R1" else None) for h in cloud.hypotheses
    ]
    network.add_cpds(TabularCPD("R1", 2, [good, [1 - g for g in good]], ["fault"], [count]))
    network.add_node("board")
    network.add_node("model")
    network.add_cpds(
        TabularCPD("board", draws, np.full((draws, 1), 1 / draws)),
        TabularCPD("model", 2, [[1 - doubt], [doubt]]),
    )
    for number, one in enumerate(weighed):
        name = f"reading {number}"
        network.add_edges_from((parent, name) for parent in ("fault", "board", "model"))
        levels = np.stack([one.mix_errors(trust.sound), one.mix_errors(trust.doubtful)], axis=2)
        scaled = (levels / levels.max()).reshape(-1)
        parents = (["fault", "board", "model"], [count, draws, 2])
        network.add_cpds(TabularCPD(name, 2, np.stack([scaled, 1 - scaled]), *parents))
    assert network.check_model()
    return network


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
            joint = (weights[:, None, None] * table).transpose(1, 2, 0)
            at = int(np.argmax(compute_expected_bits(joint)))
            before = np.searchsorted(left, at, side="right")
            assert abs(before - (len(left) - before)) <= 1, "not the middle of what is left"
            left = left[:before] if dead <= at else left[before:]
            tests += 1
        assert left.tolist() == [dead]
        assert tests <= np.ceil(np.log2(stages))


COMPONENTS = ("M1", "M2", "M3", "A1", "A2")
FAILS = 0.01
VALUES = np.arange(0, 17)  # what X, Y and Z may be; one that is not predicted may be any


def compute_consequences(sound: set[str]) -> Mapping[str, int] | None:
    """The terminals that sound components give; None when they cannot all be sound.

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


def list_candidates() -> Iterator[tuple[frozenset[str], float, Mapping[str, int]]]:
    """The sets of broken components that are consistent, with prior odds and predictions."""
    for states in product((False, True), repeat=len(COMPONENTS)):
        broken = frozenset(name for name, bad in zip(COMPONENTS, states, strict=True) if bad)
        predicted = compute_consequences(set(COMPONENTS) - broken)
        if predicted is not None:
            odds = FAILS ** len(broken) * (1 - FAILS) ** (len(COMPONENTS) - len(broken))
            yield broken, odds, predicted


def test_the_multiplier_adder_example() -> None:
    """Minimal diagnoses {M1}, {A1}, {M2, M3}, {M2, A2}; X is the best place to measure.

    de Kleer and Williams, Diagnosing multiple faults, Artificial Intelligence 32 (1987), sections
    2 and 4, from memory. Their scoring: a value that a candidate predicts is certain, one that it
    does not may be anything.
    """
    found = list(list_candidates())
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
    joint = ((odds / odds.sum())[:, None, None] * table).transpose(1, 2, 0)
    bits = dict(zip("XYZ", compute_expected_bits(joint), strict=True))
    assert max(bits, key=lambda at: bits[at]) == "X"
    assert bits["X"] > 0.9, "M1 and A1, alike likely, part at X"
