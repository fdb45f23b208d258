"""A x10 probe's trimmer on a square wave, against scipy's step response of the same divider."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.schema.measuring.compensation import compute_overshoot_percent, compute_step_response
from scipy import signal

# An encyclopedia's x10 probe ("Oscilloscope", probes): 9 MΩ and 12.2 pF, into 1 MΩ and 110 pF.
TIP_OHM, INPUT_OHM, INPUT_F = 9e6, 1e6, 110e-12
RIGHT_F = INPUT_OHM * INPUT_F / TIP_OHM


def make_divider(tip_f: float) -> signal.lti:
    """V2 / V1 = R2 (1 + s R1 C1) / (R1 + R2 + s R1 R2 (C1 + C2))."""
    above = [INPUT_OHM * TIP_OHM * tip_f, INPUT_OHM]
    below = [TIP_OHM * INPUT_OHM * (tip_f + INPUT_F), TIP_OHM + INPUT_OHM]
    return signal.lti(above, below)


@pytest.mark.parametrize("tip_f", [8e-12, RIGHT_F, 16e-12])
def test_the_step_response(tip_f: float) -> None:
    t_s = np.linspace(0, 1e-3, 2001)
    _, expected = signal.step(make_divider(tip_f), T=t_s)
    found = compute_step_response(t_s, TIP_OHM, tip_f, INPUT_OHM, INPUT_F)
    np.testing.assert_allclose(found, expected, atol=1e-9)


def test_nothing_comes_before_the_step() -> None:
    before = compute_step_response(np.array([-1e-6, -1.0]), TIP_OHM, 16e-12, INPUT_OHM, INPUT_F)
    assert not before.any()


def test_the_published_probe_is_compensated() -> None:
    """It prints 12.2 pF and 110 µs; the exact capacitance is 12.222 pF."""
    assert pytest.approx(12.2e-12, rel=2e-3) == RIGHT_F
    assert pytest.approx(110e-6) == TIP_OHM * RIGHT_F
    assert compute_overshoot_percent(TIP_OHM, 12.2e-12, INPUT_OHM, INPUT_F) == pytest.approx(
        0, abs=0.2
    )


@given(st.floats(2e-12, 40e-12))
def test_the_corner_is_where_the_responses_begin_against_where_they_end(tip_f: float) -> None:
    _, step = signal.step(make_divider(tip_f), T=np.linspace(0, 20e-3, 200))
    corner = compute_overshoot_percent(TIP_OHM, tip_f, INPUT_OHM, INPUT_F)
    assert corner == pytest.approx((step[0] / step[-1] - 1) * 100, rel=1e-6, abs=1e-6)
    assert (corner > 0) == (tip_f > RIGHT_F) or corner == pytest.approx(0, abs=1e-9)
