"""Kinds of stages, by their names in the trade."""

from __future__ import annotations

from typing import get_args

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.board.kinds import KIND_NAMES, find_channels, find_kind, guess_kind
from pinfolio.plugins.diagnosis.board.stages.base import find_stage_class
from pinfolio.schema.chips.application import Block
from pinfolio.schema.vocabulary import StageKind


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("gain-controlled chroma amplifier", "gain-controlled amplifier"),
        ("burst gate", "gate"),
        ("burst gate former", "pulse generator"),
        ("killer detector", "threshold detector"),
        ("subcarrier phase detector (APC)", "phase detector"),
        ("oscillator, twice the subcarrier", "oscillator"),
        ("sync separator", "sync separator"),
        ("field sync separator", "integrator"),
        ("contrast, brightness and beam limiter", "controlled amplifier"),
        ("mute switch, off without coincidence", "switch"),
        ("line drive with open collector", "output stage"),
        ("over-voltage protection with latch", "protection"),
        ("flyback pump", "pump"),
        ("voltage reference", "reference"),
        ("peaking amplifier", "amplifier"),
    ],
)
def test_a_stage_by_its_name(name: str, kind: str) -> None:
    assert guess_kind(Block(id="stage", name=name)) == kind


def test_what_the_chip_file_states_goes_before_a_guess() -> None:
    block = Block(id="stage", name="peaking amplifier", kind="limiter")
    assert find_kind(block) == "limiter"


def test_every_kind_has_a_behaviour_and_a_word_in_chip_files() -> None:
    assert set(KIND_NAMES) == set(get_args(StageKind))
    for kind in KIND_NAMES:
        assert find_stage_class(kind).kind == kind


@pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
def test_every_stage_of_the_demonstration_has_a_kind(path: object) -> None:
    for block in load_chip(path).blocks:  # type: ignore[arg-type]
        assert guess_kind(block) in KIND_NAMES


def test_channels() -> None:
    assert find_channels("G-Y matrix") == {"colour", "vision"} or "luminance" not in find_channels(
        "G-Y"
    )
    assert "line" in find_channels("line oscillator")
    assert "line" not in find_channels("64 µs line delay")
