"""The drawn circuit compared with the figures of the catalogue."""

from __future__ import annotations

from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.board.drawn_board import Solved, solve_board
from pinfolio.schema import Chip

CHIP = load_chip(next(path for path in chip_files() if path.stem == "kye4728"))


def solve_at(chip: Chip, at: str, quantity: str) -> Solved:
    found = solve_board(chip, "colour bars")
    return next(one for one in found if (one.at, one.quantity) == (at, quantity))


def change_part(chip: Chip, ref: str, value: str) -> Chip:
    """The chip with another value written at one part."""
    parts = tuple(
        part.model_copy(update={"value": value}) if part.ref == ref else part
        for part in chip.application.parts
    )
    application = chip.application.model_copy(update={"parts": parts})
    return chip.model_copy(update={"application": application})


def test_a_board_drawn_right_contradicts_nothing() -> None:
    assert not [one for one in solve_board(CHIP, "colour bars") if one.contradicts]


def test_the_middle_of_a_divider_follows_its_resistors() -> None:
    """1 kΩ and 1 kΩ from 3.0 V, some of it lost in the source and the delay line."""
    assert abs(solve_at(CHIP, "luminance-out", "dc").solved - 1.45) < 0.1


def test_a_divider_drawn_wrong_is_found() -> None:
    wrong = change_part(CHIP, "R404", "10k")
    assert solve_at(wrong, "luminance-out", "dc").contradicts


def test_a_feed_resistor_drawn_wrong_is_found_by_its_current() -> None:
    wrong = change_part(CHIP, "R401", "470R")
    assert solve_at(wrong, "pin 10", "supply current").contradicts
