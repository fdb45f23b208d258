"""Invariants of a component tester's figure: the circuit's laws hold at every instant."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.schema.measuring.tester_figure import Bend, Drive, Load, compute_figure

DRIVE = Drive(8.0, 1e3, 50.0)
OHMS = st.floats(1.0, 1e6)
BENDS = st.lists(
    st.builds(Bend, st.sampled_from((-1, 1)), st.floats(0.0, 12.0), OHMS), max_size=3
).map(tuple)


@settings(max_examples=60, deadline=None)
@given(siemens=OHMS.map(lambda ohm: 1 / ohm), bends=BENDS)
def test_each_instant_obeys_the_loads_own_curve(siemens: float, bends: tuple[Bend, ...]) -> None:
    figure = compute_figure(DRIVE, Load(siemens, bends=bends))
    for v, a in zip(figure.volts[::40], figure.amperes[::40], strict=True):
        taken = siemens * v
        for bend in bends:
            taken += bend.side * max(0.0, bend.side * v - bend.from_v) / bend.ohm
        assert a == pytest.approx(taken, abs=1e-9)


@settings(max_examples=15, deadline=None)
@given(ohm=OHMS, farad=st.floats(1e-9, 1e-3), drop_v=st.floats(0.1, 5.0))
def test_a_settled_figure_closes_and_stays_within_the_drive(
    ohm: float, farad: float, drop_v: float
) -> None:
    figure = compute_figure(DRIVE, Load(1 / ohm, farad, bends=(Bend(-1, drop_v, 20.0),)))
    assert max(map(abs, figure.volts)) <= DRIVE.peak_v
    steps = [abs(to_v - from_v) for from_v, to_v in pairwise(figure.volts)]
    assert abs(figure.volts[0] - figure.volts[-1]) <= 1.5 * max(steps) + 1e-9


def test_loads_in_parallel_add_up() -> None:
    both = Load(1e-3, 1e-6).join(Load(1e-3, 1e-6, (1.0,), (Bend(1, 0.6, 8.0),)))
    assert both == Load(2e-3, 2e-6, (1.0,), (Bend(1, 0.6, 8.0),))
    assert both.compute_siemens(50.0).real == pytest.approx(2e-3)
    omega = 2 * math.pi * 50
    assert both.compute_siemens(50.0).imag == pytest.approx(omega * 2e-6 - 1 / omega)


def test_a_bend_that_is_not_reached_changes_nothing() -> None:
    plain = compute_figure(DRIVE, Load(1e-3))
    assert compute_figure(DRIVE, Load(1e-3, bends=(Bend(1, 4.1, 8.0),))) == plain
    assert compute_figure(DRIVE, Load(1e-3, bends=(Bend(1, 3.9, 8.0),))).is_bent
