"""Stages in lanes: every stage once, in the direction of its signal, beside its partners."""

from __future__ import annotations

import pytest
from pinfolio.plugins.cards.stage_groups import GROUPS, OTHER, group_pins, group_stages
from pinfolio.plugins.cards.stage_lanes import WIDEST, lay_out_lanes
from pinfolio.plugins.drawing.block_layout import find_followers
from pinfolio.schema import Block, Chip

from ...demo_chips import DEMO

CHIPS = [*DEMO.values()]


@pytest.mark.parametrize("chip", CHIPS, ids=lambda chip: chip.part)
def test_every_stage_is_in_one_lane_with_its_pins_once(chip: Chip) -> None:
    lanes = lay_out_lanes(chip)
    stages = [stage for lane in lanes for stage in lane.stages]
    assert sorted(stage.block.id for stage in stages) == sorted(block.id for block in chip.blocks)
    assert all(len(lane.stages) <= WIDEST for lane in lanes)
    numbers = [pin.number for stage in stages for pin in (*stage.above, *stage.beneath)]
    assert len(numbers) == len(set(numbers))


@pytest.mark.parametrize("chip", CHIPS, ids=lambda chip: chip.part)
def test_an_arrow_is_drawn_exactly_where_a_signal_goes(chip: Chip) -> None:
    feeds = find_followers(chip)
    for lane in lay_out_lanes(chip):
        assert not lane.stages[0].fed_by_neighbour
        for before, stage in zip(lane.stages, lane.stages[1:], strict=False):
            assert stage.fed_by_neighbour == (stage.block.id in feeds[before.block.id])


def test_the_line_sync_of_the_jungle_runs_from_separator_to_drive(jungle: Chip) -> None:
    lane = next(lane for lane in lay_out_lanes(jungle) if lane.heading == "Sync and line")
    names = [stage.name for stage in lane.stages[:6]]
    assert names[0] == "sync separator"
    assert names[-1] == "line drive"
    assert [pin.symbol for pin in lane.stages[0].above] == ["SYNC IN"]
    assert "X-ray protection" in lane.stages[5].sources


def test_stages_are_told_by_the_words_of_their_names(jungle: Chip) -> None:
    groups = group_stages(jungle)
    assert groups["luminance-trap"] == "Picture"  # the trap keeps chroma out of the luminance
    assert groups["subcarrier-oscillator"] == "Colour"
    assert groups["field-sync-separator"] == "Field"
    assert set(groups.values()) <= set(GROUPS) - {OTHER}


def test_a_stage_whose_name_tells_nothing_serves_the_stages_that_feed_it(chip: Chip) -> None:
    stages = [
        {"id": "first", "name": "chroma gate", "inputs": ["pin 1"], "outputs": ["mixer"]},
        {"id": "mixer", "name": "mixer", "inputs": ["first"], "outputs": ["pin 2"]},
        {"id": "other", "name": "sound limiter", "inputs": ["pin 3"], "outputs": ["pin 4"]},
        {"id": "lone", "name": "divider", "inputs": ["pin 5"], "outputs": ["pin 5"]},
    ]
    blocks = tuple(Block.model_validate(stage) for stage in stages)
    groups = group_stages(chip.model_copy(update={"blocks": blocks}))
    assert groups == {"first": "Colour", "mixer": "Colour", "other": "Sound", "lone": OTHER}


def test_pins_serve_what_their_stages_serve(jungle: Chip) -> None:
    groups = group_pins(jungle)
    assert groups[13] == "Sync and line"
    assert groups[46] == "Colour"
    assert groups[7] == "Supply and bus"
