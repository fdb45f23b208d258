"""The base of every model: a changed copy computes anew what follows from its fields."""

from __future__ import annotations

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.schema import Chip


@pytest.fixture(scope="module")
def chip() -> Chip:
    return load_chip(chip_files()[0])


def test_a_copy_with_other_pins_looks_its_own_pins_up(chip: Chip) -> None:
    first = chip.pins[0]
    assert chip.pin(first.symbol) == first
    renamed = first.model_copy(update={"symbol": "NEW"})
    copy = chip.model_copy(update={"pins": (renamed, *chip.pins[1:])})
    assert copy.pin("NEW") == renamed
    assert copy.pin(first.symbol) is None
    assert chip.pin("NEW") is None


def test_the_document_of_a_copy_is_its_own(chip: Chip) -> None:
    assert '"part":"OTHER"' not in chip.document()
    assert '"part":"OTHER"' in chip.model_copy(update={"part": "OTHER"}).document()


def test_a_plain_copy_equals_its_original(chip: Chip) -> None:
    assert chip.model_copy() == chip
