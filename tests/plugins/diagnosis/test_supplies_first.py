"""Before a chip is exchanged or a joint soldered, the supply and the reference are read: common
practice."""

from __future__ import annotations

from pathlib import Path

from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.answers.hunt import find_fault
from pinfolio.plugins.diagnosis.answers.job import Job
from pinfolio.plugins.readings.reading_syntax import read_line
from pinfolio.schema.instruments.ordinary import BUILT_IN

CHIP = load_chip(Path(__file__).parents[2] / "benchmarks" / "practice" / "hvq2460" / "hvq2460.yaml")
# An oscillator that rests: its pin, or the chip, or what feeds both.
AT_REST = ("line-hold-node dc=6.755V", "14 dc=6.543V", "14 seen=missing")


def hunt_fault(*readings: str) -> Job:
    lines = [read_line(reading) for reading in readings]
    return find_fault(CHIP, ["no line drive"], lines, BUILT_IN.choose(), "colour bars")


def test_the_reference_is_read_before_the_oscillators_joint_is_soldered() -> None:
    job = hunt_fault(*AT_REST)
    assert job.steps[0].kind == "measure"
    assert (job.steps[0].at, job.steps[0].quantity) == ("pin 22", "dc")


def test_a_reference_that_was_read_is_not_asked_for_again() -> None:
    job = hunt_fault(*AT_REST, "22 dc=8.2V")
    assert ("pin 22", "dc") not in {(step.at, step.quantity) for step in job.steps}


def test_without_a_complaint_a_technician_begins_at_the_supplies() -> None:
    chosen = BUILT_IN.choose()
    begun = find_fault(CHIP, [], [], chosen, "colour bars")
    assert [step.at for step in begun.steps[:2]] == ["pin 11", "pin 21"]
    readings = [read_line("11 dc=23.6V"), read_line("21 dc=12.0V")]
    later = find_fault(CHIP, [], readings, chosen, "colour bars")
    assert later.steps[0].at not in ("pin 11", "pin 21")
