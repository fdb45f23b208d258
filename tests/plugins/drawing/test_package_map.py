"""The rows of a package: from pin 1 at the top left down, then up the right (JEDEC MS-001)."""

from __future__ import annotations

from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.drawing.package_map import map_package
from pinfolio.schema import Chip


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


def test_one_row_and_four_sides_have_no_two_rows() -> None:
    others = [load_chip(path) for path in chip_files() if path.stem in ("tqz3609", "kye6848")]
    assert [map_package(chip) for chip in others] == [None, None]
