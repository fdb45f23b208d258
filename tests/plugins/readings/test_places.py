"""Places by number, symbol, node, and the end of a part."""

from __future__ import annotations

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.readings.places import find_test_point, list_spaced_names, name_place
from pinfolio.schema.chips.lookup import UnknownPin

CHIP = next(chip for path in chip_files() if (chip := load_chip(path)).part == "KYE4728")
C406 = next(part for part in CHIP.application.parts if part.ref == "C406")


@pytest.mark.parametrize(
    ("name", "symbol"),
    [
        ("7", CHIP.pins[6].symbol),
        ("Pin 7", CHIP.pins[6].symbol),
        ("crystal-node", "crystal-node"),
        ("between the crystal and its  series capacitor", "crystal-node"),
        ("C406.1", find_test_point(CHIP, C406.joins[0]).symbol),
        ("c406 lead 2", find_test_point(CHIP, C406.joins[1]).symbol),
        ("end 2 of C406", find_test_point(CHIP, C406.joins[1]).symbol),
    ],
)
def test_a_place_in_every_way_to_say_it(name: str, symbol: str) -> None:
    assert find_test_point(CHIP, name).symbol == symbol


def test_a_node_goes_by_its_name() -> None:
    assert name_place(find_test_point(CHIP, "crystal-node")).startswith("between the crystal")
    assert name_place(find_test_point(CHIP, "7")) == f"pin 7 {CHIP.pins[6].symbol}"


def test_an_unknown_place_lists_the_others() -> None:
    with pytest.raises(UnknownPin, match=r"points beside the pins: .*crystal-node"):
        find_test_point(CHIP, "C499")
    with pytest.raises(UnknownPin, match=r"C406 is a part: name one of its ends, C406\.1 \("):
        find_test_point(CHIP, "C406")


def test_names_with_a_space_are_symbols_of_pins_and_names_of_nodes() -> None:
    names = list_spaced_names(CHIP)
    assert "R OUT" in names
    assert "between the crystal and its series capacitor" in names
    assert "XTAL" not in names
