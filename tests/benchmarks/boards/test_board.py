"""The boards' truth against elements by the textbook."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from boards.bench import Bench, Shown
from boards.board import Board, calibrate
from boards.circuit import Electrics, Inside, Outside
from boards.drawn_chip import read_chip
from boards.faults import (
    Fault,
    ground_joint,
    missing_signal,
    open_joint,
    outside_volts,
    part_fault,
    things_to_name,
)
from boards.hunt import next_step, rank_things

CHIP = """
part: QZ77
supplies: [{name: VCC, pins: [1], voltage: 12 V}]
application:
  parts:
    - {ref: R1, kind: resistor, value: 100R, joins: [rail-12v, pin 1]}
    - {ref: C1, kind: capacitor, value: 100n, joins: [signal-in, pin 2]}
    - {ref: R2, kind: resistor, value: 10k, joins: [pin 4, foot]}
    - {ref: R3, kind: resistor, value: 10k, joins: [foot, ground]}
    - {ref: D1, kind: diode, joins: [foot, ground]}
  nodes:
    - {id: rail-12v, name: rail, expectations: [{condition: bars, dc: 12 V}]}
    - {id: signal-in, name: input}
    - {id: foot, name: foot}
pins:
  - {number: 1, role: supply, expectations: [{condition: bars, dc: 11 V}]}
  - {number: 2, role: input, expectations: [{condition: bars, dc: 3 V}]}
  - {number: 3, role: ground, expectations: [{condition: bars, dc: 0 V}]}
  - {number: 4, role: output,
     expectations: [{condition: bars, dc: 1 V,
       waveform: {kind: sine, frequency: 1 kHz, vpp: 2 Vpp}}]}
"""


@pytest.fixture
def good(tmp_path: Path, ngspice: None) -> Board:
    path = tmp_path / "qz77.yaml"
    path.write_text(CHIP, encoding="utf-8")
    electrics = Electrics(
        read_chip(path, "bars"),
        insides={"pin 2": Inside(10e3, "pin 1"), "pin 4": Inside(100.0, "pin 1", ground="pin 3")},
        outsides={"rail-12v": Outside(12.0, 0.1), "signal-in": Outside(0.0, 1.0)},
        supply_grounds={"pin 1": "pin 3"},
    )
    return Board(electrics, calibrate(electrics))


def with_fault(board: Board, fault: Fault) -> Board:
    return replace(board, fault=fault)


def test_a_chip_file_is_read_in_si_units(good: Board) -> None:
    chip = good.electrics.chip
    assert (chip.parts["C1"].value, chip.parts["R2"].value) == (100e-9, 10e3)
    assert (chip.peak_to_peak_v["pin 4"], chip.frequency_hz["pin 4"]) == (2.0, 1000.0)


def test_a_good_board_reads_its_catalogue(good: Board) -> None:
    for point, volts in good.electrics.chip.nominal_v.items():
        assert good.dc[point] == pytest.approx(volts, rel=2e-3, abs=1e-3)


def test_a_supply_takes_what_ohms_law_says_of_its_feed(good: Board) -> None:
    assert good.drive.supply_a["pin 1"] == pytest.approx((12 - 11) / 100, rel=0.01)


def test_an_open_feed_leaves_the_supply_dead_and_the_rail_up(good: Board) -> None:
    board = with_fault(good, part_fault("R1", "open"))
    assert board.dc["pin 1"] < 0.1
    assert board.dc["rail-12v"] == pytest.approx(12, abs=0.01)


def test_an_open_coupling_capacitor_stops_the_signal_and_leaves_the_bias(good: Board) -> None:
    run = {"audio": (1000.0, {"signal-in": 1.0})}
    whole = abs(good.transfers(run)["audio"]["pin 2"])
    # First-order high-pass: R over the impedance of R and C in series (textbook).
    reactance_ohm = 1 / (2 * math.pi * 1000.0 * 100e-9)
    assert whole == pytest.approx(10e3 / math.hypot(10e3 + 1, reactance_ohm), rel=1e-3)
    board = with_fault(good, part_fault("C1", "open"))
    assert abs(board.transfers(run)["audio"]["pin 2"]) < 1e-3
    assert board.dc["pin 2"] == pytest.approx(3.0, rel=1e-3)


def test_a_signal_that_does_not_come_drives_nothing(good: Board) -> None:
    board = with_fault(good, missing_signal("signal-in"))
    assert abs(board.transfers({"audio": (1e3, {"signal-in": 1.0})})["audio"]["pin 2"]) < 1e-9


def test_a_lifted_pin_leaves_its_pad_without_its_source(good: Board) -> None:
    assert with_fault(good, open_joint("pin 4")).dc["pin 4"] < 0.01


def test_a_ground_joint_lifts_its_pin_by_the_supply_current(good: Board) -> None:
    board = with_fault(good, ground_joint("pin 3", 50.0))
    # 10 mA through 50 ohm; the supply is then less above it, and takes a little less.
    assert board.dc["pin 3"] == pytest.approx(0.5, rel=0.1)


def test_a_low_rail_takes_the_outputs_down_in_proportion(good: Board) -> None:
    board = with_fault(good, outside_volts("rail-12v", 5.0))
    share = board.dc["pin 1"] / (0.85 * 11)
    assert board.dc["pin 4"] == pytest.approx(1.0 * share, rel=0.02)


def test_a_meter_loads_what_it_reads(good: Board) -> None:
    loaded = good.meter_dc("pin 2")
    assert loaded == pytest.approx(good.dc["pin 2"] * 10e6 / (10e6 + 10e3), rel=1e-4)


def test_resistance_with_the_set_off(good: Board) -> None:
    assert good.ohms("pin 4", "foot") == pytest.approx(1 / (1 / 10e3 + 1 / 22e3), rel=0.01)
    assert good.ohms("ground", "foot") == pytest.approx(good.ohms("foot"), rel=1e-3)
    assert with_fault(good, part_fault("D1", "shorted")).ohms("foot") == pytest.approx(0.2, abs=0.1)


def test_readings_are_written_as_the_command_takes_them(good: Board) -> None:
    board = with_fault(good, part_fault("R2", "value", 22e3))
    shown = Shown(board, {("pin 4", "frequency"): 1000.0}, {"pin 2": ["distorted"]})
    bench = Bench(shown, seed=1)
    assert bench.read("pin 4", "frequency").startswith("4 freq=1000.0")
    assert bench.read("pin 2", "vpp").endswith("Vpp seen=distorted")
    assert bench.read("pin 2", "frequency") == "2 seen=missing"
    assert bench.read("R2", "out of circuit").startswith("R2 measures 2")
    assert bench.read("R3", "out of circuit") == "R3: good"


def test_the_stages_of_a_chip_are_one_suspect() -> None:
    suspects = [
        {"kind": "part", "what": "C1", "probability": 0.4},
        {"kind": "stage", "what": "mixer", "probability": 0.35},
        {"kind": "stage", "what": "clamp", "probability": 0.25},
    ]
    assert rank_things({"suspects": suspects})[0] == (("chip", ""), 0.6)


def test_a_reading_is_taken_again_once() -> None:
    answer = {"next": [], "again": [{"at": "pin 2", "quantity": "dc"}]}
    assert next_step(answer, [("pin 2", "dc")]) == ("pin 2", "dc")
    assert next_step(answer, [("pin 2", "dc")] * 2) is None


def test_a_rail_may_be_named_as_a_supply(good: Board) -> None:
    right = things_to_name(outside_volts("rail-12v", 5.0), good.electrics.chip)
    assert ("supply", "VCC") in right
