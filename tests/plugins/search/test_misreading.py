"""The cost of a misreading, character by character and for all markings at once."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.plugins.search.marking_tree import CEILINGS, MarkingTree
from pinfolio.plugins.search.misreading import (
    AT_THE_END,
    MISSING,
    SWAPPED,
    UNREAD_COST,
    explain_misreading,
    load_look_alikes,
)
from rapidfuzz.distance import OSA

# Few signs, some of them look-alikes, so that markings come near each other.
keys = st.text("QZ057B8", min_size=1, max_size=7)


@pytest.mark.parametrize(
    ("typed", "key", "cost", "reasons"),
    [
        ("QZ5710", "QZ5710", 0, ("as printed",)),
        ("QZ571O", "QZ5710", 15, ("0 read as O",)),
        ("QZ5?10", "QZ5710", UNREAD_COST, ("7 could not be read",)),
        ("QZ??10", "QZ5710", 2 * UNREAD_COST, ("5, 7 could not be read",)),
        ("QZ5170", "QZ5710", SWAPPED, ("7 and 1 swapped",)),
        ("QZ571", "QZ5710", AT_THE_END, ("suffix missing",)),
        ("QZ5710N", "QZ5710", AT_THE_END, ("suffix N left aside",)),
        ("Z5710", "QZ5710", 35, ("prefix missing",)),
        ("QZ510", "QZ5710", MISSING, ("7 missing",)),
        ("QZ57710", "QZ5710", 90, ("7 too many",)),
        # The first character has none before it to be swapped with.
        ("X5710", "X05710", MISSING, ("0 missing",)),
        ("Q25?1O", "QZ5710", 25 + 8 + 15, ("Z read as 2", "7 could not be read", "0 read as O")),
    ],
)
def test_what_may_happen_to_a_marking(
    typed: str, key: str, cost: int, reasons: tuple[str, ...]
) -> None:
    found = explain_misreading(typed, key)
    assert (found.cost, found.reasons) == (cost, reasons)


@pytest.mark.parametrize(
    ("typed", "key", "cost", "reason"),
    [
        ("QZ5X10", "QZ5710", 100, "7 read as X"),
        ("QZ5?10", "QZ5710", 8, "7 could not be read"),
        ("QZ510", "QZ5710", 90, "7 missing"),
        ("QZ57910", "QZ5710", 90, "9 too many"),
        ("QZ5170", "QZ5710", 70, "7 and 1 swapped"),
        ("QZ57", "QZ5710", 2 * 25, "suffix missing"),
        ("QZ5710N", "QZ5710", 25, "suffix N left aside"),
        ("5710", "QZ5710", 2 * 35, "prefix missing"),
        ("XQZ5710", "QZ5710", 35, "prefix left aside"),
    ],
)
def test_a_slip_costs_about_a_wrong_character_and_an_end_less(
    typed: str, key: str, cost: int, reason: str
) -> None:
    """Our weights, in hundredths of a wrong character. Common practice."""
    found = explain_misreading(typed, key)
    assert found.cost == cost
    assert set(found.reasons) == {reason}


@pytest.mark.parametrize(
    ("typed", "key", "cost"),
    [("ABC", "BAC", 70), ("A", "B", 60), ("?", "A", 8), ("", "AB", 2 * 35), ("AB", "", 2 * 35)],
)
def test_short_texts_cost_what_long_ones_do(typed: str, key: str, cost: int) -> None:
    """A lone wrong character is cheaper as a lost end on each side: 25 and 35."""
    assert explain_misreading(typed, key).cost == cost


@given(keys, keys)
def test_never_dearer_than_so_many_wrong_signs(typed: str, key: str) -> None:
    """Every slip costs a wrong sign at most: bounded by rapidfuzz's optimal string alignment."""
    assert explain_misreading(typed, key).cost <= 100 * OSA.distance(typed, key)


@given(keys, keys)
def test_only_what_is_the_same_costs_nothing(typed: str, key: str) -> None:
    assert (explain_misreading(typed, key).cost == 0) == (typed == key)


def test_look_alikes_are_told_both_ways_and_cost_less_than_a_wrong_sign() -> None:
    for pair, cost in load_look_alikes().items():
        assert load_look_alikes()[pair[::-1]] == cost
        assert 0 < cost < 100


@settings(max_examples=200)
@given(
    st.lists(st.one_of(keys, st.text("ЖЯ0", min_size=1, max_size=4)), max_size=12),
    st.text("QZ057B8?Ж", min_size=1, max_size=8),
    st.sampled_from(CEILINGS),
)
def test_the_tree_finds_just_what_one_after_another_finds(
    markings: list[str], typed: str, ceiling: int
) -> None:
    tree = MarkingTree(markings)
    places, costs = tree.find_within(typed, ceiling)
    found = {tree.keys[place]: cost for place, cost in zip(places, costs, strict=True)}
    every = {key: explain_misreading(typed, key).cost for key in markings}
    assert found == {key: cost for key, cost in every.items() if cost <= ceiling}


@given(st.lists(keys, min_size=1, max_size=12), keys)
def test_the_nearest_come_first_and_none_that_is_as_near_is_left_out(
    markings: list[str], typed: str
) -> None:
    tree = MarkingTree(markings)
    places, costs = tree.find_nearest(typed, enough=5, spread=80)
    assert list(costs) == sorted(costs)
    every = sorted(explain_misreading(typed, key).cost for key in tree.keys)
    if every[0] <= CEILINGS[-1]:
        told = [cost for cost in every if cost <= min(every[0] + 80, CEILINGS[-1])][:5]
        assert [int(cost) for cost in costs[: len(told)]] == told
    else:
        assert not len(places)


@pytest.mark.parametrize(
    ("typed", "key", "reason"),
    [
        ("QTZ5", "TQZ5", "T and Q swapped"),
        ("TQ5Z", "TQZ5", "Z and 5 swapped"),
    ],
)
def test_a_swap_is_recognised_from_the_first_character_to_the_last(
    typed: str, key: str, reason: str
) -> None:
    assert explain_misreading(typed, key).reasons == (reason,)
    assert explain_misreading(typed, key).cost == SWAPPED
