"""The truth of the countdown chip's boards: good ones lie near their sheet, faults obey physics."""

from __future__ import annotations

import pytest
from boards.faults import NO_FAULT, missing_signal, outside_volts, part_fault
from practice.stated import stated_signals

from foreign.countdown_electrics import CHIP, PART
from foreign.countdown_faults import FAULTS
from foreign.countdown_stages import simulate

pytestmark = pytest.mark.usefixtures("ngspice")


@pytest.mark.parametrize("seed", [1, 2])
def test_a_good_board_lies_near_its_sheet(seed: int) -> None:
    shown = simulate(seed, NO_FAULT)
    dc = {**shown.board.dc, **shown.meter_v}
    for point, stated_v in CHIP.nominal_v.items():
        assert dc[point] == pytest.approx(stated_v, rel=0.16, abs=0.03), point
    for point, stated in stated_signals(PART).items():
        shown_v = shown.signals[point, "vpp"]
        assert shown_v == pytest.approx(stated.peak_to_peak_v, rel=0.25), point
    assert not shown.symptoms
    assert not shown.words


def test_each_fault_is_listed_once_and_fails_something_that_is_drawn() -> None:
    titles = [fault.title for fault in FAULTS]
    assert len(set(titles)) == len(titles) >= 60
    for fault in FAULTS:
        assert set(fault.parts) <= set(CHIP.parts), fault.title
        assert {*fault.lifted, *fault.ground_ohms} <= set(CHIP.roles), fault.title
        assert {*fault.silent, *fault.outside_v} <= set(CHIP.points), fault.title


def test_without_its_start_the_set_is_dead_though_the_mains_part_works() -> None:
    shown = simulate(1, part_fault("R603", "open"))
    assert shown.board.dc["rail-150v"] == pytest.approx(152, rel=0.02)
    assert shown.board.dc["rail-12v"] == pytest.approx(0, abs=0.1)
    assert shown.symptoms == [("no line drive",)]


def test_without_its_12_volts_the_line_runs_on_the_start_alone() -> None:
    """152 V over 18 kΩ into the line part's 1.17 kΩ are 9.3 V (Ohm's law): it goes on."""
    shown = simulate(1, outside_volts("rail-12v", 0.0))
    line_part_ohm = 11.5 / 9.8e-3
    started_v = 152 * line_part_ohm / (18e3 + line_part_ohm)
    assert shown.board.dc["pin 5"] == pytest.approx(started_v, rel=0.05)
    assert shown.symptoms[0][0] == "no picture no sound"


def test_a_protection_divider_without_its_foot_stops_the_drive() -> None:
    assert simulate(1, part_fault("R612", "open")).symptoms == [("no line drive",)]


def test_the_ramp_goes_with_current_over_capacitance() -> None:
    """I = C dU/dt (any textbook): half as much capacitance again leaves two thirds."""
    shown, good = simulate(1, part_fault("C613", "value", 150e-9)), simulate(1, NO_FAULT)
    share = shown.signals["pin 15", "vpp"] / good.signals["pin 15", "vpp"]
    assert share == pytest.approx(100 / 150, rel=0.05)
    assert shown.symptoms == [("little height",)]


def test_without_flyback_the_lock_is_kept_and_the_sound_is_muted() -> None:
    shown = simulate(1, missing_signal("flyback-winding"))
    assert shown.signals["pin 7", "frequency"] == pytest.approx(500e3, rel=1e-6)
    assert [names[0] for names in shown.symptoms] == ["ragged lines", "no sound"]
