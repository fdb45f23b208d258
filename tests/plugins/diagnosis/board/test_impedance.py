"""Impedances of a small network, and changes of some boards, worked by hand.

Source: series and parallel resistances, any circuit textbook.
"""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.plugins.diagnosis.board.network import (
    LEAK_SIEMENS,
    Changes,
    Impedance,
    Stamp,
    solve,
    solve_unchanged,
)

GROUND = 2


@pytest.fixture
def impedance() -> Impedance:
    """Node 0 by 1 kΩ to ground, 2 kΩ on to node 1, which has 3 kΩ to ground."""
    stamp = Stamp(3, GROUND)
    for ends, ohm in (((0, GROUND), 1e3), ((0, 1), 2e3), ((1, GROUND), 3e3)):
        stamp.add(ends, 1 / ohm)
    return stamp.invert()


def test_from_a_node_to_ground(impedance: Impedance) -> None:
    """1 kΩ beside 5 kΩ, and 3 kΩ beside 3 kΩ."""
    assert impedance.read_own(0) == pytest.approx(5e3 / 6, rel=1e-3)
    assert impedance.read_own(1) == pytest.approx(1500, rel=1e-3)


def test_between_two_nodes(impedance: Impedance) -> None:
    """2 kΩ beside the 4 kΩ by way of ground."""
    assert impedance.read_across(0, 1) == pytest.approx(4000 / 3, rel=1e-3)
    assert impedance.read_across(1, 0) == pytest.approx(4000 / 3, rel=1e-3)


def test_a_node_that_nothing_joins_has_the_meter_alone() -> None:
    assert Stamp(1, 1).invert().read_own(0) == pytest.approx(1 / LEAK_SIEMENS)
    assert pytest.approx(1e-7) == LEAK_SIEMENS  # 10 MΩ


def test_a_source_of_its_own_current_besides() -> None:
    """An ampere that flows from a node to ground inside a term lowers the node."""
    stamp = Stamp(1, 1)
    stamp.add((0, 1), 1e-3, 2e-3)
    assert solve_unchanged(stamp.invert(), stamp.amperes)[0, 0] == pytest.approx(-2.0, rel=1e-3)


def test_changes_besides_a_conductance_and_on_some_boards_only(impedance: Impedance) -> None:
    """1 mA taken from node 1 of the middle board alone."""
    changes = Changes(3, GROUND)
    changes.add(np.array([1]), (1, GROUND), 0.0, 1e-3)
    plain = solve_unchanged(impedance, np.zeros((3, 3)))
    volts = solve(impedance, np.arange(3), plain, changes)
    assert volts[:, 1] == pytest.approx([0.0, -1.5, 0.0], rel=1e-3)
    assert volts[1, 0] == pytest.approx(-0.5, rel=1e-3)
    assert np.all(volts[:, GROUND] == 0)


def test_no_boards_no_change() -> None:
    changes = Changes(3, GROUND)
    changes.add(np.array([], dtype=int), (1, GROUND), 1.0)
    assert changes.terms.board.size == 0
    assert list(changes.group_padded()) == []


def test_some_boards_are_numbered_anew() -> None:
    changes = Changes(5, GROUND)
    changes.add(np.array([1, 3, 4]), (0, 1), np.array([1.0, 3.0, 4.0]))
    changes.add(np.array([3]), (1, GROUND), 30.0, 7.0)
    some = changes.pick_boards(np.array([0, 3, 4])).terms
    assert some.board.tolist() == [1, 1, 2]
    assert some.siemens.tolist() == [3.0, 30.0, 4.0]
    assert some.amperes.tolist() == [0.0, 7.0, 0.0]


def test_boards_that_touch_a_node() -> None:
    changes = Changes(5, GROUND)
    changes.add(np.array([1, 3]), (0, GROUND), 1.0)
    changes.add(np.array([2]), (1, GROUND), 1.0)
    changes.add(np.array([4]), (0, GROUND), 0.0)  # a term that is nothing
    assert changes.find_touching(np.array([True, False, False])).tolist() == [1, 3]
    assert changes.find_touching(np.array([False, True, False])).tolist() == [2]


def test_many_boards_of_many_terms_are_solved_as_few_are(impedance: Impedance) -> None:
    """Each board has its own number of conductances of 1 mS from node 0 to ground."""
    counts = np.arange(70)
    changes = Changes(70, GROUND)
    for number in range(1, 70):
        changes.add(np.flatnonzero(counts >= number), (0, GROUND), 1e-3)
    draw_of = np.zeros(70, dtype=int)
    plain = np.repeat(solve_unchanged(impedance, np.array([[1e-3, 0, 0]] * 3))[:1], 70, axis=0)
    volts = solve(impedance, draw_of, plain, changes)
    own_ohm = 5e3 / 6
    expected = 1e-3 / (1 / own_ohm + counts * 1e-3)
    assert volts[:, 0] == pytest.approx(expected, rel=1e-3)
