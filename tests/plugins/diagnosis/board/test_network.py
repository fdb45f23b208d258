"""Changes of low rank on one inverse, against solving each changed network from the beginning."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.plugins.diagnosis.board.network import Changes, Stamp, solve, solve_unchanged

NODES, DRAWS = 6, 2

node = st.integers(0, NODES)  # the last is ground
ohm = st.floats(1.0, 1e6)
edge = st.tuples(node, node, ohm).filter(lambda e: e[0] != e[1])


def stamp_elements(edges: list[tuple[int, int, float]], dtype: type = np.float64) -> Stamp:
    stamp = Stamp(DRAWS, NODES, dtype=dtype)
    for first, second, value in edges:
        stamp.add((first, second), 1 / value)
    return stamp


@given(st.lists(edge, min_size=5, max_size=12), st.lists(edge, min_size=1, max_size=5))
def test_added_conductances(good: list[tuple[int, int, float]], added) -> None:  # type: ignore[no-untyped-def]
    impedance = stamp_elements(good).invert()
    amperes = np.zeros((DRAWS, NODES + 1))
    amperes[:, 0] = 1e-3
    changes = Changes(DRAWS, NODES)
    boards = np.arange(DRAWS)
    for first, second, value in added:
        changes.add(boards, (first, second), 1 / value)
    ours = solve(impedance, boards, solve_unchanged(impedance, amperes), changes)
    whole = stamp_elements([*good, *added]).invert()
    np.testing.assert_allclose(ours, solve_unchanged(whole, amperes), rtol=1e-6, atol=1e-9)


def test_a_conductance_taken_out_leaves_nothing() -> None:
    impedance = stamp_elements([(0, NODES, 1e3), (0, 1, 1e3), (1, NODES, 1e3)]).invert()
    changes = Changes(DRAWS, NODES)
    changes.add(np.arange(DRAWS), (0, 1), -1e-3)
    amperes = np.zeros((DRAWS, NODES + 1))
    amperes[:, 0] = 1e-3
    volts = solve(impedance, np.arange(DRAWS), solve_unchanged(impedance, amperes), changes)
    np.testing.assert_allclose(volts[:, 0], 1.0, rtol=1e-3)
    np.testing.assert_allclose(volts[:, 1], 0.0, atol=1e-6)


def test_a_current_steered_by_another_voltage() -> None:
    """A collector current: 1 mA for each volt at node 0 flows from node 1 to ground."""
    impedance = stamp_elements([(0, NODES, 1e3), (1, NODES, 1e3)]).invert()
    changes = Changes(DRAWS, NODES)
    changes.add(np.arange(DRAWS), (1, NODES), 1e-3, sense=(0, NODES))
    amperes = np.zeros((DRAWS, NODES + 1))
    amperes[:, 0] = 2e-3
    volts = solve(impedance, np.arange(DRAWS), solve_unchanged(impedance, amperes), changes)
    np.testing.assert_allclose(volts[:, 0], 2.0, rtol=1e-3)
    np.testing.assert_allclose(volts[:, 1], -2.0, rtol=1e-3)


def test_only_some_nodes_when_asked() -> None:
    impedance = stamp_elements([(0, NODES, 1e3), (0, 1, 1e3)]).invert()
    changes = Changes(DRAWS, NODES)
    changes.add(np.arange(DRAWS), (1, NODES), 1e-3)
    amperes = np.zeros((DRAWS, NODES + 1))
    amperes[:, 0] = 1e-3
    plain = solve_unchanged(impedance, amperes)
    whole = solve(impedance, np.arange(DRAWS), plain, changes)
    some = solve(impedance, np.arange(DRAWS), plain, changes, np.array([1, 0]))
    np.testing.assert_allclose(some, whole[:, [1, 0]])
