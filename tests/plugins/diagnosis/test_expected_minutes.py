"""Minutes until the set works, against every order tried, and against Shannon's entropy."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.plugins.diagnosis.deciding.expected_minutes import (
    ExpectedMinutes,
    compute_expected_bits,
    compute_weighted_bits,
    sum_minutes_in_order,
)
from scipy import stats

chance = st.floats(0.01, 1.0)
minute = st.floats(0.5, 60.0)
things = st.lists(st.tuples(chance, minute), min_size=1, max_size=5)


@given(things)
def test_the_order_by_chance_per_minute_is_the_quickest(
    given_things: list[tuple[float, float]],
) -> None:
    """Heckerman, Breese and Rommelse (1995): each try costs its minutes while the fault is left."""
    chances = np.array([one for one, _ in given_things])
    minutes = np.array([one for _, one in given_things])
    costs = []
    for order in permutations(range(len(chances))):
        left = np.cumsum(chances[list(order)][::-1])[::-1]
        costs.append(float(left @ minutes[list(order)]))
    assert sum_minutes_in_order(chances, minutes) == pytest.approx(min(costs))


@given(st.lists(chance, min_size=1, max_size=6))
def test_bits_are_shannons_entropy_times_the_sum(given_chances: list[float]) -> None:
    chances = np.array(given_chances)
    expected = stats.entropy(chances, base=2) * chances.sum()
    assert compute_weighted_bits(chances) == pytest.approx(expected, abs=1e-9)


def test_a_measurement_tells_the_mutual_information() -> None:
    """An outcome that settles two as likely tells a bit; one that goes with neither tells none."""
    settles = np.array([[0.5, 0.0], [0.0, 0.5]])
    tells_nothing = np.array([[0.25, 0.25], [0.25, 0.25]])
    part_way = np.array([[0.4, 0.1], [0.1, 0.4]])
    bits = compute_expected_bits(np.stack([settles, tells_nothing, part_way]))
    assert bits == pytest.approx([1.0, 0.0, 1 - stats.entropy([0.8, 0.2], base=2)])


class TestTheCheaperWay:
    CHANCES = np.full(8, 1 / 8)
    MINUTES = np.full(8, 10.0)

    def test_without_measurements_things_are_tried_in_order(self) -> None:
        """(8 + 7 + ... + 1) / 8 tries of ten minutes."""
        none = ExpectedMinutes(self.MINUTES, bits_a_minute=0.0)
        assert none.expect(self.CHANCES) == pytest.approx(45.0)

    def test_with_them_three_bits_and_one_repair(self) -> None:
        measured = ExpectedMinutes(self.MINUTES, bits_a_minute=0.5, look_ahead=1.0)
        assert measured.expect(self.CHANCES) == pytest.approx(3 / 0.5 + 10)
        dearer = ExpectedMinutes(self.MINUTES, bits_a_minute=0.5)
        assert dearer.expect(self.CHANCES) == pytest.approx(1.25 * 3 / 0.5 + 10)

    def test_dear_measurements_are_not_taken(self) -> None:
        slow = ExpectedMinutes(self.MINUTES, bits_a_minute=0.05, look_ahead=1.0)
        assert slow.expect(self.CHANCES) == pytest.approx(45.0)

    def test_a_repair_first_leaves_the_others(self) -> None:
        """Chances 0.5, 0.3, 0.2 of ten minutes each: 10, then 10 of a half and 10 of a fifth."""
        none = ExpectedMinutes(np.full(3, 10.0), bits_a_minute=0.0)
        chances = np.array([0.5, 0.3, 0.2])
        assert none.expect_after_repairing(chances, 0) == pytest.approx(10 + 5 + 2)
        assert none.expect_after_repairing(chances, 2) == pytest.approx(10 + 8 + 3)

    def test_a_measurement_first_costs_its_minutes(self) -> None:
        none = ExpectedMinutes(np.full(2, 10.0), bits_a_minute=0.0)
        settles = np.array([[[0.5, 0.0], [0.0, 0.5]]])
        assert none.expect_after_measuring(settles, np.array([2.0])) == pytest.approx([12.0])
