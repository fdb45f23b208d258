"""The parts on a pin, with the other end of each in words and its usual faults."""

from __future__ import annotations

from typing import get_args

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.schema import Chip
from pinfolio.schema.chips.usual_faults import USUAL_FAULTS, describe_endpoint, find_parts_on
from pinfolio.schema.vocabulary import PartKind


@pytest.fixture(scope="module", name="chip")
def demo_chip() -> Chip:
    return load_chip(next(path for path in chip_files() if path.stem == "mdq3724"))


def test_every_kind_of_part_has_usual_faults() -> None:
    assert set(USUAL_FAULTS) == set(get_args(PartKind))


def test_every_part_is_found_on_each_pin_that_it_joins(chip: Chip) -> None:
    found = {(p.number, on.part.ref) for p in chip.pins for on in find_parts_on(chip, p)}
    joined = {
        (p.number, part.ref)
        for part in chip.application.parts
        for p in chip.pins
        if f"pin {p.number}" in part.joins
    }
    assert found == joined


def test_the_other_ends_leave_out_the_pin_itself(chip: Chip) -> None:
    for pin in chip.pins:
        for on_pin in find_parts_on(chip, pin):
            assert f"pin {pin.number} {pin.symbol}" not in on_pin.to
            assert on_pin.document()["usual_faults"] == USUAL_FAULTS[on_pin.part.kind]


def test_an_end_is_described_by_symbol_by_name_or_as_ground(chip: Chip) -> None:
    pin, node = chip.pins[0], chip.application.nodes[0]
    assert describe_endpoint(chip, f"pin {pin.number}") == f"pin {pin.number} {pin.symbol}"
    assert describe_endpoint(chip, node.id) == node.name
    assert describe_endpoint(chip, "ground") == "ground"
    assert describe_endpoint(chip, "pin 999") == "pin 999"
