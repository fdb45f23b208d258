"""Kinds of stages, by their names in the trade."""

from __future__ import annotations

from typing import get_args

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.board.kinds import KIND_NAMES, channels_of, guess_kind, kind_of
from pinfolio.plugins.diagnosis.board.stages.base import stage_class
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
    assert kind_of(block) == "limiter"


def test_every_kind_has_a_behaviour_and_a_word_in_chip_files() -> None:
    assert set(KIND_NAMES) == set(get_args(StageKind))
    for kind in KIND_NAMES:
        assert stage_class(kind).kind == kind


@pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
def test_every_stage_of_the_demonstration_has_a_kind(path: object) -> None:
    for block in load_chip(path).blocks:  # type: ignore[arg-type]
        assert guess_kind(block) in KIND_NAMES


def test_channels() -> None:
    assert channels_of("G-Y matrix") == {"colour", "vision"} or "luminance" not in channels_of(
        "G-Y"
    )
    assert "line" in channels_of("line oscillator")
    assert "line" not in channels_of("64 µs line delay")
