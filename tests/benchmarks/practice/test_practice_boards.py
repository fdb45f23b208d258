"""The boards to practise on: good ones read their catalogue, failed ones follow physics."""

from __future__ import annotations

import pytest
from boards.faults import NO_FAULT, part_fault
from boards.report import Boards

from practice.chips import NAMES, ROUNDED, load_boards
from practice.colour_loops import Crystal, GainLoop, PhaseLoop
from practice.stated import stated_signals

# Good chips, parts and readings of the simulated boards lie within a few per cent; the widest of
# them, sources of 1.5 % on a reference of 1.5 %, and gains of 4 %, hardly ever reach this far.
_DC_SPREAD, _SIGNAL_SPREAD = 0.09, 0.17


@pytest.fixture(params=[name for name in NAMES if name not in ROUNDED])
def boards(request: pytest.FixtureRequest, ngspice: None) -> Boards:
    return load_boards(request.param)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_good_board_reads_its_catalogue(boards: Boards, seed: int) -> None:
    shown = boards.simulate(seed, NO_FAULT)
    dc = {**shown.board.dc, **shown.meter_v}
    for point, stated_v in boards.chip.nominal_v.items():
        assert dc[point] == pytest.approx(stated_v, rel=_DC_SPREAD, abs=0.05), point
    for point, stated in stated_signals(boards.chip.name).items():
        shown_v = shown.signals[point, "vpp"]
        assert shown_v == pytest.approx(stated.peak_to_peak_v, rel=_SIGNAL_SPREAD), point
    assert not shown.symptoms
    assert not shown.words


@pytest.mark.parametrize("name", NAMES)
def test_each_fault_is_listed_once_and_fails_something_that_is_drawn(
    name: str, ngspice: None
) -> None:
    boards = load_boards(name)
    titles = [fault.title for fault in boards.faults]
    assert len(set(titles)) == len(titles) >= 60
    pins, points = set(boards.chip.roles), set(boards.chip.points)
    for fault in boards.faults:
        assert set(fault.parts) <= set(boards.chip.parts), fault.title
        assert {*fault.lifted, *fault.ground_ohms} <= pins, fault.title
        assert {*fault.silent, *fault.outside_v} <= points, fault.title


def test_a_crystal_without_its_load_runs_high_by_the_formula() -> None:
    """fs sqrt(1 + C1 / (C0 + CL)) (Butterworth-Van Dyke): 15 fF, 5 pF, 18 pF of load to 9 pF."""
    crystal = Crystal(4.43361875e6, 18e-12, motional_f=15e-15, holder_f=5e-12)
    pull = 15e-3 / 2 * (1 / 14 - 1 / 23)  # first order, as handbooks give it
    assert crystal.pulled_hz(9e-12) == pytest.approx(4.43361875e6 * pull, rel=0.01)
    assert crystal.pulled_hz(18e-12) == pytest.approx(0, abs=1e-6)


def test_a_gain_loop_hides_what_its_range_covers() -> None:
    """Half the chroma comes out nearly whole, a tenth does not; that is an ACC: common practice."""
    loop = GainLoop(quiet_v=7.4, bars_v=5.5, octave_v=0.95)
    _, half = loop.settle(0.5, 1.0, burst_measured=True)
    _, tenth = loop.settle(0.1, 1.0, burst_measured=True)
    assert loop.settle(1.0, 1.0, burst_measured=True)[1] == pytest.approx(1, rel=1e-3)
    assert 0.6 < half < 1
    assert tenth < 0.4


def test_a_phase_loop_gives_up_beyond_its_pull_in() -> None:
    loop = PhaseLoop(rest_v=5.2, bars_v=5.3, hertz_per_volt=800, pull_in_hz=900)
    held_v, off_hz, locked = loop.settle(400, 1.0, burst=True)
    assert (held_v, off_hz, locked) == (pytest.approx(4.8), 0, True)
    assert loop.settle(1200, 1.0, burst=True)[2] is False


def test_a_cracked_series_capacitor_leaves_the_crystal_right(
    ngspice: None,
) -> None:
    """As met on the bench (common practice); the crystal is good, and gets the blame."""
    shown = load_boards("kye4728").simulate(3, part_fault("C406", "open"))
    assert shown.symptoms == [("no colour",)]
    assert "unstable" in shown.words["pin 4"]
    assert shown.signals["pin 4", "frequency"] == pytest.approx(1e6, rel=0.1)
    assert shown.signals["crystal-node", "frequency"] == pytest.approx(4.43361875e6, rel=1e-4)
    assert shown.signals["crystal-node", "vpp"] < 0.05 * 1.2


def test_less_series_capacitance_runs_high_and_shows_less_at_the_pin(ngspice: None) -> None:
    """22 pF to 8.2 pF before the pin's 100 pF: the load falls from 18.0 to 7.6 pF."""
    shown = load_boards("kye4728").simulate(3, part_fault("C406", "value", 8.2e-12))
    pull = 15e-3 / 2 * (1 / (5 + 7.58) - 1 / (5 + 18.03))  # 15 fF, 5 pF; first order
    high_hz = shown.signals["pin 4", "frequency"] - 4.43361875e6
    assert high_hz == pytest.approx(4.43361875e6 * pull, abs=200)
    divided = 8.2 / 108.2 / (22 / 122)  # capacitances divide the crystal's volts
    assert shown.signals["pin 4", "vpp"] == pytest.approx(0.22 * divided, rel=_SIGNAL_SPREAD)


def test_a_leak_that_outweighs_the_detector_unlocks(ngspice: None) -> None:
    shown = load_boards("mdq4628").simulate(3, part_fault("C308", "leaky", 150e3))
    assert shown.symptoms == [("no colour",)]
    assert shown.signals["pin 11", "frequency"] < 8.867238e6 - 900


def test_leakage_takes_its_share_of_the_charging_current(
    ngspice: None,
) -> None:
    """6 V across 330 kΩ of 3.0 V / 9.6 kΩ; the AFC drags it up by its 600 Hz (chip file)."""
    shown = load_boards("kye2620").simulate(3, part_fault("C501", "leaky", 330e3))
    low = (6.0 / 330e3) / (3.0 / 9.6e3)
    wanted_hz = 15625 * (1 - low) + 600
    assert shown.signals["pin 19", "frequency"] == pytest.approx(wanted_hz, rel=0.01)
    assert shown.symptoms[0] == ("picture tears",)


def test_height_goes_with_the_current_into_the_ramp_capacitor(ngspice: None) -> None:
    """I = C dU/dt: 580 kΩ to the supply become 930 kΩ."""
    shown = load_boards("kye2620").simulate(3, part_fault("R506", "value", 820e3))
    assert shown.signals["pin 12", "vpp"] == pytest.approx(2.4 * 580 / 930, rel=_SIGNAL_SPREAD)
    assert ("little height",) in shown.symptoms


def test_a_tank_without_one_of_its_capacitors_runs_by_thomsons_formula(ngspice: None) -> None:
    """68, 8.2 and 7 pF without the 8.2: any handbook; out of lock, beyond any carrier loop."""
    shown = load_boards("ogx1524").simulate(3, part_fault("C206", "open"))
    wanted_hz = 38.9e6 * (83.2 / 75.0) ** 0.5
    assert shown.signals["pin 10", "frequency"] == pytest.approx(wanted_hz, rel=0.01)
    assert shown.symptoms == [("no picture no sound",)]
