"""What a lost signal silences behind it, by the block diagram."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.faultfinding.diagram import silenced
from pinfolio.schema import Block, Pin

CHIPS = [load_chip(path) for path in chip_files()]


def matrix() -> Any:
    """Two signals go into one stage, and its output into a second; both stages are fed by pin 4,
    and pin 5 sets how much the second passes on."""
    stages = (
        Block(id="mix", name="mixer", inputs=("pin 1", "pin 2"), outputs=("last",),
              needs=("pin 4",)),
        Block(id="last", name="output", inputs=("mix", "pin 5"), outputs=("pin 3",),
              needs=("pin 4",)),
    )  # fmt: skip
    roles = ("input", "input", "output", "supply", "control")
    pins = [Pin(number=n, symbol=f"P{n}", function=r, role=r) for n, r in enumerate(roles, 1)]
    return SimpleNamespace(blocks=stages, pins=pins)


@pytest.mark.parametrize(
    ("lost", "out"),
    [
        ({"pin 1"}, False),
        ({"pin 1", "pin 2"}, True),
        ({"pin 4"}, True),
        ({"mix"}, True),
        ({"pin 5"}, False),
    ],
)
def test_one_of_two_signals_leaves_something(lost: set[str], out: bool) -> None:
    assert ("pin 3" in silenced(matrix(), lost)) == out


@pytest.mark.parametrize("chip", CHIPS, ids=lambda chip: chip.part)
def test_nothing_lost_silences_nothing(chip: Any) -> None:
    assert silenced(chip, ()) == set()


@pytest.mark.parametrize("chip", CHIPS, ids=lambda chip: chip.part)
def test_the_more_is_lost_the_more_is_silent(chip: Any) -> None:
    ends = sorted({end for block in chip.blocks for end in block.inputs})
    for at in range(len(ends)):
        assert silenced(chip, ends[:at]) <= silenced(chip, ends[: at + 1])
