"""Steps that a technician tells apart, and their joint chances with the possible faults."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.diagnosis.deciding.outcomes import (
    COUNT,
    NOTHING,
    RIGHT,
    STEPS,
    pick_likely_boards,
    sum_step_chances,
)


def test_there_are_nine_steps_and_nothing() -> None:
    assert (STEPS, COUNT, NOTHING, RIGHT) == (9, 10, 9, 4)


class TestLikelyBoards:
    WEIGHTS = np.array([[0.4, 0.3], [0.2, 0.0999], [0.0, 1e-7]])

    def test_those_that_hardly_weigh_are_left_out_and_the_others_add_up_to_one(self) -> None:
        boards = pick_likely_boards(self.WEIGHTS)
        assert list(zip(boards.rows, boards.draws, strict=True)) == [(0, 0), (0, 1), (1, 0), (1, 1)]
        assert boards.weights.sum() == pytest.approx(1.0)
        assert boards.weights[0] / boards.weights[2] == pytest.approx(2.0)

    def test_only_the_likeliest_are_kept(self) -> None:
        boards = pick_likely_boards(self.WEIGHTS, most=2)
        assert set(zip(boards.rows, boards.draws, strict=True)) == {(0, 0), (0, 1)}
        assert boards.weights.sum() == pytest.approx(1.0)

    @pytest.mark.parametrize(("least", "kept"), [(0.24, 4), (0.26, 3)])
    def test_least_is_a_share_of_the_likeliest(self, least: float, kept: int) -> None:
        assert len(pick_likely_boards(self.WEIGHTS, least=least).weights) == kept


class TestJointChances:
    def joint(self, *steps: int, wrong: float = 0.0) -> np.ndarray:
        """One point; boards of equal weight, each its own thing."""
        count = len(steps)
        return sum_step_chances(
            np.array(steps)[:, None],
            np.arange(count),
            np.full(count, 1 / count),
            count,
            np.array([wrong]),
        )[0]

    def test_a_step_is_read_as_its_neighbour_at_times(self) -> None:
        """8 % to either side; at an end that side stays."""
        middle = self.joint(RIGHT)[:, 0]
        assert middle[[RIGHT - 1, RIGHT, RIGHT + 1]] == pytest.approx([0.08, 0.84, 0.08])
        low, high = self.joint(0)[:, 0], self.joint(STEPS - 1)[:, 0]
        assert low[:2] == pytest.approx([0.92, 0.08])
        assert high[STEPS - 2 : STEPS] == pytest.approx([0.08, 0.92])

    def test_nothing_is_nothing(self) -> None:
        nothing = self.joint(NOTHING)[:, 0]
        assert nothing[NOTHING] == pytest.approx(1.0)
        assert nothing[:STEPS] == pytest.approx(0.0)

    @pytest.mark.parametrize("wrong", [0.0, 0.3, 1.0])
    def test_chances_add_up_to_those_of_the_things(self, wrong: float) -> None:
        found = self.joint(0, RIGHT, STEPS - 1, NOTHING, wrong=wrong)
        assert found.sum(axis=0) == pytest.approx(np.full(4, 0.25))
        assert np.all(found >= 0)

    def test_a_wrong_model_reads_as_a_good_set_half_of_the_time(self) -> None:
        found = self.joint(0, wrong=1.0)[:, 0]
        assert found[RIGHT] == pytest.approx(0.5 + 0.5 / COUNT)
        assert np.delete(found, RIGHT) == pytest.approx(0.5 / COUNT)

    def test_points_and_things_are_kept_apart(self) -> None:
        steps = np.array([[0, RIGHT], [RIGHT, NOTHING]])
        weights, never = np.array([0.75, 0.25]), np.zeros(2)
        found = sum_step_chances(steps, np.array([1, 0]), weights, 2, never)
        assert found.shape == (2, COUNT, 2)
        assert found[0, 0, 1] == pytest.approx(0.92 * 0.75)
        assert found[0, RIGHT, 0] == pytest.approx(0.84 * 0.25)
        assert found[1, NOTHING, 0] == pytest.approx(0.25)
        assert found[1, NOTHING, 1] == 0

    def test_each_point_has_its_own_doubt(self) -> None:
        """Two points that would read alike: of the first the model is sure, of the second never."""
        doubt = np.array([0.0, 1.0])
        sure, doubted = sum_step_chances(np.array([[0, 0]]), np.array([0]), np.ones(1), 1, doubt)
        assert sure[0, 0] == pytest.approx(0.92)
        assert doubted[0, 0] == pytest.approx(0.5 / COUNT)
