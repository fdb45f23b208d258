"""A vertical output stage with its feedback through yoke and parts, against the op-amp's formulas.

Horowitz and Hill, The Art of Electronics, section 4.2: with enough gain inside, the inverting input
stays where the other input is, and the output is -drive * (feedback resistor / input resistor).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.board.cloud import FEATURES, Hypothesis
from pinfolio.plugins.diagnosis.board.good_board import GoodBoard, build_good_board
from pinfolio.plugins.diagnosis.board.hypotheses import Fault
from pinfolio.plugins.diagnosis.board.operating_point import Boards
from pinfolio.plugins.diagnosis.board.settling import Settled, settle
from pinfolio.plugins.diagnosis.board.severities import Draws
from pinfolio.plugins.diagnosis.board.simulate import read_settled, simulate_failure
from pinfolio.plugins.diagnosis.board.topology import Topology

CHIP = load_chip(next(path for path in chip_files() if path.stem == "tqz3609"))
BARS = "colour bars"


@cache
def good_board() -> GoodBoard:
    return build_good_board(Topology(CHIP, BARS), Draws(8, 1))


def settle_with(ohm_times: Mapping[str, float]) -> Settled:
    """Return the good board, and the same with some resistors so many times their value."""
    board = good_board()
    changed = {
        at: replace(one, series_ohm=one.series_ohm * ohm_times[one.ref])
        for at, one in enumerate(board.elements)
        if one.ref in ohm_times
    }
    none = Hypothesis("none", "", "", "", 1.0)
    other = Hypothesis("part", "other values", "value high", "", 1.0)
    return settle(Boards(board, [Fault(none), Fault(other, replaced=changed)]))


def output_level(settled: Settled) -> float:
    return float(np.median(settled.out["output-stage"].level[settled.boards.draws :]))


def mean_v(settled: Settled, at: str) -> float:
    shown = read_settled(settled)
    return float(np.median(shown.dc_v[1, :, shown.column[at]]))


def test_the_output_swings_by_the_ratio_of_feedback_and_input_resistor() -> None:
    """Volts at the yoke's sensing resistor: 1.26 Vpp * R751 / R718."""
    # R752 and R753 with it, or the drive's own DC would take the output to its end.
    assert output_level(settle_with({"R718": 1.5, "R752": 1.5, "R753": 1.5})) == pytest.approx(
        1 / 1.5, rel=0.05
    )
    assert output_level(settle_with({"R751": 0.5})) == pytest.approx(0.5, rel=0.03)


def test_the_output_lies_where_its_mean_holds_the_inverting_input() -> None:
    """The current through R718 flows on through R752 and R753: 8.5 V across their 18.2 kΩ.

    The loop is followed to a per cent at the inverting input, some 0.6 V at the output.
    """
    settled = settle_with({"R752": 1.5})
    assert mean_v(settled, "pin 6") == pytest.approx(12.2 + 5e3 * 8.5 / 18.2e3, abs=0.6)
    assert mean_v(settled, "pin 1") == pytest.approx(3.7, abs=0.1)


def test_without_its_mean_coming_back_the_output_lies_at_an_end() -> None:
    settled = settle_with({"R752": 1e6})
    assert not 3 < mean_v(settled, "pin 6") < 20


def test_an_open_yoke_leaves_its_sensing_resistor_without_a_signal() -> None:
    cloud = simulate_failure(CHIP, BARS, Hypothesis("part", "L751", "open", "", 1.0))
    column = cloud.column["yoke-sense"]
    assert np.median(cloud.vpp_v[1, :, column]) < 0.1 * cloud.healthy_vpp_v[column]


def test_a_guard_without_pulses_rests_at_their_foot_and_mostly_blanks_the_tube() -> None:
    """0.2 V by the catalogue. Without an aerial the field runs on: that tells no rest."""
    cloud = simulate_failure(CHIP, BARS, Hypothesis("stage", "guard", "dead", "", 1.0))
    assert "pin 8" not in Topology(CHIP, BARS).idle_dc_v
    assert np.quantile(cloud.dc_v[1, :, cloud.column["pin 8"]], 0.2) < 0.25
    dark = cloud.shown[1, :, FEATURES.index("raster")] < 0.5
    assert 0.3 < dark.mean() < 0.9
