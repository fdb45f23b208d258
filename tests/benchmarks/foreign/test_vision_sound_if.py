"""The truth of the vision and sound IF's boards: good ones read the sheet, faults obey physics."""

from __future__ import annotations

import math

import pytest
from boards.bench import Shown
from boards.faults import dead_stage, missing_signal, part_fault

from foreign.if_electrics import CHIP
from foreign.if_faults import IF_BOARDS
from foreign.if_stages import simulate
from foreign.test_rgb_amplifier import assert_faults_name_what_is_drawn

pytestmark = pytest.mark.usefixtures("ngspice")


@pytest.fixture(scope="module")
def good(ngspice: None) -> Shown:
    return simulate(None)


def test_a_good_board_reads_its_sheet(good: Shown) -> None:
    for point, nominal_v in CHIP.nominal_v.items():
        assert good.board.dc[point] == pytest.approx(nominal_v, rel=0.05, abs=0.11), point
    for point, nominal_v in CHIP.peak_to_peak_v.items():
        assert good.signals[point, "vpp"] == pytest.approx(nominal_v, rel=0.1), point
    assert not good.symptoms


def test_the_coils_resonate_where_they_should() -> None:
    # Thomson: 1 / (2 pi sqrt(LC)); 0.27 µH with 56 pF and 6 pF of pins, coil and board.
    assert 1 / (2 * math.pi * math.sqrt(0.27e-6 * 62e-12)) == pytest.approx(38.9e6, rel=0.01)
    parts = CHIP.parts
    assert (parts["L401"].value, parts["C408"].value) == (0.27e-6, 56e-12)


def test_a_follower_is_a_diode_drop_below_its_base(good: Shown) -> None:
    drop_v = good.board.dc["video-base"] - good.board.dc["video-line"]
    assert drop_v == pytest.approx(0.7, abs=0.08)


def test_a_line_is_driven_through_its_matching_resistor(good: Shown) -> None:
    heights = [good.signals[point, "vpp"] for point in ("video-socket", "video-out")]
    assert heights[0] / heights[1] == pytest.approx(0.5, rel=0.01)


def test_without_carrier_there_is_noise_at_full_gain() -> None:
    shown = simulate(None, missing_signal("if-in"))
    assert shown.board.dc["pin 3"] == pytest.approx(7.4, rel=0.01)
    assert "unstable" in shown.words["pin 13"]
    assert "snow" in shown.symptoms[0]


def test_an_open_sound_coupling_stops_the_tone_and_leaves_both_biases(good: Shown) -> None:
    shown = simulate(None, part_fault("C416", "open"))
    assert shown.signals["pin 20", "vpp"] == pytest.approx(0.8, rel=0.25)
    assert shown.signals["pin 21", "vpp"] < 0.01
    for pin in ("pin 20", "pin 21"):
        assert shown.board.dc[pin] == pytest.approx(good.board.dc[pin], rel=0.01)
    assert shown.symptoms == [("no sound",)]


def test_a_leaky_agc_store_holds_the_gain_down() -> None:
    shown = simulate(None, part_fault("C406", "leaky", 100e3))
    assert shown.board.dc["pin 3"] == pytest.approx(2.0, rel=0.05)  # 20 µA through 100 kΩ
    assert shown.signals["pin 13", "vpp"] < 0.2
    assert shown.symptoms[0][0] == "no picture no sound"


def test_without_its_detector_the_agc_lets_all_overload() -> None:
    shown = simulate(None, dead_stage("agc-detector"))
    assert shown.board.dc["pin 3"] > 7
    assert shown.symptoms[0][0] == "picture tears and rolls"


def test_a_shorted_tuner_agc_takes_the_tuners_gain(good: Shown) -> None:
    shown = simulate(None, part_fault("C407", "shorted"))
    assert shown.board.dc["tuner-agc"] < 0.1
    assert shown.board.dc["pin 3"] > good.board.dc["pin 3"] + 1
    assert "snow" in shown.symptoms[0]


def test_an_open_aft_divider_mistunes() -> None:
    shown = simulate(None, part_fault("R408", "open"))
    assert shown.board.dc["aft-line"] < 3
    assert shown.symptoms[0][0] == "mistuned"


def test_every_fault_names_what_is_drawn() -> None:
    assert_faults_name_what_is_drawn(IF_BOARDS)
