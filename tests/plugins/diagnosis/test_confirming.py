"""What cannot be proved is read at its own place first, and what can be proved goes before it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from pinfolio.plugins.diagnosis.deciding.confirming import confirm_first
from pinfolio.plugins.diagnosis.deciding.next_step import Step

from .made_cloud import Good, Made, make_cloud

CLOUD = make_cloud(
    "MADE1",
    "colour bars",
    {"pin 1": Good(5.0), "rail": Good(12.0), "line-in": Good(0.0, 1.0)},
    [
        Made("supply", "VCC", "low"),
        Made("part", "C1", "leaky"),
        Made("joint", "1", "open"),
        Made("stage", "amplifier", "dead"),
    ],
)
SUPPLY, PART, JOINT, CHIP = ("supply", "VCC"), ("part", "C1"), ("joint", "1"), ("chip", "")
NEAR = {1: "rail", 2: "pin 1", 3: "pin 1", 4: "pin 1"}


def repair(thing: tuple[str, str]) -> Step:
    return Step("repair", "", "", thing, 14.0, 20.0)


PROVE = Step("prove", "C1", "out of circuit", PART, 6.0, 21.0)


def leading(
    first: Step, part_share: float, telling: set[str], doubted_share: float | None = None
) -> Step:
    """The first step where C1 has this share, and readings at these points would tell."""
    near = np.zeros((5, 3), dtype=bool)
    for row, point in NEAR.items():
        near[row, CLOUD.column[point]] = True
    found: Any = SimpleNamespace(
        rows_of={SUPPLY: [1], PART: [2], JOINT: [3], CHIP: [4]},
        share_of=lambda thing: part_share if thing == PART else 0.5,
    )

    def choose_best(points: frozenset[str]) -> Step | None:
        at = next(iter(points & telling), None)
        return None if at is None else Step("measure", at, "dc", None, 1.0, 22.0)

    doubted: Any = SimpleNamespace(share_of=lambda _: doubted_share)
    spreads: Any = SimpleNamespace(near=near)
    steps = confirm_first(
        CLOUD,
        spreads,
        found,
        [first, PROVE],
        choose_best,
        None if doubted_share is None else doubted,
    )
    assert first in steps
    return steps[0]


@pytest.mark.parametrize(("thing", "at"), [(SUPPLY, "rail"), (JOINT, "pin 1")])
def test_a_supply_or_joint_is_read_before_it_is_blamed(thing: tuple[str, str], at: str) -> None:
    assert leading(repair(thing), 0.0, {"rail", "pin 1", "line-in"}).at == at


def test_what_was_read_there_already_is_repaired() -> None:
    assert leading(repair(SUPPLY), 0.0, {"line-in"}) == repair(SUPPLY)


@pytest.mark.parametrize("thing", [SUPPLY, JOINT, CHIP])
def test_a_part_that_may_well_be_it_is_proved_first(thing: tuple[str, str]) -> None:
    assert leading(repair(thing), 0.2, set()) == PROVE
    assert leading(repair(thing), 0.02, set()) == repair(thing)


def test_a_part_is_proved_first_that_may_be_it_only_if_the_model_is_wrong() -> None:
    assert leading(repair(CHIP), 0.02, set(), doubted_share=0.1) == PROVE
    assert leading(repair(CHIP), 0.2, set(), doubted_share=0.02) == repair(CHIP)


def test_a_part_that_was_proved_bad_waits_for_nothing() -> None:
    assert leading(repair(PART), 0.2, {"pin 1"}) == repair(PART)


def test_a_measurement_stays_first() -> None:
    measure = Step("measure", "line-in", "vpp", None, 1.5, 19.0)
    assert leading(measure, 0.9, {"rail"}) == measure
