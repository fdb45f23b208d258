"""The tree of markings: its limits are inclusive, and its costs those of a single comparison."""

from __future__ import annotations

import pytest
from pinfolio.plugins.search.marking_tree import MarkingTree
from pinfolio.plugins.search.misreading import (
    AT_THE_END,
    EXTRA,
    MISSING,
    SWAPPED,
    UNREAD_COST,
    explain_misreading,
)


@pytest.mark.parametrize(
    ("typed", "cost"),
    [
        ("QZ5", AT_THE_END),
        ("ZQ57", SWAPPED),
        ("QZ75", SWAPPED),
        ("Q57", MISSING),
        ("QZ157", EXTRA),
        ("QZ5?", UNREAD_COST),
        ("QZ57", 0),
    ],
)
def test_a_marking_at_the_very_limit_is_found(typed: str, cost: int) -> None:
    """Least costs by the table of Wagner and Fischer, which compares two texts at a time."""
    tree = MarkingTree(["QZ57", "WK6"])
    assert explain_misreading(typed, "QZ57").cost == cost
    places, costs = tree.find_within(typed, cost)
    assert [tree.keys[place] for place in places] == ["QZ57"]
    assert costs.tolist() == [cost]
    places, _ = tree.find_within(typed, cost - 1)
    assert places.tolist() == []


def test_markings_of_equal_cost_keep_their_order() -> None:
    tree = MarkingTree(["QZ58", "QZ57", "QZ5"])
    places, costs = tree.find_nearest("QZ5?", enough=3, spread=80)
    assert [tree.keys[place] for place in places] == ["QZ57", "QZ58", "QZ5"]
    assert costs.tolist() == [UNREAD_COST, UNREAD_COST, AT_THE_END]
