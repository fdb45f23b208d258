"""Effects of single faults round a line and field timing chip, common practice of the trade."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.board.cloud import Cloud, Hypothesis
from pinfolio.plugins.diagnosis.board.senders import find_sources
from pinfolio.plugins.diagnosis.board.simulate import simulate_failure
from pinfolio.plugins.diagnosis.board.topology import Topology

CHIP = Path(__file__).parents[3] / "benchmarks" / "practice" / "hvq2460" / "hvq2460.yaml"
BARS = "colour bars"


@cache
def break_board(kind: str, what: str, failure: str) -> Cloud:
    return simulate_failure(load_chip(CHIP), BARS, Hypothesis(kind, what, failure, "", 1.0))  # type: ignore[arg-type]


def test_a_flyback_winding_sends_to_both_inputs_behind_it() -> None:
    sources = find_sources(Topology(load_chip(CHIP), BARS))
    assert "flyback-winding" in sources
    assert "saw-node" not in sources


def test_without_its_sawtooth_the_line_loop_runs_free() -> None:
    no_sawtooth = break_board("part", "R407", "open")
    sawtooth_vpp = no_sawtooth.vpp_v[1, :, no_sawtooth.column["pin 16"]]
    assert np.median(sawtooth_vpp) < 0.1
    assert np.median(no_sawtooth.shown[1, :, no_sawtooth.feature["line lock"]]) < 0.1


def test_an_output_stage_that_hears_nothing_of_its_output_runs_to_an_end() -> None:
    loose = break_board("joint", "8", "open")
    volts = loose.dc_v[1, :, loose.column["pin 10"]]
    assert (np.abs(volts - 12) > 8).mean() > 0.9
    assert {True, False} == set((volts > 12).tolist())


def test_a_ramp_does_not_live_on_the_output_stages_supply() -> None:
    assert Topology(load_chip(CHIP), BARS).supply_of["pin 7"] == "pin 21"


def test_a_sync_separator_without_its_slicing_bias_may_lose_the_sync() -> None:
    bias_open = break_board("part", "R402", "open")
    sync_vpp = bias_open.vpp_v[1, :, bias_open.column["pin 4"]]
    assert 0.02 < (sync_vpp < 1).mean() < 0.6
