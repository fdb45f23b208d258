"""Every symptom on every demo chip: the first measurement lies on the way of the complaint, and
things that the complaint clears are no suspects."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.answers.hunt import find_fault
from pinfolio.plugins.diagnosis.answers.job import Job
from pinfolio.plugins.diagnosis.board.simulate import simulate_cloud
from pinfolio.plugins.diagnosis.weighing import known_board as known_boards
from pinfolio.plugins.diagnosis.weighing.known_board import find_working_condition, load_board
from pinfolio.plugins.diagnosis.weighing.symptom_list import list_board_symptoms
from pinfolio.schema import Chip
from pinfolio.schema.instruments.ordinary import BUILT_IN

DRAWS: Final = 8  # boards of each fault: fewer than a technician gets, enough to tell the way
PROPOSALS: Final = 5
OFF: Final = 0.6  # of what a good set shows: anybody sees it
NEARLY_ALL: Final = 0.9  # of the boards of a way to fail
SUSPECT: Final = 0.02

ANYWHERE: Final = r"supply|ground|reference|rail|\bV ?CC|\bV ?REF|bias|bus|\bI2C|SDA|SCL|clock"
WAYS: Final = {
    "colour": r"chroma|colou?r|burst|subcarrier|crystal|\bACC|killer|APC|ident|demod|[RB]-Y|delay"
              r"|sandcastle|saturation|hue|tint|luminance|RGB|\bPAL|band|filter|head|carrier",
    "field": r"field|vertical|ramp|height|yoke|sync|sandcastle|hold|flyback|pump|guard|linearity",
    "sound": r"sound|audio|volume|FM|de-emphasis|tone|speaker|mute|amplifier|balance|IF|AGC|sync"
             r"|coincidence|line|left|right|bass|treble",
    "gun": r"red|green|blue|RGB|matrix|cut-off|text|fast|tube|brightness|contrast|limiter|blanking",
}  # fmt: skip
"""Words of the trade for all that lies on the way of a signal. Common practice."""
WAY_OF: Final = {
    **dict.fromkeys(("no colour", "running colours", "colour comes and goes", "weak colour"),
                    "colour"),
    **dict.fromkeys(("picture rolls", "no vertical deflection", "little height", "too much height",
                     "field fold-over"), "field"),
    **dict.fromkeys(("no sound", "weak sound"), "sound"),
    **dict.fromkeys(("no red", "no green", "no blue", "colour cast"), "gun"),
}  # fmt: skip


@pytest.fixture(scope="module", params=chip_files(), ids=lambda path: path.stem)
def jobs(request: pytest.FixtureRequest) -> Iterator[list[Job]]:
    """One job for every symptom that a chip can show, with nothing read yet."""
    path: Path = request.param
    chip = load_chip(path)

    def small_cloud(_: str, condition: str) -> object:
        return simulate_cloud(chip, condition, DRAWS)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(known_boards, "read_cloud", small_cloud)
        known_boards._load_board.cache_clear()
        board = load_board(chip, find_working_condition(chip))
        told = [symptom.name for symptom in list_board_symptoms(board)]
        yield [find_fault(chip, [name], [], BUILT_IN.choose()) for name in told]
        known_boards._load_board.cache_clear()


def describe(chip: Chip, at: str) -> str:
    """Return all that the chip file calls a place: its stages, its function, the parts there."""
    pin = chip.pin(at.removeprefix("pin ")) if at.startswith("pin ") else None
    names = [f"{pin.symbol} {pin.function} {pin.role}"] if pin is not None else [at]
    names += [node.name for node in chip.application.nodes if node.id == at]
    names += [b.name for b in chip.blocks if at in (*b.inputs, *b.outputs, *b.needs)]
    parts = [p for p in chip.application.parts if at in (*p.joins, p.ref)]
    ends = [end for p in parts if at == p.ref for end in p.joins if end != "ground"]
    names += [describe(chip, end) for end in ends]
    return " ".join([*names, *(f"{p.purpose or ''} {' '.join(p.joins)}" for p in parts)])


def test_what_is_measured_first_is_on_the_way_of_the_complaint(jobs: list[Job]) -> None:
    strays = [
        (job.told[0], step.at)
        for job in jobs
        if job.told[0] in WAY_OF
        for step in job.measurements[:PROPOSALS]
        if not re.search(
            f"{WAYS[WAY_OF[job.told[0]]]}|{ANYWHERE}", describe(job.chip, step.at), re.IGNORECASE
        )
    ]
    assert strays == []


def test_what_the_complaint_clears_is_no_suspect(jobs: list[Job]) -> None:
    """A part is cleared if each of its failures spoils a feature that the complaint calls good."""
    for job in jobs:
        cloud = job.board.cloud
        good = [cloud.feature[name] for symptom in job.symptoms for name in symptom.good]
        spoilt = (abs(cloud.shown[:, :, good] - 1) > OFF).any(axis=2).mean(axis=1)
        suspects = {
            thing: job.found.share_of(thing)
            for thing, rows in job.found.rows_of.items()
            if spoilt[rows].min() > NEARLY_ALL and job.found.share_of(thing) > SUSPECT
        }
        assert suspects == {}, job.told


def test_every_complaint_has_something_to_measure_or_prove(jobs: list[Job]) -> None:
    assert all(job.steps for job in jobs)
