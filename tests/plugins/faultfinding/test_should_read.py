"""What a point or a part should come to, as the bench sheet says it."""

from __future__ import annotations

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.faultfinding.points import OUT_OF_CIRCUIT, Point
from pinfolio.plugins.faultfinding.should_read import should_read
from pinfolio.plugins.faultfinding.worked_out import working_condition

CHIPS = {path.stem: load_chip(path) for path in chip_files()}
SYNC = CHIPS["kye2620"]
USUAL = working_condition(SYNC)


@pytest.mark.parametrize(
    ("at", "quantity", "right"),
    [
        ("pin 18", "dc", "11.4 V to 12.6 V"),
        ("pin 18", "ripple", "120 mVpp or less"),
        ("pin 14", "vpp", "1.2 Vpp to 1.8 Vpp"),
        ("C501", OUT_OF_CIRCUIT, "4n7 ± 2 %"),
        ("C501", "resistance", ""),
        ("pin 4", "vpp", ""),
    ],
)
def test_what_is_right_is_told(at: str, quantity: str, right: str) -> None:
    assert should_read(SYNC, Point(at, quantity), USUAL) == right
