"""Effects of single faults on the demonstration boards, each common practice of the trade."""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.board.cloud import FEATURES, Cloud, Hypothesis, Seen
from pinfolio.plugins.diagnosis.board.simulate import simulate_failure

BARS = "colour bars"


class Broken(NamedTuple):
    """A board with one fault beside the good one."""

    cloud: Cloud

    def dc_v(self, at: str) -> float:
        return float(np.median(self.cloud.dc_v[1, :, self.cloud.column[at]]))

    def vpp_v(self, at: str) -> float:
        return float(np.median(self.cloud.vpp_v[1, :, self.cloud.column[at]]))

    def ripple_v(self, at: str) -> float:
        return float(np.median(self.cloud.ripple_vpp[1, :, self.cloud.column[at]]))

    def good_vpp_v(self, at: str) -> float:
        return float(self.cloud.healthy_vpp_v[self.cloud.column[at]])

    def good_dc_v(self, at: str) -> float:
        return float(self.cloud.healthy_dc_v[self.cloud.column[at]])

    def share_seen(self, at: str, word: Seen) -> float:
        return float(self.words(at, word).mean())

    def words(self, at: str, word: Seen) -> np.ndarray:
        return (self.cloud.words[1, :, self.cloud.column[at]] & word) > 0

    def shown(self, feature: str) -> np.ndarray:
        return self.cloud.shown[1, :, FEATURES.index(feature)]


@cache
def break_board(part: str, kind: str, what: str, failure: str) -> Broken:
    chip = load_chip(next(path for path in chip_files() if path.stem == part.lower()))
    return Broken(simulate_failure(chip, BARS, Hypothesis(kind, what, failure, "", 1.0)))  # type: ignore[arg-type]


def test_a_collector_without_its_load_hangs_at_its_emitter() -> None:
    """6.8 kΩ from 95 V, a rail of which only its name tells."""
    load_open = break_board("MDQ3724", "part", "R316", "open")
    assert 40 < load_open.good_dc_v("cathode-red") < 90
    assert load_open.dc_v("cathode-red") < 5


def test_a_follower_without_its_load_cannot_pull_down() -> None:
    load_open = break_board("KYE4728", "part", "R413", "open")
    assert load_open.vpp_v("pin 20") < 0.7 * load_open.good_vpp_v("pin 20")
    assert load_open.share_seen("pin 20", Seen.DISTORTED) > 0.9


@pytest.mark.parametrize(("part", "ref", "at"), [("MDQ3724", "ZD301", "pin 11"),
                                                ("TQZ5752", "D701", "pin 20")])  # fmt: skip
def test_a_pulse_grows_without_the_diode_that_clips_it(part: str, ref: str, at: str) -> None:
    diode_open = break_board(part, "part", ref, "open")
    assert diode_open.vpp_v(at) > 1.08 * diode_open.good_vpp_v(at)


def test_a_dried_electrolytic_leaves_ripple_on_its_rail() -> None:
    dried = break_board("TQZ5752", "part", "C702", "dried out")
    assert dried.ripple_v("pin 7") > 0.05


def test_a_dried_capacitor_lets_a_picture_sag() -> None:
    """1 µF before a sync separator of some ten kilohms passes field rate, a tenth does not."""
    dried = break_board("KYE2620", "part", "C504", "dried out")
    assert 0.05 < dried.share_seen("pin 5", Seen.DISTORTED) < 0.9
    assert dried.vpp_v("pin 5") == pytest.approx(dried.good_vpp_v("pin 5"), rel=0.1)


def test_a_ramp_that_nothing_charges_stays_at_its_start() -> None:
    open_feed = break_board("KYE2620", "part", "R506", "open")
    assert open_feed.vpp_v("pin 12") < 0.05
    assert open_feed.dc_v("pin 12") < 0.5 * open_feed.good_dc_v("pin 12")
    assert np.median(open_feed.shown("height")) < 0.1


def test_a_field_drive_without_the_yokes_current_runs_to_an_end() -> None:
    no_feedback = break_board("KYE2620", "part", "R512", "open")
    column = no_feedback.cloud.column["pin 14"]
    ends_v = no_feedback.cloud.dc_v[1, :, column]
    away = np.abs(ends_v - no_feedback.good_dc_v("pin 14")) > 1.5
    assert away.mean() > 0.8
    assert np.median(no_feedback.shown("height")) < 0.3


def test_a_switched_pin_swings_to_its_supply_without_the_load_that_held_it() -> None:
    """1 kΩ to 12.4 V; 820 Ω into a base held it at 5.6 V: common divider."""
    unloaded = break_board("KYE2620", "part", "R508", "open")
    assert unloaded.vpp_v("pin 19") == pytest.approx(12.2, rel=0.12)
    assert unloaded.dc_v("pin 19") == pytest.approx(2 * unloaded.good_dc_v("pin 19"), rel=0.2)


def test_a_filter_rests_at_the_reference_of_its_detector() -> None:
    shorted = break_board("KYE2620", "part", "C513", "shorted")
    assert abs(shorted.dc_v("pin 3")) < 0.5
    assert np.median(shorted.shown("line lock")) < 0.5


def test_without_sync_the_line_loop_rests_where_no_signal_leaves_it() -> None:
    dead = break_board("KYE2620", "stage", "sync-separator", "dead")
    assert dead.dc_v("pin 3") == pytest.approx(6.0, abs=0.25)
    assert np.median(dead.shown("line lock")) < 0.5


def test_field_sync_may_go_with_the_lock_of_the_line() -> None:
    """Many chips take field pulses only while the line is in step."""
    off = break_board("KYE2620", "part", "R501", "open")
    unlocked = off.shown("line lock") < 0.5
    rolling = off.shown("field lock")[unlocked] < 0.5
    assert not unlocked.any() or 0 <= rolling.mean() < 1


def test_pins_of_a_chip_whose_supply_pin_came_loose_are_drawn_down() -> None:
    loose = break_board("KYE4728", "joint", "23", "open")
    assert loose.dc_v("pin 23") == pytest.approx(12.0, rel=0.05)
    assert loose.dc_v("pin 18") < 0.6 * loose.good_dc_v("pin 18")


def test_where_a_signal_comes_in_it_is_as_large_as_its_pin_needs() -> None:
    """A coupling capacitor takes hardly anything off; without it the far end is as before."""
    open_coupling = break_board("KYE4728", "part", "C411", "open")
    assert open_coupling.good_vpp_v("delayed-r-y") == pytest.approx(1.05, rel=0.1)
    assert open_coupling.vpp_v("delayed-r-y") == pytest.approx(1.05, rel=0.2)
    assert open_coupling.vpp_v("pin 11") < 0.05


def test_what_leads_out_of_the_drawing_has_no_voltage_to_be_told() -> None:
    cloud = break_board("KYE2620", "part", "R506", "open").cloud
    assert np.isnan(cloud.dc_v[:, :, cloud.column["vertical-output-stage"]]).all()


def test_full_gain_without_a_signal_brings_up_the_noise_that_the_catalogue_states() -> None:
    """2 Vpp of noise at the video output with the aerial unplugged; nobody reads noise alike."""
    filter_open = break_board("OGX1524", "part", "F201", "open")
    assert filter_open.dc_v("pin 5") == pytest.approx(6.4, abs=0.2)  # full gain
    assert 0.8 < filter_open.vpp_v("pin 15") < 2.6
    assert filter_open.share_seen("pin 15", Seen.NOISE) > 0.9


def test_a_carrier_out_of_lock_beats_as_high_as_a_picture_and_shows_none() -> None:
    coil_off = break_board("OGX1524", "part", "C205", "open")
    assert coil_off.vpp_v("pin 15") > 0.7 * coil_off.good_vpp_v("pin 15")
    assert coil_off.share_seen("pin 15", Seen.DISTORTED) > 0.9
    assert np.median(coil_off.shown("luminance")) < 0.1


def test_the_tuner_loses_gain_as_its_control_voltage_falls() -> None:
    decoupling_shorted = break_board("OGX1524", "part", "C203", "shorted")
    assert decoupling_shorted.dc_v("pin 7") < 1.0
    assert decoupling_shorted.vpp_v("pin 1") < 0.3 * decoupling_shorted.good_vpp_v("pin 1")


def test_half_of_a_balanced_input_is_half_of_the_signal() -> None:
    """The gain control makes up for six decibels."""
    joint_open = break_board("OGX1524", "joint", "1", "open")
    assert joint_open.vpp_v("pin 15") > 0.8 * joint_open.good_vpp_v("pin 15")


def test_an_order_from_outside_mutes_the_sound() -> None:
    mute_line = break_board("OGX1524", "outside", "mute-line", "wrong level")
    assert mute_line.dc_v("pin 24") > 2.0
    assert np.median(mute_line.shown("sound")) < 0.1


def test_a_pulse_that_does_not_come_takes_its_mean_along() -> None:
    feed_open = break_board("KYE4728", "part", "R406", "open")
    assert feed_open.dc_v("pin 7") < 0.8 * feed_open.good_dc_v("pin 7")


def test_a_trap_shorted_by_silver_takes_the_picture_away() -> None:
    trap_shorted = break_board("OGX1524", "part", "F202", "shorted")
    assert trap_shorted.dc_v("follower-out") < 0.3
    assert trap_shorted.vpp_v("follower-out") < 0.1


def test_a_dead_reference_leaves_its_pin_at_nothing_or_next_to_it() -> None:
    """No current comes out any more; a junction may leak. Some inputs lose their bias with it."""
    dead = break_board("KYE4728", "stage", "reference", "dead")
    volts = dead.cloud.dc_v[1, :, dead.cloud.column["pin 14"]]
    assert volts.min() < 0.01
    assert 0.1 < volts.max() < 0.12 * dead.good_dc_v("pin 14")


@pytest.mark.parametrize("failure", ["open", "dried out"])
def test_a_line_loop_without_its_flywheel_stays_in_step_and_is_ragged(failure: str) -> None:
    """The slow part of the filter gone, the oscillator follows the noise of each sync pulse."""
    flywheel = break_board("TQZ5752", "part", "C717", failure)
    assert (flywheel.shown("line lock") == 1).all()
    ragged = flywheel.shown("line shape") < 0.8
    assert 0 < ragged.mean() < 1
    assert (ragged == (flywheel.words("pin 17", Seen.UNSTABLE))).all()


def test_a_crystal_loop_without_its_filter_leaves_the_verticals_straight() -> None:
    assert break_board("TQZ5752", "part", "C732", "open").shown("line shape").min() == 1


def test_a_coil_whose_core_has_moved_in_takes_its_oscillator_down() -> None:
    """Thomson: f goes with 1 / sqrt(L C); 5 to 50 % more coil, and what the loop adds in vain."""
    moved = break_board("OGX1524", "part", "L201", "value high")
    column = moved.cloud.column["pin 10"]
    hertz = moved.cloud.frequency_hz[1, :, column] / moved.cloud.healthy_frequency_hz[column]
    assert hertz.max() < 1.001
    assert 0.8 / 1.55**0.5 < hertz.min() < 0.9
