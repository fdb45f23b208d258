"""Every expectation of a chip is walked over once, with the place that leads to it."""

from __future__ import annotations

from typing import Any

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.schema import Chip
from pinfolio.schema.chips.places import walk_expectations, walk_pin_expectations


@pytest.fixture(scope="module", name="chip")
def demo_chip() -> Chip:
    return load_chip(next(path for path in chip_files() if path.stem == "mdq3724"))


def test_a_place_leads_to_its_expectation(chip: Chip) -> None:
    for place, expectation in walk_expectations(chip):
        value: Any = chip
        for step in place:
            value = value[step] if isinstance(step, int) else getattr(value, step)
        assert value is expectation


def test_pins_come_first_and_then_the_nodes(chip: Chip) -> None:
    on_pins = [(place, expectation) for place, _, expectation in walk_pin_expectations(chip)]
    everything = list(walk_expectations(chip))
    on_nodes = sum(len(node.expectations) for node in chip.application.nodes)
    assert everything[: len(on_pins)] == on_pins
    assert len(everything) == len(on_pins) + on_nodes
