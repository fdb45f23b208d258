"""Finding a pin or a condition by the name that somebody typed."""

from __future__ import annotations

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.schema import Chip, Expectation
from pinfolio.schema.chips.lookup import (
    UnknownCondition,
    UnknownPin,
    find_condition,
    find_pin,
    has_picture,
    rank_expectation,
)


@pytest.fixture(scope="module", name="chip")
def demo_chip() -> Chip:
    return load_chip(next(path for path in chip_files() if path.stem == "tqz5752"))


def test_a_pin_is_found_by_number_and_by_symbol_in_any_case(chip: Chip) -> None:
    first = chip.pins[0]
    assert find_pin(chip, "1") == find_pin(chip, first.symbol.lower()) == first


def test_a_number_goes_before_a_symbol(chip: Chip) -> None:
    renamed = chip.pins[0].model_copy(update={"symbol": "2"})
    odd = chip.model_copy(update={"pins": (renamed, *chip.pins[1:])})
    assert find_pin(odd, "2").number == 2


def test_an_unknown_pin_names_the_range_and_the_nearest(chip: Chip) -> None:
    symbol = chip.pins[4].symbol
    with pytest.raises(UnknownPin, match=f"it has pins 1 to {len(chip.pins)}, nearest: .*"):
        find_pin(chip, f"{symbol}X")
    with pytest.raises(UnknownPin, match=r"^no pin '99' on TQZ5752; it has pins 1 to 52$"):
        find_pin(chip, "99")


def test_a_condition_is_given_back_as_the_chip_file_spells_it(chip: Chip) -> None:
    name = chip.conditions[0].name
    assert find_condition(chip, f"  {name.upper()} ") == name
    with pytest.raises(UnknownCondition, match=f"there are: {name}"):
        find_condition(chip, "on fire")


def make_expectation(condition: str, **values: object) -> Expectation:
    given = {"condition": condition, "source": {"id": "sheet"}, **values}
    return Expectation.model_validate(given)


SINE = {"kind": "sine", "frequency": "1 kHz", "vpp": "1 Vpp"}


def test_a_picture_needs_a_signal_that_moves() -> None:
    assert has_picture(make_expectation("colour bars", waveform=SINE))
    assert not has_picture(make_expectation("off", dc="0 V"))
    assert not has_picture(make_expectation("off", waveform={"kind": "steady", "level": "5 V"}))


def test_the_liveliest_expectation_ranks_highest() -> None:
    """A signal before DC alone, DC before none, colour bars before another condition."""
    ranked = [
        make_expectation("no signal", resistance={"red_on_pin": "5 kΩ"}),
        make_expectation("no signal", dc="2 V"),
        make_expectation("colour bars", dc="2 V"),
        make_expectation("no signal", waveform=SINE),
        make_expectation("no signal", waveform=SINE, dc="2 V"),
        make_expectation("colour bars", waveform=SINE, dc="2 V"),
    ]
    shuffled = [ranked[place] for place in (3, 0, 5, 2, 4, 1)]
    assert sorted(shuffled, key=rank_expectation) == ranked
