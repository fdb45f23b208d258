"""Sources inside pins and outside, against Ohm's law and the published drop of a junction."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.board.devices import DIODE_DROP_V, ON, Diode
from pinfolio.plugins.diagnosis.board.network import Stamp
from pinfolio.plugins.diagnosis.board.severities import Draws
from pinfolio.plugins.diagnosis.board.sources import (
    find_pin_ohm,
    make_outside_source,
    make_pin_source,
)
from pinfolio.plugins.diagnosis.board.topology import Topology

DRAWS = Draws(200, seed=1)


@cache
def build_topology(part: str) -> Topology:
    chip = load_chip(next(path for path in chip_files() if path.stem == part.lower()))
    return Topology(chip, "colour bars")


@pytest.mark.parametrize(("pin", "ohm"), [("pin 20", 3.3e3), ("pin 5", 8e3), ("pin 14", 150.0)])
def test_a_pin_has_the_resistance_that_is_stated(pin: str, ohm: float) -> None:
    board = build_topology("KYE2620")
    stated = board.pin_at[pin].resistance
    assert stated is not None
    drawn = find_pin_ohm(board, board.pin_at[pin], DRAWS)
    assert np.median(drawn) == pytest.approx(stated.nominal, rel=0.02)


@pytest.mark.parametrize(
    ("role", "ohm"),
    [("output", 250), ("input", 20e3), ("control", 80e3), ("oscillator", 5e3), ("filter", 60e3),
     ("decoupling", 5e3), ("reference", 300), ("bus", 50e3), ("unused", 10e6)],
)  # fmt: skip
def test_a_pin_of_which_nothing_is_stated_has_what_is_usual_for_its_role(
    role: str, ohm: float
) -> None:
    """Common practice: emitter followers are stiff, bases take little, filters nearly nothing."""
    board = build_topology("KYE2620")
    pin = board.pin_at["pin 20"].model_copy(update={"resistance": None, "role": role})
    drawn = find_pin_ohm(board, pin, DRAWS)
    assert np.median(drawn) == pytest.approx(ohm, rel=0.05)
    assert np.quantile(drawn, 0.84) / np.median(drawn) == pytest.approx(np.exp(0.6), rel=0.06)


def test_a_pin_loaded_with_its_own_resistance_halves() -> None:
    """A source of 6 V behind R into R reads 3 V: the current is its voltage over twice R."""
    board = build_topology("KYE2620")
    volts, nothing = np.full(DRAWS.count, 6.0), np.zeros(DRAWS.count)
    source = make_pin_source(board, "pin 20", volts, nothing, DRAWS, volts)
    ohm = find_pin_ohm(board, board.pin_at["pin 20"], DRAWS)
    loaded = source.emf_v * source.siemens / (source.siemens + 1 / ohm)
    np.testing.assert_allclose(loaded, 3.0, rtol=1e-9)


def test_what_a_pin_sends_falls_across_its_resistance() -> None:
    board = build_topology("KYE2620")
    volts, amperes = np.full(DRAWS.count, 6.0), np.full(DRAWS.count, 1e-4)
    source = make_pin_source(board, "pin 20", volts, amperes, DRAWS, volts)
    np.testing.assert_allclose((source.emf_v - volts) * source.siemens, amperes, rtol=1e-9)


def test_what_holds_a_node_may_be_as_soft_as_its_parts() -> None:
    volts, amperes = np.full(DRAWS.count, 5.0), np.full(DRAWS.count, 1e-6)
    own_ohm = np.full(DRAWS.count, 10e3)
    held = make_outside_source("node", "drive", volts, amperes, DRAWS, own_ohm)
    ratio = 1 / held.siemens / own_ohm
    assert ratio.min() < 0.5
    assert ratio.max() > 10


def test_nothing_outside_lies_beyond_the_voltages_of_the_board() -> None:
    volts, amperes = np.full(DRAWS.count, 5.0), np.full(DRAWS.count, 1e-3)
    own_ohm = np.full(DRAWS.count, 100e3)
    held = make_outside_source("node", "drive", volts, amperes, DRAWS, own_ohm, most_v=12.0)
    assert np.all(held.emf_v - volts <= 12.0 + 1e-9)


@pytest.mark.parametrize(("volts", "ohm"), [(5.0, 1e3), (12.0, 10e3)])
def test_a_diode_drops_six_tenths_of_a_volt(volts: float, ohm: float) -> None:
    """A silicon junction at some milliamperes: 0.6 to 0.7 V, every text book."""
    stamp = Stamp(1, 2)
    stamp.add((0, 2), 1e3, -1e3 * volts)  # a source of next to no resistance
    stamp.add((0, 1), 1 / ohm)
    diode = Diode("D1", 1, 2)
    for out, siemens, amperes, sense in diode.list_terms(ON):
        stamp.add(out, siemens, amperes, sense)
    solved = np.einsum("dij,dj->di", stamp.invert().matrix, stamp.amperes)[0]
    current = (solved[0] - solved[1]) / ohm
    assert solved[1] == pytest.approx(0.65, abs=0.06)
    assert solved[1] == pytest.approx(DIODE_DROP_V + 8.0 * current, rel=1e-3)
    assert int(diode.next_state(np.array([ON]), solved[None, :])[0]) == ON
