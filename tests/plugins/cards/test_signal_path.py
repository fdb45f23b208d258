"""Neighbours on the signal path: inside by the block diagram, outside by the parts in series."""

from __future__ import annotations

import pytest
from pinfolio.plugins.cards.signal_path import trace_signal_path
from pinfolio.schema import Block, Chip


def list_neighbours(chip: Chip, number: int) -> tuple[list[str], list[str]]:
    path = trace_signal_path(chip, chip.pins[number - 1])
    return [str(n) for n in path.fed_by], [str(n) for n in path.feeds]


def test_an_input_is_fed_from_outside_and_feeds_its_stage(chip: Chip) -> None:
    assert list_neighbours(chip, 1) == (["tuner output through C1"], ["amplifier"])


def test_an_output_is_fed_by_its_stage_and_feeds_the_parts_in_series(chip: Chip) -> None:
    """Ground and supply are no signals, and a diode's direction is not known."""
    assert list_neighbours(chip, 2) == (["amplifier"], ["pin 4 HV through R1"])


def test_a_control_pin_is_fed_from_outside(chip: Chip) -> None:
    assert list_neighbours(chip, 4) == (["pin 2 OUT through R1"], ["amplifier"])


@pytest.mark.parametrize(
    ("inside", "fed_by", "feeds"),
    [
        ({}, ["pin 2 OUT through R1"], []),
        ({"inputs": ["pin 4"]}, ["pin 2 OUT through R1"], ["stage"]),
        ({"outputs": ["pin 4"]}, ["stage"], ["pin 2 OUT through R1"]),
        (
            {"inputs": ["pin 4"], "outputs": ["pin 4"]},
            ["stage", "pin 2 OUT through R1"],
            ["stage"],
        ),
    ],
    ids=["in no stage", "into one", "out of one", "both"],
)
def test_outside_is_downstream_only_of_a_pin_that_a_stage_drives(
    chip: Chip, inside: dict[str, list[str]], fed_by: list[str], feeds: list[str]
) -> None:
    stage = Block.model_validate({"id": "stage", "name": "stage", **inside})
    assert list_neighbours(chip.model_copy(update={"blocks": (stage,)}), 4) == (fed_by, feeds)


def test_a_pin_that_nothing_joins_has_no_neighbours(chip: Chip) -> None:
    assert list_neighbours(chip, 6) == ([], [])


def test_a_neighbour_documents_only_what_is_known(chip: Chip) -> None:
    path = trace_signal_path(chip, chip.pins[0])
    assert path.feeds[0].document() == {"kind": "block", "name": "amplifier"}
    assert path.fed_by[0].document() == {"kind": "node", "name": "tuner output", "through": "C1"}
