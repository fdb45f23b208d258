"""After a part was proved bad, what is read again tells whether the cure worked."""

from __future__ import annotations

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.answers.after_cure import find_readings_after_cure
from pinfolio.plugins.diagnosis.answers.bench_document import make_bench_document
from pinfolio.plugins.diagnosis.answers.hunt import find_fault
from pinfolio.plugins.diagnosis.answers.job import Job
from pinfolio.plugins.diagnosis.answers.job_note import build_job_note
from pinfolio.plugins.readings.reading_syntax import read_line
from pinfolio.schema.instruments.ordinary import BUILT_IN

CHIP = load_chip(next(path for path in chip_files() if path.stem == "kye4728"))
CHOSEN = BUILT_IN.choose(counter="oven counter")
WRONG = ("6 dc=1.8V", "4 freq=1.05MHz jumping", "C406: open")
RIGHT_AGAIN = ("4 freq=4.433619MHz", "6 dc=4.2V")


def hunt(*lines: str) -> Job:
    return find_fault(CHIP, ["no colour"], [read_line(line) for line in lines], CHOSEN)


@pytest.mark.parametrize(
    ("lines", "after"),
    [
        ((*WRONG, "4 freq=4.433619MHz"), {3}),
        ((*WRONG, "5 dc=4.7V", "pin 6 dc=4.2V"), {4}),
        (("6 dc=1.8V", "C406: good", "6 dc=4.2V"), set()),
        (("6 dc=1.8V", "4 joint bad", "KILL dc=4.2V"), {2}),
        ((*WRONG, "6 skip", "6 to ground ohms=5k"), set()),
        (("C406: open", "6 dc=4.2V"), set()),
    ],
)
def test_what_is_read_again_after_a_proof_is_of_the_cured_set(
    lines: tuple[str, ...], after: set[int]
) -> None:
    assert find_readings_after_cure(CHIP, [read_line(line) for line in lines]) == after


def test_right_readings_after_the_cure_accuse_nothing_and_clear_nothing() -> None:
    before, cured = hunt(*WRONG), hunt(*WRONG, *RIGHT_AGAIN)
    share = before.found.share_of(("part", "C406"))
    assert cured.found.share_of(("part", "C406")) == pytest.approx(share)
    assert cured.conclusion.endswith(" After the cure right: pin 4 XTAL, pin 6 KILL.")


def test_what_must_be_right_is_asked_for_until_it_was_read_right() -> None:
    places = [
        [check["at"] for check in make_bench_document(hunt(*WRONG, *more))["must_read"]]
        for more in ((), RIGHT_AGAIN[:1], RIGHT_AGAIN)
    ]
    assert places == [["pin 6", "pin 4"], ["pin 6"], []]


def test_a_reading_that_is_still_wrong_is_named_and_one_that_cannot_be_told_as_such() -> None:
    wrong = hunt(*WRONG, "6 dc=1.9V")
    assert wrong.conclusion.endswith(" Not right yet: pin 6 KILL (too low).")
    coarse = find_fault(
        CHIP,
        ["no colour"],
        [read_line(line) for line in (*WRONG, "4 freq=4.4336MHz")],
        BUILT_IN.choose(counter="counter"),
    )
    assert coarse.conclusion.endswith("right: pin 4 XTAL as far as the instruments tell.")


def test_the_note_keeps_the_reading_before_and_after_the_cure() -> None:
    signed = {"author": "bench", "date": "2026-05-01"}
    note = build_job_note(hunt(*WRONG, *RIGHT_AGAIN), "New C406, C0G", signed, "tarnbrook")
    assert (note.at, note.part, note.failure) == ("pin 6", "C406", "open")
    assert note.readings is not None
    assert note.readings.dc is not None
    assert note.readings_after is not None
    assert note.readings_after.dc is not None
    assert (note.readings.dc.nominal, note.readings_after.dc.nominal) == (1.8, 4.2)
    assert "- after the cure, pin 4: 4.433619 MHz, as expected" in (note.text or "")
    still_wrong = build_job_note(hunt(*WRONG, "6 dc=1.9V"), "New C406", signed, "tarnbrook")
    assert still_wrong.readings_after is None


def test_the_bench_shows_readings_after_the_cure_as_such() -> None:
    row = make_bench_document(hunt(*WRONG, *RIGHT_AGAIN))["read"][0]
    assert row["place"] == "pin 6 KILL, after the cure"
    assert (row["verdict"], row["is_right"], row["index"]) == ("as expected", True, 4)
