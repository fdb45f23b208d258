"""Before a lead is lifted: the resistance across a part in circuit, where it saves time.

On the video switch with its output right, the ends of the parts at input B are told apart by an
ohmmeter: the coupling capacitor has the clamp's resistance beside it, and reads nearly none more
where the resistor to ground is open.
"""

from __future__ import annotations

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
from pinfolio.plugins.diagnosis.evidence.observations import Resistance
from pinfolio.plugins.diagnosis.weighing.known_board import load_board
from pinfolio.plugins.diagnosis.weighing.resistances import (
    list_good_ohms,
    list_two_lead_parts,
    simulate_across_parts,
)
from pinfolio.plugins.readings.reading_syntax import read_line
from pinfolio.schema.instruments.ordinary import BUILT_IN

CHIP = load_chip(next(path for path in chip_files() if path.stem == "tqz5710"))
BOARD = load_board(CHIP, "colour bars")
READ = ("6 ripple=12mV", "5 dc=2.1V", "8 ripple=13mV")


def hunt(*more: str) -> Job:
    lines = [read_line(line) for line in (*READ, *more)]
    return find_fault(CHIP, [], lines, BUILT_IN.choose(), "colour bars")


def test_it_is_proposed_before_a_part_is_lifted() -> None:
    job = hunt()
    assert job.steps[0].kind == "prove"
    now = make_bench_document(job)["now"]
    assert (now["kind"], now["quantity"], now["at"]) == ("measure", "resistance", "C762")
    assert "plug" in now["steps"][0], "an ohmmeter is for a set without current"
    assert any("Set off" in caution for caution in now["cautions"])
    assert job.conclusion == "Next: resistance across C762 in circuit, set off."


def test_lifting_the_part_stays_beside_it() -> None:
    job = hunt()
    instead = make_bench_document(job)["instead"]
    assert (instead[0]["kind"], instead[0]["at"]) == ("prove", job.steps[0].at)


def test_each_answer_has_its_meaning() -> None:
    outcomes = {o["outcome"]: o for o in make_bench_document(hunt())["now"]["outcomes"]}
    assert outcomes["as expected"]["chance"] > 0.5
    far_off = {one["what"] for one in outcomes["much too high"]["then"]}
    assert far_off == {"R761", "3"}, "the resistor to ground, or the joint that the pin hangs on"


def test_measurements_of_a_set_that_is_on_stay_by_themselves() -> None:
    document = make_job_document(hunt())
    assert {step["quantity"] for step in document["next"]} <= {
        "dc", "vpp", "frequency", "ripple", "out of circuit",
    }  # fmt: skip
    assert [one["at"] for one in document["set_off"]] == ["C762"]
    assert document["set_off"][0]["should_read"] == "11 kΩ to 14.9 kΩ"


@pytest.mark.parametrize("answer", ["C762 ohms=12k", "C762 ohms=65k", "C762 ohms=skip"])
def test_it_is_asked_for_once(answer: str) -> None:
    job = hunt(answer)
    assert job.across is None or job.across.at != "C762"


def test_a_resistance_far_off_raises_what_it_speaks_for() -> None:
    before, after = hunt().found, hunt("C762 ohms=65k").found
    assert after.share_of(("part", "R761")) > 2 * before.share_of(("part", "R761"))


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


def test_where_one_part_is_sure_nothing_is_measured_first() -> None:
    job = hunt()
    row = BOARD.cloud.row[("part", "R762", "open")]
    sure = np.zeros_like(job.found.weights)
    sure[row] = 1 / BOARD.cloud.draws
    assert (
        choose_part_to_cross(BOARD, replace(job.found, weights=sure), Efforts(CHIP), set()) is None
    )
