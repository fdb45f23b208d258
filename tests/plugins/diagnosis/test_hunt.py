"""Black and white: a crystal that is blamed for the small capacitor in series with it.

The figures are those of an oscillator whose resonator is cut off: about 1 MHz, jumping (common
practice); the chip and its capacitor are invented.
"""

from __future__ import annotations

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.answers.hunt import find_fault
from pinfolio.plugins.diagnosis.answers.job import Job
from pinfolio.plugins.diagnosis.answers.job_document import make_job_document
from pinfolio.plugins.diagnosis.answers.job_note import build_job_note
from pinfolio.plugins.readings.reading_syntax import read_line
from pinfolio.schema.instruments.ordinary import BUILT_IN

CHIP = load_chip(next(path for path in chip_files() if path.stem == "kye4728"))
WILD = "4 freq=1.04MHz jumping"
CLEAN = "crystal-node freq=4.43362MHz"


def hunt_fault(*readings: str) -> Job:
    lines = [read_line(reading) for reading in readings]
    return find_fault(CHIP, ["black and white"], lines, BUILT_IN.choose())


def test_the_clean_side_can_be_entered_and_speaks_for_the_crystal() -> None:
    """The two sides of a series capacitor read differently: that difference is the evidence."""
    found = hunt_fault(WILD, CLEAN).found
    assert found.ranked[0][0] == ("part", "C406")
    assert found.share_of(("part", "C406")) > 2 * found.share_of(("part", "X401"))


def test_the_crystal_proved_good_and_the_capacitor_open() -> None:
    job = hunt_fault(WILD, "X401: good", "C406: open")
    document = make_job_document(job)
    first = document["suspects"][0]
    assert (first["what"], first["failure"]) == ("C406", "open")
    assert first["probability"] > 0.95
    assert document["next"] == []
    assert document["actions"][0]["action"] == "replace"
    assert "C0G" in document["actions"][0]["fit"]
    assert job.conclusion.startswith("C406 proved bad.")


def test_the_note_stores_what_was_proved() -> None:
    job = hunt_fault(WILD, "X401: good", "C406: open")
    signed = {"author": "bench", "date": "2026-05-01"}
    note = build_job_note(job, "New C406, C0G", signed, "tarnbrook")
    assert (note.part, note.failure) == ("C406", "open")
    assert note.symptom == "black and white"


def test_a_skipped_point_is_not_asked_for_again() -> None:
    first = hunt_fault().measurements[0]
    name = first.at.removeprefix("pin ")
    again = hunt_fault(f"{name} skip").measurements
    assert first.at not in {step.at for step in again}


@pytest.mark.parametrize("symptom", ["no colour", "wrong hue"])
def test_two_symptoms_are_taken(symptom: str) -> None:
    job = find_fault(CHIP, ["no colour", symptom], [], BUILT_IN.choose())
    assert job.suspects


def test_a_part_that_was_measured_good_is_not_replaced() -> None:
    document = make_job_document(hunt_fault(WILD, "X401: good"))
    assert all(action["what"] != "X401" for action in document["actions"])
