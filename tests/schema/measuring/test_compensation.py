"""The step response of a compensated divider at its two ends and between them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pinfolio.schema.measuring.compensation import compute_overshoot_percent, compute_step_response

DIVIDER = (9e6, 18e-12, 1e6, 108e-12)  # a x10 probe with half too much capacitance at the tip


def test_capacitors_divide_at_first_and_resistors_at_last() -> None:
    first, last = compute_step_response(np.array([0.0, 1.0]), *DIVIDER)
    assert first == pytest.approx(18 / 126)
    assert last == pytest.approx(0.1)


def test_nothing_comes_before_the_step() -> None:
    assert compute_step_response(np.array([-1e-6]), *DIVIDER) == [0.0]


def test_after_one_time_constant_a_part_in_e_of_the_difference_is_left() -> None:
    """The time constant is 900 kΩ (both in parallel) times 126 pF."""
    tau_s = 0.9e6 * 126e-12
    (v,) = compute_step_response(np.array([tau_s]), *DIVIDER)
    assert v == pytest.approx(0.1 + (18 / 126 - 0.1) / math.e)


@pytest.mark.parametrize(("tip_pf", "percent"), [(12.0, 0.0), (18.0, 42.857), (6.0, -47.368)])
def test_overshoot_of_a_trimmer_that_is_off(tip_pf: float, percent: float) -> None:
    overshoot = compute_overshoot_percent(9e6, tip_pf * 1e-12, 1e6, 108e-12)
    assert overshoot == pytest.approx(percent, abs=1e-3)
