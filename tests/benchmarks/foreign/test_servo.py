"""The truth of the recorder servo's boards: good ones read their sheet, faults obey physics."""

from __future__ import annotations

import pytest
from boards.bench import Shown
from boards.faults import dead_stage, missing_signal, open_joint, outside_volts, part_fault

from foreign.servo_electrics import CHIP
from foreign.servo_faults import SERVO_BOARDS
from foreign.servo_stages import simulate
from foreign.test_rgb_amplifier import assert_faults_name_what_is_drawn

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
    for point, nominal_hz in CHIP.frequency_hz.items():
        assert good.signals[point, "frequency"] == pytest.approx(nominal_hz, rel=1e-6), point
    assert not good.symptoms


def test_the_spread_of_parts_and_motors_alone_is_no_fault() -> None:
    for seed in range(5):
        assert not simulate(seed).symptoms


def test_phase_takes_up_what_a_motor_needs_more(good: Shown) -> None:
    # Seeds 4 and 0 differ in what the drum needs; the speed is exact for both.
    phases = {seed: simulate(seed).board.dc["pin 11"] for seed in range(5)}
    assert max(phases.values()) - min(phases.values()) > 0.3
    assert simulate(1).signals["pin 6", "frequency"] == pytest.approx(600.0, rel=1e-9)


def test_without_its_generator_the_drum_races() -> None:
    shown = simulate(None, part_fault("C308", "open"))
    assert shown.signals["fg-node", "frequency"] > 900
    assert shown.signals["pin 6", "vpp"] < 0.01
    assert shown.board.dc["pin 10"] > 8
    assert ("no picture",) in shown.symptoms


def test_without_phase_the_speed_is_a_little_off_and_the_picture_muted() -> None:
    shown = simulate(3, part_fault("R310", "open"))
    hertz = shown.signals["pin 6", "frequency"]
    assert hertz != pytest.approx(600.0, rel=1e-5)
    assert hertz == pytest.approx(600.0, rel=5e-3)
    assert shown.board.dc["pin 29"] > 8


def test_without_control_pulses_only_the_capstan_loses_its_phase(good: Shown) -> None:
    shown = simulate(None, missing_signal("ctl-in"))
    assert shown.board.dc["pin 16"] < 0.5
    assert shown.signals["pin 6", "frequency"] == pytest.approx(600.0, rel=1e-9)
    assert shown.symptoms == [("noise bar", "noise bars through the picture", "snow")]


def test_without_clock_both_motors_stop() -> None:
    shown = simulate(None, part_fault("X301", "open"))
    assert shown.signals["fg-in", "vpp"] == 0
    assert shown.board.dc["drum-drive"] < 0.5
    assert shown.board.dc["capstan-drive"] < 0.5


def test_less_load_capacitance_pulls_the_crystal_up() -> None:
    shown = simulate(None, part_fault("C304", "open"))
    # Load from 18.5 pF to 3.6 pF, motional 14 fF, holder 5.5 pF: C1/2 (1/(C0+CL') - 1/(C0+CL)).
    pull = 14e-15 / 2 * (1 / (5.5e-12 + 3.61e-12) - 1 / (5.5e-12 + 18.5e-12))
    assert shown.signals["pin 2", "frequency"] == pytest.approx(3.2e6 * (1 + pull), rel=1e-6)


def test_without_its_speed_detector_the_drum_hunts() -> None:
    for fault in (part_fault("R309", "open"), open_joint("pin 10")):
        assert "unstable" in simulate(None, fault).words["pin 6"]


def test_an_open_damping_capacitor_makes_the_drum_hunt() -> None:
    shown = simulate(None, part_fault("C313", "open"))
    assert "unstable" in shown.words["pin 6"]
    assert shown.signals["drum-drive", "vpp"] > 0.4


def test_a_monostable_takes_its_time_from_its_parts(good: Shown) -> None:
    # R306 and half of VR301 with C310, to half of the supply: 0.69 RC; the mean of the sawtooth.
    seconds = 0.693 * (56e3 + 47e3 / 2) * 100e-9
    assert good.meter_v["pin 7"] == pytest.approx(0.1 + 4.2 / 2 * seconds / 0.04, rel=0.02)


def test_a_stuck_monostable_leaves_the_head_switch_where_it_is() -> None:
    assert simulate(None, part_fault("C310", "shorted")).board.dc["pin 9"] < 0.5
    assert simulate(None, part_fault("C311", "shorted")).board.dc["pin 9"] > 4.5


def test_a_leak_at_the_sum_leaves_the_motor_slow_and_the_detector_at_its_end() -> None:
    shown = simulate(None, part_fault("C313", "shorted"))
    assert shown.board.dc["pin 10"] > 8
    assert 300 < shown.signals["pin 6", "frequency"] < 598


def test_without_command_the_capstan_stops_and_the_drum_runs() -> None:
    shown = simulate(None, outside_volts("capstan-line", 0.0))
    assert shown.board.dc["pin 25"] < 0.2
    assert shown.signals["cfg-in", "vpp"] == 0
    assert shown.signals["pin 6", "frequency"] == pytest.approx(600.0, rel=1e-9)


def test_a_dead_lock_detector_mutes_a_good_picture() -> None:
    shown = simulate(None, dead_stage("lock-detector"))
    assert shown.symptoms == [("no picture",)]
    assert shown.signals["head-switch", "frequency"] == pytest.approx(25.0, rel=1e-9)


def test_every_fault_names_what_is_drawn() -> None:
    assert_faults_name_what_is_drawn(SERVO_BOARDS)
