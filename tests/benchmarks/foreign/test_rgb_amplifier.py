"""The truth of the RGB amplifier's boards: good ones read their sheet, faults obey physics."""

from __future__ import annotations

import math

import pytest
from boards.bench import Shown
from boards.faults import missing_signal, open_joint, outside_volts, part_fault
from boards.report import Boards

from foreign.rgb_electrics import CHIP
from foreign.rgb_faults import RGB_BOARDS
from foreign.rgb_stages import simulate

pytestmark = pytest.mark.usefixtures("ngspice")


@pytest.fixture(scope="module")
def good(ngspice: None) -> Shown:
    return simulate(None)


def test_a_good_board_reads_its_sheet(good: Shown) -> None:
    for point, nominal_v in CHIP.nominal_v.items():
        volts = good.meter_v.get(point, good.board.dc[point])
        assert volts == pytest.approx(nominal_v, rel=0.08, abs=0.05), point
    for point, nominal_v in CHIP.peak_to_peak_v.items():
        assert good.signals[point, "vpp"] == pytest.approx(nominal_v, rel=0.1), point
    assert not good.symptoms


def test_the_spread_of_parts_alone_is_no_fault() -> None:
    assert not simulate(3).symptoms


def test_the_loops_give_each_gun_its_own_black(good: Shown) -> None:
    # Green cuts off at the lowest cathode voltage, so it needs the most drive at black.
    stores = [good.board.dc[pin] for pin in ("pin 17", "pin 21", "pin 19")]
    assert stores == sorted(stores)


def test_an_amplifier_has_the_gain_of_its_two_resistors(good: Shown) -> None:
    # Collector over emitter resistance, the transistor's own emitter resistance of 25 mV over its
    # current added (textbook); a little less for the finite resistance of the collector.
    current_a = good.board.dc["red-emitter"] / 560
    gain = 12e3 / (560 + 25e-3 / current_a)
    shown = good.signals["red-collector", "vpp"] / good.signals["red-base", "vpp"]
    assert shown == pytest.approx(gain, rel=0.03)


def test_an_open_coupling_capacitor_stops_the_signal_and_leaves_the_clamp(good: Shown) -> None:
    shown = simulate(None, part_fault("C203", "open"))
    assert shown.signals["ry-in", "vpp"] == pytest.approx(1.05, rel=0.02)
    assert shown.signals["pin 1", "vpp"] < 0.01
    assert shown.board.dc["pin 1"] == pytest.approx(good.board.dc["pin 1"], rel=0.01)
    assert shown.symptoms[0][0] == "wrong hue"


def test_without_luminance_red_is_red_less_luma(good: Shown) -> None:
    shown = simulate(None, missing_signal("y-in"))
    # The R-Y of bars runs from +0.701 to -0.701 (ITU-R BT.601 luma), a red signal from 0 to 1.
    share = shown.signals["pin 16", "vpp"] / good.signals["pin 16", "vpp"]
    saturation = (shown.board.dc["pin 9"] - 1.9) / 0.9
    assert share == pytest.approx(2 * 0.701 * saturation, rel=0.02)


def test_without_dark_current_the_screen_stays_blanked_and_all_stores_run_up() -> None:
    shown = simulate(None, part_fault("R208", "open"))
    assert shown.symptoms == [("no picture", "dark picture")]
    assert all(shown.board.dc[pin] > 7.5 for pin in ("pin 17", "pin 19", "pin 21"))
    assert shown.board.dc["pin 26"] < 1


def test_an_open_output_transistor_takes_one_colour_and_its_loop_to_the_end(good: Shown) -> None:
    shown = simulate(None, part_fault("Q231", "open"))
    assert shown.symptoms[0][0] == "no green"
    assert shown.board.dc["pin 19"] > 7.5
    assert shown.board.dc["green-collector"] > 175
    assert shown.board.dc["pin 17"] == pytest.approx(good.board.dc["pin 17"], rel=0.02)


def test_an_open_load_floods_the_screen_with_its_colour() -> None:
    shown = simulate(None, part_fault("R223", "open"))
    assert shown.board.dc["red-collector"] < 60
    assert shown.symptoms[0][0] == "too much red"
    assert shown.board.dc["pin 10"] < 5  # and the beam limiter does what it can


def test_without_the_high_rail_the_screen_is_bright() -> None:
    shown = simulate(None, outside_volts("rail-180v", 0.0))
    assert shown.symptoms[0][0] == "too bright"


def test_a_dry_joint_at_an_output_is_seen_at_the_pad() -> None:
    shown = simulate(None, open_joint("pin 20"))
    assert shown.board.dc["pin 20"] < 0.7
    assert shown.symptoms[0][0] == "no blue"


def test_every_fault_names_what_is_drawn() -> None:
    assert_faults_name_what_is_drawn(RGB_BOARDS)


def assert_faults_name_what_is_drawn(boards: Boards) -> None:
    chip = boards.chip
    titles = [fault.title for fault in boards.faults]
    assert len(set(titles)) == len(titles)
    blocks = chip.stages
    for fault in boards.faults:
        assert set(fault.parts) <= set(chip.parts), fault.title
        assert {*fault.lifted, *fault.ground_ohms} <= set(chip.roles), fault.title
        assert {*fault.silent, *fault.outside_v} <= set(chip.points), fault.title
        assert fault.dead_stage is None or fault.dead_stage in blocks, fault.title
        assert all(math.isfinite(failure.figure) for failure in fault.parts.values())
