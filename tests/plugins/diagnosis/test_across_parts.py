"""Before a lead is lifted: the resistance across a part in circuit, where it saves time.

Where many parts of the video switch are suspected alike, an ohmmeter across one in circuit tells
whether it is open, in half of the time of lifting it.
"""

from __future__ import annotations

from collections.abc import Set
from dataclasses import replace

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.answers.bench_document import make_bench_document
from pinfolio.plugins.diagnosis.answers.hunt import find_fault
from pinfolio.plugins.diagnosis.answers.job import Job
from pinfolio.plugins.diagnosis.answers.job_document import make_job_document
from pinfolio.plugins.diagnosis.answers.resistance_checks import list_junction_parts
from pinfolio.plugins.diagnosis.deciding.across_parts import choose_part_to_cross
from pinfolio.plugins.diagnosis.deciding.effort import Efforts
from pinfolio.plugins.diagnosis.deciding.steps import Step
from pinfolio.plugins.diagnosis.evidence.observations import Resistance
from pinfolio.plugins.diagnosis.weighing.known_board import load_board
from pinfolio.plugins.diagnosis.weighing.posterior import Posterior
from pinfolio.plugins.diagnosis.weighing.resistances import (
    list_good_ohms,
    list_two_lead_parts,
    simulate_across_parts,
)
from pinfolio.plugins.readings.reading_syntax import read_line
from pinfolio.schema.instruments.ordinary import BUILT_IN

CHIP = load_chip(next(path for path in chip_files() if path.stem == "tqz5710"))
BOARD = load_board(CHIP, "colour bars")
OPENED = ("R761", "R762", "R764", "R765", "R766")
ALIKE = (*((ref, "open") for ref in OPENED), ("C764", "dried out"), ("C766", "dried out"))
BEGUN = find_fault(CHIP, [], [], BUILT_IN.choose(), "colour bars")


def suspect(*failures: tuple[str, str]) -> Posterior:
    """A posterior that leaves some failures, each as likely as the other."""
    weights = np.zeros_like(BEGUN.found.weights)
    for ref, failure in failures:
        weights[BOARD.cloud.row[("part", ref, failure)]] = 1.0
    return replace(BEGUN.found, weights=weights / weights.sum())


def cross(*failures: tuple[str, str], done: Set[tuple[str, str]] = frozenset()) -> Step | None:
    return choose_part_to_cross(BOARD, suspect(*failures), Efforts(CHIP), done)


def make_job() -> Job:
    """A job in which a part would be lifted, but for the resistance that comes before."""
    lift = Step("prove", "R761", "out of circuit", ("part", "R761"), 6.0, 20.0)
    return replace(BEGUN, found=suspect(*ALIKE), steps=(lift,), across=cross(*ALIKE))


def test_parts_as_likely_as_one_another_are_told_apart_in_circuit() -> None:
    step = cross(*ALIKE)
    assert step is not None
    assert (step.kind, step.quantity) == ("measure", "resistance")
    assert step.at in dict(ALIKE)
    one_by_one = [6 * left / len(ALIKE) for left in range(1, len(ALIKE) + 1)]
    assert step.expected_minutes < sum(one_by_one), "lifting them one after another"


def test_each_answer_has_its_meaning() -> None:
    step = cross(*ALIKE)
    assert step is not None
    likeliest = {meaning.then[0][0] for meaning in step.meanings}
    assert len(likeliest) > 1, "one answer speaks for this part, another for that"
    assert sum(meaning.chance for meaning in step.meanings) == pytest.approx(1, abs=0.2)


def test_it_is_not_asked_for_again() -> None:
    step = cross(*ALIKE)
    assert step is not None
    other = cross(*ALIKE, done={(step.at, "resistance")})
    assert other is None or other.at != step.at


def test_one_sure_suspect_is_lifted_at_once() -> None:
    assert cross(("R762", "open")) is None


def test_the_bench_says_how_it_is_taken_and_keeps_the_proof_beside_it() -> None:
    job = make_job()
    assert job.across is not None
    bench = make_bench_document(job)
    now = bench["now"]
    assert (now["kind"], now["quantity"], now["at"]) == ("measure", "resistance", job.across.at)
    assert now["expected"]["unit"] == "Ω"
    assert "plug" in now["steps"][0], "an ohmmeter is for a set without current"
    assert f"Ohmmeter across {job.across.at}, from" in now["steps"][1]
    assert any("Set off" in caution for caution in now["cautions"])
    assert (bench["instead"][0]["kind"], bench["instead"][0]["at"]) == ("prove", "R761")


def test_measurements_of_a_set_that_is_on_stay_by_themselves() -> None:
    job = make_job()
    assert job.across is not None
    document = make_job_document(job)
    assert [step["quantity"] for step in document["next"]] == ["out of circuit"]
    (one,) = document["set_off"]
    assert (one["at"], one["quantity"]) == (job.across.at, "resistance")
    assert "Ω" in one["should_read"]
    assert one["outcomes"]


@pytest.mark.parametrize("place", ["C762", "R762"])
def test_an_answer_is_taken_at_the_part(place: str) -> None:
    taken = [read_line(f"{place} ohms=65k")]
    job = find_fault(CHIP, [], taken, BUILT_IN.choose(), "colour bars")
    part = next(part for part in CHIP.application.parts if part.ref == place)
    assert {job.evidence.resistances[0].first, job.evidence.resistances[0].second} == {*part.joins}


def test_a_part_that_cannot_be_reached_may_be_lifted_still() -> None:
    taken = [read_line("C762 ohms=skip")]
    skipped = find_fault(CHIP, [], taken, BUILT_IN.choose(), "colour bars").evidence.skipped
    assert [(one.at, one.quantity) for one in skipped] == [("C762", "resistance")]


def test_resistances_across_parts_are_those_between_their_ends() -> None:
    across = simulate_across_parts(BOARD)[0]
    for column, part in enumerate(list_two_lead_parts(CHIP)):
        first, second = sorted(part.joins, key=lambda end: end == "ground")
        ohms = list_good_ohms(BOARD, [Resistance(first, second, 1.0, 0.1)])[0]
        assert across[:, column] == pytest.approx(ohms, rel=0.01)


def test_a_junction_beside_a_part_bars_it() -> None:
    """A diode across a resistor conducts one way: the reading hangs on the leads' polarity."""
    driver = load_chip(next(path for path in chip_files() if path.stem == "tqz5752"))
    assert {"D701", "Q701"} <= list_junction_parts(driver)
    assert "R710" not in list_junction_parts(driver)
