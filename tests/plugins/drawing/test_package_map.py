"""The rows of a package: from pin 1 at the top left down, then up the right (JEDEC MS-001)."""

from __future__ import annotations

from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.drawing.package_map import map_package
from pinfolio.schema import Chip


def load_demo_chip(stem: str) -> Chip:
    return next(load_chip(path) for path in chip_files() if path.stem == stem)


def test_rows_are_counted_down_the_left_and_up_the_right(jungle: Chip) -> None:
    rows = map_package(jungle)
    assert rows is not None
    assert [at.number for at in rows.left] == list(range(1, 27))
    assert [at.number for at in rows.right] == list(range(52, 26, -1))
    assert (rows.left[12].symbol, rows.left[12].role_words) == ("SYNC IN", "input")


def test_a_position_without_a_pin_is_there(jungle: Chip) -> None:
    fewer = jungle.model_copy(update={"pins": jungle.pins[1:]})
    rows = map_package(fewer)
    assert rows is not None
    assert (rows.left[0].number, rows.left[0].pin, rows.left[0].symbol) == (1, None, "–")
    assert (rows.left[0].role_words, rows.left[0].glyph) == ("not listed", "")


def test_four_sides_are_counted_round_from_the_upper_left() -> None:
    """JEDEC MS-026: pin 1 at the marked corner, then against the clock, seen from the top."""
    sides = map_package(load_demo_chip("kye6848"))
    assert sides is not None
    numbers = [
        [at.number for at in side] for side in (sides.left, sides.lower, sides.right, sides.upper)
    ]
    assert numbers == [
        list(range(1, 13)),
        list(range(13, 25)),
        list(range(36, 24, -1)),
        list(range(48, 36, -1)),
    ]


def test_one_row_has_no_map() -> None:
    assert map_package(load_demo_chip("tqz3609")) is None
