"""Clouds of the demonstration chips: good boards read right, and faults have their real effects."""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.board.cloud import FEATURES, Cloud, Hypothesis, Seen
from pinfolio.plugins.diagnosis.board.features import read_features
from pinfolio.plugins.diagnosis.board.good_board import build_good_board
from pinfolio.plugins.diagnosis.board.hypotheses import list_faults
from pinfolio.plugins.diagnosis.board.operating_point import Boards
from pinfolio.plugins.diagnosis.board.settling import Settled, settle
from pinfolio.plugins.diagnosis.board.severities import Draws
from pinfolio.plugins.diagnosis.board.simulate import simulate_cloud, simulate_failure
from pinfolio.plugins.diagnosis.board.stages.locking import LockingStage
from pinfolio.plugins.diagnosis.board.topology import Topology
from pinfolio.schema import Chip
from pinfolio.schema.chips.data import OutputLimits

CONDITION = {
    "TQZ5752": "colour bars",
    "OGX8132": "1 kHz tone",
    "KYE4728": "colour bars",
    "KYE1916": "colour bars",
    "OGX7342": "colour bars",
    "TQZ3609": "colour bars",
}


class Row(NamedTuple):
    """A hypothesis of a cloud, and how its boards read at a point."""

    cloud: Cloud
    number: int

    def dc_v(self, at: str) -> float:
        return float(np.median(self.cloud.dc_v[self.number, :, self.cloud.column[at]]))

    def vpp_share(self, at: str) -> float:
        column = self.cloud.column[at]
        vpp = float(np.median(self.cloud.vpp_v[self.number, :, column]))
        return vpp / float(self.cloud.healthy_vpp_v[column])

    def shown(self, feature: str) -> float:
        return float(np.median(self.cloud.shown[self.number, :, FEATURES.index(feature)]))


@cache
def read_chip(part: str) -> Chip:
    return load_chip(next(path for path in chip_files() if path.stem == part.lower()))


@cache
def cloud_of(part: str) -> Cloud:
    return simulate_cloud(read_chip(part), CONDITION[part], samples=6)


def find_row(part: str, kind: str, what: str, failure: str) -> Row:
    cloud = cloud_of(part)
    return Row(cloud, cloud.row[(kind, what, failure)])


@pytest.mark.parametrize("part", CONDITION)
def test_a_good_board_reads_as_the_catalogue_says(part: str) -> None:
    chip, cloud = read_chip(part), cloud_of(part)
    for pin in chip.pins:
        expectation = pin.expectation(CONDITION[part])
        if expectation is None or expectation.dc is None:
            continue
        read = cloud.dc_v[0, :, cloud.column[f"pin {pin.number}"]]
        np.testing.assert_allclose(read, expectation.dc.nominal, rtol=2e-3, atol=5e-3)
    assert np.all(cloud.shown[0] == pytest.approx(1.0, abs=0.02))
    assert not cloud.words[0].any()


@pytest.mark.parametrize("part", CONDITION)
def test_nothing_lies_outside_the_rails_by_more_than_what_the_board_has(part: str) -> None:
    """No board invents voltages: within the highest there is, either way."""
    cloud = cloud_of(part)
    highest = np.nanmax(np.abs(cloud.healthy_dc_v))
    peak = float(np.nanmax(np.abs(cloud.dc_v)))
    ends = Topology(read_chip(part), CONDITION[part])
    known = [not ends.leads_outside(point) for point in cloud.points]
    assert np.isfinite(cloud.dc_v[:, :, known]).all()
    assert peak <= 1.6 * max(highest, float(cloud.healthy_vpp_v.max()))


def test_an_open_feed_of_a_sync_separator_loses_sync() -> None:
    broken = find_row("TQZ5752", "part", "R708", "open")
    assert broken.vpp_share("pin 13") < 0.05
    assert broken.shown("line lock") < 0.5
    assert broken.shown("field lock") < 0.5


def test_an_open_supply_feed_takes_the_supply_away() -> None:
    broken = find_row("OGX8132", "part", "R911", "open")
    assert abs(broken.dc_v("pin 30")) < 1.0
    assert broken.shown("sound") < 0.05


def test_a_starved_chip_takes_no_pin_below_ground() -> None:
    broken = find_row("KYE1916", "part", "R675", "open")
    assert broken.dc_v("pin 9") > -0.7


def test_an_open_crystal_capacitor_does_not_raise_the_signal() -> None:
    broken = find_row("OGX7342", "part", "C808", "open")
    assert broken.vpp_share("pin 8") < 0.95
    assert broken.shown("saturation") < 0.05
    assert broken.shown("luminance") > 0.8


def test_a_weak_series_capacitor_lets_the_pin_jump_and_the_crystal_ring_right() -> None:
    """The two sides of the small capacitor read differently: that is the evidence."""
    cloud = cloud_of("KYE4728")
    number = cloud.row[("part", "C406", "open")]
    pin, node = cloud.column["pin 4"], cloud.column["crystal-node"]
    jumps = (cloud.words[number, :, pin] & Seen.UNSTABLE) > 0
    assert 0.2 < jumps.mean() < 0.9
    wild_hz = cloud.frequency_hz[number, jumps, pin]
    assert np.all(wild_hz < 0.9 * cloud.healthy_frequency_hz[pin])
    assert not (cloud.words[number, :, node] & Seen.UNSTABLE).any()


def test_a_leaky_crystal_side_pulls_no_voltage_above_its_supply() -> None:
    broken = find_row("KYE4728", "part", "C406", "shorted")
    assert broken.dc_v("crystal-node") == pytest.approx(broken.dc_v("pin 4"), abs=0.1)


def test_a_missing_rail_darkens_everything_on_it() -> None:
    gone = find_row("KYE4728", "supply", "VCC1", "missing")
    assert abs(gone.dc_v("pin 10")) < 1.0
    assert gone.shown("luminance") < 0.05


def test_a_joint_leaves_the_board_side_without_the_pin() -> None:
    loose = find_row("KYE4728", "joint", "20", "open")
    assert abs(loose.dc_v("crt-red")) < 0.3
    assert loose.shown("red") < 0.05
    assert loose.shown("green") > 0.9


def test_the_same_draw_of_every_fault_is_the_same_board() -> None:
    """A point that a fault does not reach reads the same, draw by draw."""
    cloud = cloud_of("KYE4728")
    number, column = cloud.row[("part", "R416", "open")], cloud.column["pin 2"]
    np.testing.assert_allclose(cloud.dc_v[number, :, column], cloud.dc_v[0, :, column], rtol=1e-5)


def test_one_failure_alone_is_that_of_the_cloud() -> None:
    chip = read_chip("TQZ3609")
    wanted = Hypothesis("joint", "6", "open", "", 1.0)
    cloud = simulate_failure(chip, "colour bars", wanted)
    assert [h.kind for h in cloud.hypotheses] == ["none", "joint"]
    with pytest.raises(KeyError, match="no such fault"):
        simulate_failure(chip, "colour bars", Hypothesis("part", "R9999", "open", "R9999", 1.0))


def limited(chip: Chip, number: int, low: str, high: str) -> Chip:
    """Return the chip with other limits stated for one output."""
    limits = OutputLimits.model_validate({"low": low, "high": high})
    pins = tuple(
        pin.model_copy(update={"output_limits": limits}) if pin.number == number else pin
        for pin in chip.pins
    )
    return chip.model_copy(update={"pins": pins})


def test_an_output_that_lost_its_feedback_stops_at_its_stated_limits() -> None:
    """Without R814 the vertical drive drifts to either end; without limits, near the supply."""
    failure = Hypothesis("part", "R814", "open", "", 1.0)
    chip = limited(read_chip("OGX7342"), 42, "1 V", "5 V")
    cloud = simulate_failure(chip, "colour bars", failure)
    volts = cloud.dc_v[1, :, cloud.column["pin 42"]]
    ends = np.abs(volts[:, None] - np.array([1.0, 5.0])).min(axis=1)
    assert ends.max() < 0.1
    assert {bool(volt > 3) for volt in volts.tolist()} == {True, False}


def settled_good_board(part: str) -> Settled:
    """Return the good boards of a chip with colour bars, at rest."""
    board = build_good_board(Topology(read_chip(part), "colour bars"), Draws(4, 20))
    return settle(Boards(board, list_faults(board)[:1]))


def test_the_range_of_a_loop_is_a_share_of_the_rate_in_its_oscillators_name() -> None:
    """250 kHz of a 6 MHz clock, of which no pin shows the rate: 1 % off is held, 8 % is not."""
    board = build_good_board(Topology(read_chip("MDQ2216"), "colour bars"), Draws(4, 20))
    settled = settle(Boards(board, list_faults(board)[:1]))
    (clock,) = [stage for stage in settled.stages if stage.block.id == "clock-oscillator"]
    assert isinstance(clock, LockingStage)
    assert clock._compute_reach() == pytest.approx(250e3 / 6e6)


def test_a_loop_swings_to_the_ends_that_are_stated_of_its_filter() -> None:
    """Pin 16 of TQZ5752 goes from 2.4 V to 4.8 V: 1.2 V to either side."""
    stages = settled_good_board("TQZ5752").stages
    (line,) = [stage for stage in stages if stage.block.id == "line-oscillator"]
    assert isinstance(line, LockingStage)
    assert line._compute_half_range_v() == pytest.approx(1.2)
    assert line._compute_reach() == pytest.approx(6e3 / 500e3)


def test_more_brightness_is_a_brighter_picture_and_less_a_darker_one() -> None:
    settled = settled_good_board("TQZ5752")
    before = read_features(settled)["brightness"]
    for moved in (0.5, -0.5):
        settled.brightness = np.full_like(settled.brightness, moved)
        assert read_features(settled)["brightness"] == pytest.approx(before * (1 + moved))


def test_a_supply_that_is_gone_has_less_ripple_than_one_that_is_noisy() -> None:
    cloud = cloud_of("TQZ5752")
    ways = [("supply", "VCC2", way) for way in ("missing", "noisy")]
    missing, noisy = (
        float(np.median(cloud.ripple_vpp[cloud.row[way], :, cloud.column["pin 18"]]))
        for way in ways
    )
    assert missing < 0.02
    assert noisy > 3 * missing
