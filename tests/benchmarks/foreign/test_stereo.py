"""The truth of the stereo chip's boards: good ones lie near their sheet, faults obey physics."""

from __future__ import annotations

import math

import pytest
from boards.faults import NO_FAULT, outside_volts, part_fault
from practice.stated import stated_signals

from foreign.stereo_electrics import CHIP, PART
from foreign.stereo_faults import FAULTS
from foreign.stereo_stages import simulate

pytestmark = pytest.mark.usefixtures("ngspice")


@pytest.mark.parametrize("seed", [1, 2])
def test_a_good_board_lies_near_its_sheet(seed: int) -> None:
    shown = simulate(seed, NO_FAULT)
    for point, stated_v in CHIP.nominal_v.items():
        assert shown.board.dc[point] == pytest.approx(stated_v, rel=0.12, abs=0.03), point
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


def test_a_dried_loudspeaker_capacitor_divides_with_the_voice_coil() -> None:
    """R / sqrt(R² + X²), any handbook: 8 Ω behind 6.8 µF at 1 kHz."""
    shown = simulate(1, part_fault("C705", "value", 6.8e-6))
    reactance_ohm = 1 / (2 * math.pi * 1e3 * 6.8e-6)
    share = 8 / math.hypot(8, reactance_ohm)
    assert shown.signals["left-speaker", "vpp"] == pytest.approx(5.5 * share, rel=0.12)
    assert shown.symptoms == [("weak sound",)]


def test_an_open_feedback_foot_leaves_a_gain_of_one() -> None:
    """1 + Rf / R becomes 1 (non-inverting amplifier, any textbook): 92 times less, inaudible."""
    shown = simulate(1, part_fault("R704", "open"))
    assert shown.signals["pin 18", "vpp"] == pytest.approx(5.5 / (1 + 6200 / 68), rel=0.15)
    assert shown.symptoms[0][0] == "one channel silent"


def test_a_sound_that_falls_silent_lets_the_rail_rise() -> None:
    """Two stages of 115 mA behind the rail's 1.6 Ω and the fuse's 0.47 Ω (Ohm's law)."""
    good, muted = simulate(1, NO_FAULT), simulate(1, outside_volts("mute-line", 5.0))
    risen_v = muted.board.dc["pin 17"] - good.board.dc["pin 17"]
    assert risen_v == pytest.approx(0.23 * (1.6 + 0.47), rel=0.1)
    assert muted.symptoms == [("no sound",)]


def test_balance_at_its_end_silences_one_side_only() -> None:
    shown = simulate(1, outside_volts("balance-line", 0.2))
    assert shown.signals["right-speaker", "vpp"] < 0.1
    assert shown.signals["left-speaker", "vpp"] > 5
