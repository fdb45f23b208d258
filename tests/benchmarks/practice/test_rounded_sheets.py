"""Boards whose sheets round their figures: good ones lie within the limits, as good sets do."""

from __future__ import annotations

from pathlib import Path

import pytest
from boards.faults import NO_FAULT, part_fault
from boards.hunt import call_pinfolio
from pinfolio.schema.chips.limits import Limits, find_limits

from practice.chips import ROUNDED, load_boards
from practice.stated import BARS, load_chip

# One chip and its parts of many: a sheet's limits hold for nineteen of twenty, common practice.
_SPREAD = 0.05
_LEAST_V, _COUNTABLE_V = 0.02, 0.02
_FAR = 0.01  # a figure that agrees with the circuit to a per cent was not rounded


def find_stated(part: str) -> dict[str, dict[str, Limits]]:
    """Return the limits that a chip file states on colour bars, by point and quantity."""
    chip = load_chip(part)
    places = {f"pin {pin.number}": pin for pin in chip.pins}
    places |= {node.id: node for node in chip.application.nodes}
    return {
        point: find_limits(place, expected)
        for point, place in places.items()
        for expected in place.expectations
        if expected.condition == BARS
    }


@pytest.mark.parametrize("name", ROUNDED)
@pytest.mark.parametrize("seed", [1, 2])
def test_a_good_board_lies_within_its_sheet(name: str, seed: int, ngspice: None) -> None:
    boards = load_boards(name)
    shown = boards.simulate(seed, NO_FAULT)
    dc = {**shown.board.dc, **shown.meter_v}
    off = []
    for point, limits in find_stated(boards.chip.name).items():
        for quantity, limit in limits.items():
            uncountable = shown.signals.get((point, "vpp"), 0.0) < _COUNTABLE_V
            if quantity == "resistance" or (quantity == "frequency" and uncountable):
                continue
            read = dc[point] if quantity == "dc" else shown.signals[point, quantity]
            slack = _SPREAD * abs(limit.typ) + _LEAST_V * (quantity == "dc")
            assert limit.low - slack <= read <= limit.high + slack, (point, quantity)
            off.append(abs(read / limit.typ - 1) if limit.typ else 0.0)
    assert sum(share > _FAR for share in off) > len(off) / 3  # makers round, and so does this one
    assert not shown.symptoms
    assert not shown.words


@pytest.mark.parametrize("name", ROUNDED)
def test_its_chip_file_has_no_fault_and_is_marked_as_invented(name: str) -> None:
    path = Path(__file__).parent / name / f"{name}.yaml"
    code, text = call_pinfolio("lint", "--json", str(path))
    assert code == 0, text
    assert "invented: yes" in path.read_text(encoding="utf-8")


def test_a_leak_beyond_the_detector_s_charge_takes_the_agc_down(ngspice: None) -> None:
    """50 µA into 470 kΩ beside 33 kΩ are 1.54 V (Ohm's law): too much gain."""
    shown = load_boards("pzk3128").simulate(1, part_fault("C105", "leaky", 33e3))
    parallel_ohm = 470e3 * 33e3 / (470e3 + 33e3)
    assert shown.board.dc["pin 4"] == pytest.approx(50e-6 * parallel_ohm, rel=0.05)
    assert shown.symptoms == [("too much contrast",)]


def test_a_dried_loudspeaker_capacitor_divides_with_the_voice_coil(ngspice: None) -> None:
    """8 Ω behind 4.7 µF at 1 kHz: R / sqrt(R² + X²) with X = 33.9 Ω."""
    shown = load_boards("pzk3128").simulate(1, part_fault("C119", "value", 4.7e-6))
    share = 8.0 / (8.0**2 + 33.9**2) ** 0.5
    assert shown.signals["speaker", "vpp"] == pytest.approx(5.2 * share, rel=0.12)
    assert ("weak sound",) in shown.symptoms


def test_a_line_capacitor_of_another_value_runs_by_its_charging_time(ngspice: None) -> None:
    """t = R C ln((V - low) / (V - high)), discharge alike: hertz go as 1 / C (any handbook)."""
    shown = load_boards("hvq2460").simulate(1, part_fault("C406", "value", 3.9e-9))
    pulled_hz = 700.0  # the loop drags it back as far as its 2 V go
    free_hz = 15625 * 4.7 / 3.9
    assert shown.signals["pin 14", "frequency"] == pytest.approx(free_hz - pulled_hz, rel=0.03)
    assert shown.symptoms == [("picture tears",)]


def test_a_yoke_without_current_feedback_is_driven_by_the_rest_s_divider(ngspice: None) -> None:
    """Then volts are fed back, 10 of 57: the scan shrinks to about a third, and stays linear."""
    shown = load_boards("hvq2460").simulate(1, part_fault("C415", "open"))
    returned_v = shown.signals["pin 10", "vpp"] * 10 / 57
    assert returned_v == pytest.approx(1.35, rel=0.15)  # the ramp's share, as sine and as sawtooth
    assert shown.symptoms == [("little height",)]


def test_without_line_drive_the_rail_that_it_makes_is_gone(ngspice: None) -> None:
    """A rail rectified from the line output stage falls with it: common practice."""
    shown = load_boards("hvq2460").simulate(1, part_fault("R412", "open"))
    assert shown.board.dc["rail-24v"] == pytest.approx(0, abs=0.01)
    assert shown.board.dc["pin 22"] == pytest.approx(8.2, rel=0.05)


def test_a_crystal_between_two_pins_is_pulled_by_both_its_capacitors(ngspice: None) -> None:
    """12 pF for 33 pF at one pin: 15 and 36 pF in series load it with 10.6 pF, not 18."""
    shown = load_boards("jxt2814").simulate(1, part_fault("C211", "value", 12e-12))
    pull = 14e-3 / 2 * (1 / (5 + 10.59) - 1 / (5 + 18))  # 14 fF, 5 pF; first order, as in handbooks
    high_hz = shown.signals["pin 26", "frequency"] - 3.579545e6
    assert high_hz == pytest.approx(3.579545e6 * pull, abs=120)  # and the trimmer's setting
    assert shown.symptoms == [("no colour",)]


def test_a_leaky_killer_store_kills_good_chroma(ngspice: None) -> None:
    """7.7 V behind 250 kΩ into 470 kΩ are 5.0 V, below the threshold; the loops stay good."""
    shown = load_boards("jxt2814").simulate(1, part_fault("C210", "leaky", 470e3))
    assert shown.board.dc["pin 17"] == pytest.approx(7.7 * 470 / 720, rel=0.05)
    assert shown.board.dc["pin 11"] == pytest.approx(5.05, rel=0.05)
    assert shown.symptoms == [("no colour",)]


def test_a_delay_line_without_its_end_doubles_the_picture(ngspice: None) -> None:
    """Matched at one end, R / (R + R) becomes 1: twice the volts, and echoes (any handbook)."""
    shown = load_boards("jxt2814").simulate(1, part_fault("R202", "open"))
    assert shown.signals["dl-out", "vpp"] == pytest.approx(2 * 0.94, rel=0.15)
    assert shown.symptoms == [("too much contrast",)]
    assert "distorted" in shown.words["dl-out"]


def test_a_leaky_clamp_store_darkens_its_colour_by_its_divider(ngspice: None) -> None:
    """5.65 V behind 1 MΩ into 6.8 MΩ are 4.9 V: red is drawn down, its cathode goes up."""
    boards = load_boards("ryw5230")
    shown, good = (
        boards.simulate(1, part_fault("C309", "leaky", 6.8e6)),
        boards.simulate(1, NO_FAULT),
    )
    assert shown.board.dc["pin 10"] == pytest.approx(5.65 * 6.8 / 7.8, rel=0.04)
    assert shown.board.dc["cathode-red"] > good.board.dc["cathode-red"] + 15
    assert shown.board.dc["cathode-green"] == pytest.approx(good.board.dc["cathode-green"], abs=6)
    assert ("colour cast",) in shown.symptoms


def test_an_open_collector_load_floods_its_colour_and_wakes_the_limiter(ngspice: None) -> None:
    """A cathode near ground draws all the beam it can: common practice; the limiter answers."""
    shown = load_boards("ryw5230").simulate(1, part_fault("R342", "open"))
    assert shown.board.dc["cathode-green"] < 10
    assert shown.board.dc["pin 7"] < 5
    assert shown.signals["pin 14", "vpp"] < 1.5
    assert shown.symptoms[0] == ("colour cast",)


def test_without_r_y_the_red_bars_are_those_of_luminance(ngspice: None) -> None:
    """R = Y + (R-Y): alone, Y steps down through all bars (BT.470), of the same height."""
    shown = load_boards("ryw5230").simulate(1, part_fault("C301", "open"))
    assert shown.signals["pin 14", "vpp"] == pytest.approx(1.88, rel=0.1)
    assert "distorted" in shown.words["pin 14"]
    assert shown.symptoms == [("wrong hue",)]
