"""What a job comes to: one suspect, several that cannot be told apart, nothing at all."""

from __future__ import annotations

from typing import get_args

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.faultfinding.conclusion import conclusion
from pinfolio.plugins.faultfinding.effort import Efforts, cheapest_first, usual_effort
from pinfolio.plugins.faultfinding.hypotheses import Hypothesis
from pinfolio.plugins.faultfinding.points import OUT_OF_CIRCUIT, Point
from pinfolio.plugins.faultfinding.remedy import remedy_for
from pinfolio.plugins.faultfinding.said import said
from pinfolio.schema.vocabulary import PartKind

JUNGLE = load_chip(next(path for path in chip_files() if path.stem == "tqz5752"))
EFFORTS = Efforts(JUNGLE)


def part(ref: str, failure: str = "open") -> Hypothesis:
    return Hypothesis("part", ref, failure, 1.0)


STAGE = Hypothesis("stage", "line-oscillator", "dead", 1.0)
NONE = Hypothesis("none", "none of these", "", 1.0)


def test_one_clear_suspect_is_named() -> None:
    told = conclusion(JUNGLE, [(part("C716"), 0.9), (part("R709"), 0.05)], [])
    assert told == "Nothing more separates the suspects: go for C716 open."


def test_of_two_that_cannot_be_told_apart_both_go_the_cheaper_first() -> None:
    """X701 is a resonator, C716 a capacitor: the capacitor first, though it came second."""
    told = conclusion(JUNGLE, [(part("X701", "dead"), 0.48), (part("C716"), 0.45)], [])
    assert told == (
        "These two cannot be told apart from outside: C716 open and X701 dead. Replace both,"
        " C716 first."
    )


def test_the_chip_comes_last() -> None:
    found = [(STAGE, 0.33), (part("X701", "dead"), 0.32), (part("C716"), 0.31)]
    told = conclusion(JUNGLE, found, [])
    assert told.startswith("These three cannot be told apart from outside: C716 open and X701 dead")
    assert told.endswith("Replace all of them, C716 first.")


def test_the_chip_is_never_exchanged_for_sure() -> None:
    """A stage that is dead and one that lacks a leaky part on its pin look alike too often."""
    told = conclusion(JUNGLE, [(STAGE, 0.98), (part("C716"), 0.01)], [])
    assert "go for" not in told
    assert "only when its supplies, its inputs and the parts on its pins have read right" in told


def test_what_shorts_a_rail_is_looked_for_before_its_feed_is_blamed() -> None:
    """A rail that is missing and a capacitor shorted across it read alike with the set on."""
    told = conclusion(JUNGLE, [(Hypothesis("supply", "VCC1", "missing", 1.0), 0.97)], [])
    assert told == (
        "Most is said for supply VCC1 missing. Before its feed is suspected: set off, measure from"
        " its pins to ground; a short there is a part on the rail."
    )


def test_a_supply_is_not_replaced_together_with_a_part() -> None:
    supply = Hypothesis("supply", "VCC1", "missing", 1.0)
    told = conclusion(JUNGLE, [(supply, 0.48), (part("C716", "shorted"), 0.45)], [])
    assert "Replace" not in told
    assert "measure from its pins to ground" in told
    assert told.endswith("Then go for C716 shorted.")


def test_a_signal_from_outside_is_looked_for_where_it_comes_from() -> None:
    outside = Hypothesis("outside", JUNGLE.application.nodes[0].id, "missing", 1.0)
    told = conclusion(JUNGLE, [(outside, 0.97), (part("C716"), 0.01)], [])
    assert "go for" not in told
    assert "Look for the signal where it comes from" in told


def test_when_nothing_fits_it_is_said() -> None:
    told = conclusion(JUNGLE, [(NONE, 0.8), (part("C716"), 0.1)], [])
    assert told.endswith("the fault lies elsewhere, or there is none.")


def test_a_joint_comes_before_every_part() -> None:
    joint = Hypothesis("joint", "pin 17", "joint open", 1.0)
    assert cheapest_first(JUNGLE, joint) <= cheapest_first(JUNGLE, part("C716"))
    assert said(JUNGLE, joint) == "joint of pin 17 H OSC open"
    assert remedy_for(JUNGLE, joint).fit.startswith("Solder the joint again")


def test_the_order_of_costs_names_every_kind_of_part() -> None:
    assert set(usual_effort()["cheapest first"]) == set(get_args(PartKind))


def test_the_harder_to_reach_the_more_effort() -> None:
    pin, node = Point("pin 17", "dc"), Point("afc-node", "dc")
    lifted = Point("C716", OUT_OF_CIRCUIT)
    assert EFFORTS.of(pin) < EFFORTS.of(node) < EFFORTS.of(lifted)


def test_beside_a_hazard_a_pin_costs_more() -> None:
    """Pin 24 is the protection input, marked for X-radiation."""
    assert EFFORTS.of(Point("pin 24", "dc")) > EFFORTS.of(Point("pin 17", "dc"))


@pytest.mark.parametrize("quantity", ["resistance", OUT_OF_CIRCUIT])
def test_a_part_with_an_end_that_must_not_be_probed_is_left_alone(quantity: str) -> None:
    """The line output transistor: pulses of 900 V at its collector."""
    assert not EFFORTS.may_measure(Point("Q702", quantity))
    assert EFFORTS.may_measure(Point("C716", quantity))
