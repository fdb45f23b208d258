"""Resistances with the set off."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.board.good_board import build_good_board
from pinfolio.plugins.diagnosis.board.hypotheses import list_faults
from pinfolio.plugins.diagnosis.board.set_off import MOST_OHM, solve_off_resistances
from pinfolio.plugins.diagnosis.board.severities import Draws
from pinfolio.plugins.diagnosis.board.topology import Topology

CHIP = load_chip(next(path for path in chip_files() if path.stem == "mdq4628"))
PAIRS = [("pin 1", "ground"), ("pin 28", "ground"), ("rail-12v", "pin 7"), ("pin 20", "matrix-r-y")]
OHMS = solve_off_resistances(CHIP, "colour bars", PAIRS, samples=3, seed=4)
FAULTS = list_faults(build_good_board(Topology(CHIP, "colour bars"), Draws(3, 4)))


def number(what: str, failure: str) -> int:
    return next(
        at
        for at, fault in enumerate(FAULTS)
        if (fault.hypothesis.what, fault.hypothesis.failure) == (what, failure)
    )


def test_one_row_for_every_fault() -> None:
    assert OHMS.shape == (len(FAULTS), 3, len(PAIRS))


def test_good_pins_read_what_the_catalogue_states() -> None:
    np.testing.assert_allclose(OHMS[0, :, 0], 11.6e3, rtol=0.02)
    np.testing.assert_allclose(OHMS[0, :, 1], 7.9e3, rtol=0.02)


def test_a_feed_resistor_reads_its_value_between_its_leads() -> None:
    np.testing.assert_allclose(OHMS[0, :, 2], 8.2, rtol=0.1)


def test_an_open_feed_resistor_reads_what_lies_around_it() -> None:
    assert np.all(OHMS[number("R301", "open"), :, 2] > 100.0)


def test_a_shorted_capacitor_pulls_its_pin_to_ground() -> None:
    assert np.all(OHMS[number("C303", "shorted"), :, 1] < 10.0)


def test_no_meter_shows_more_than_it_can() -> None:
    assert OHMS.max() <= MOST_OHM
    assert OHMS[0, :, 3] == pytest.approx(OHMS[0, :, 3])
    assert np.all(OHMS >= 0)
