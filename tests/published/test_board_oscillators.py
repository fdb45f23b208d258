"""Oscillators of the board model against the circuit's own equations, ngspice and the textbook.

The crystal is the circuit of Butterworth and Van Dyke (IEC 60122-1): L1, C1, R1 beside C0. The
loop is Gardner's (Phaselock Techniques, chapters on tracking and acquisition): inside its range the
frequency is the reference's, and the control voltage has moved by the deviation over the slope.
"""

from __future__ import annotations

import math
import os
import shutil
import subprocess
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.board.cloud import Hypothesis
from pinfolio.plugins.diagnosis.board.elements import Element
from pinfolio.plugins.diagnosis.board.good_board import GoodBoard, build_good_board
from pinfolio.plugins.diagnosis.board.hypotheses import Fault, list_faults
from pinfolio.plugins.diagnosis.board.operating_point import Boards
from pinfolio.plugins.diagnosis.board.paths import Paths
from pinfolio.plugins.diagnosis.board.resonators import find_drive
from pinfolio.plugins.diagnosis.board.settling import Settled, settle
from pinfolio.plugins.diagnosis.board.severities import Draws
from pinfolio.plugins.diagnosis.board.topology import Topology
from scipy.optimize import brentq

PAL_HZ = 4.43361875e6
OTHER_F = [10e-12, 15e-12, 18e-12, 27e-12, 33e-12]
NOT_FAR_PPM = 2.0  # the model takes the arm's reactance as straight over some hundred ppm


@cache
def build_board() -> GoodBoard:
    """The PAL decoder whose crystal hangs behind a small series capacitor."""
    chip = load_chip(next(path for path in chip_files() if path.stem == "kye4728"))
    return build_good_board(Topology(chip, "colour bars"), Draws(1, seed=3))


def find_numbered(ref: str) -> tuple[int, Element]:
    return next((at, e) for at, e in enumerate(build_board().elements) if e.ref == ref)


def exchange_element(ref: str, other: Element) -> Fault:
    hypothesis = Hypothesis("part", ref, "exchanged", f"{ref} exchanged", 0.0)
    return Fault(hypothesis, replaced={find_numbered(ref)[0]: other})


def model_pull(series_f: float) -> float:
    """How far the model says that the crystal is pulled by another series capacitor."""
    other = replace(find_numbered("C406")[1], farad=np.array([series_f]))
    boards = Boards(build_board(), [list_faults(build_board())[0], exchange_element("C406", other)])
    return float(find_drive(Paths(boards), "X401", ["pin 4"], PAL_HZ).pull[1])


def compute_outside_ohm(series_f: float, hz: float) -> complex:
    """The load of the motional arm: C0 beside the series capacitor and the pin behind it."""
    _, crystal = find_numbered("X401")
    _, capacitor = find_numbered("C406")
    omega = 2 * math.pi * hz
    pin = build_board().topology.pin_at["pin 4"]
    source = next(s for s in build_board().sources if s.at == "pin 4")
    pin_f = pin.capacitance.nominal if pin.capacitance is not None else 0.0
    pin_ohm = 1 / (float(source.signal_siemens[0]) + 1j * omega * pin_f)
    branch = 1 / (1j * omega * series_f) + float(capacitor.series_ohm[0]) + pin_ohm
    return 1 / (1j * omega * float(crystal.parallel_farad[0]) + 1 / branch)


def solve_root_hz(series_f: float) -> float:
    """Where the reactance of the whole loop cancels."""
    _, crystal = find_numbered("X401")

    def reactance(hz: float) -> float:
        omega = 2 * math.pi * hz
        arm = omega * float(crystal.henry[0]) - 1 / (omega * float(crystal.farad[0]))
        return arm + compute_outside_ohm(series_f, hz).imag

    return float(brentq(reactance, PAL_HZ * 0.998, PAL_HZ * 1.004, xtol=1e-3))


def read_marked_f() -> float:
    return float(find_numbered("C406")[1].farad[0])


@pytest.mark.parametrize("series_f", OTHER_F)
def test_pulling_against_the_root_of_the_circuit(series_f: float) -> None:
    wanted = solve_root_hz(series_f) / solve_root_hz(read_marked_f()) - 1
    assert model_pull(series_f) * 1e6 == pytest.approx(wanted * 1e6, abs=NOT_FAR_PPM, rel=0.02)


@pytest.mark.parametrize("series_f", OTHER_F[::2])
def test_pulling_against_ngspice(series_f: float, tmp_path: Path) -> None:
    """The frequency at which the loop's current is in phase with a voltage put into it."""
    wanted = find_in_phase_hz(series_f, tmp_path) / find_in_phase_hz(read_marked_f(), tmp_path) - 1
    assert model_pull(series_f) * 1e6 == pytest.approx(wanted * 1e6, abs=NOT_FAR_PPM, rel=0.02)


def find_in_phase_hz(series_f: float, folder: Path) -> float:
    ngspice = shutil.which("ngspice")
    if ngspice is None:
        if os.environ.get("PINFOLIO_REQUIRE_NGSPICE") == "1":
            pytest.fail("no ngspice found, and PINFOLIO_REQUIRE_NGSPICE=1 asks for one")
        pytest.skip("no ngspice found; Debian's package is called ngspice")
    _, crystal = find_numbered("X401")
    _, capacitor = find_numbered("C406")
    source = next(s for s in build_board().sources if s.at == "pin 4")
    pin = build_board().topology.pin_at["pin 4"]
    pin_f = pin.capacitance.nominal if pin.capacitance is not None else 1e-18
    low, high = PAL_HZ * 0.999, PAL_HZ * 1.002
    lines = [
        "* crystal behind a series capacitor",
        "V1 a 0 dc 0 ac 1",
        f"L1 a b {float(crystal.henry[0])!r}",
        f"C1 b c {float(crystal.farad[0])!r}",
        f"R1 c n {float(crystal.series_ohm[0])!r}",
        f"C0 n 0 {float(crystal.parallel_farad[0])!r}",
        f"Cs n d {series_f!r}",
        f"Rs d p {float(capacitor.series_ohm[0])!r}",
        f"Rp p 0 {1 / float(source.signal_siemens[0])!r}",
        f"Cp p 0 {pin_f!r}",
        f".ac lin 4001 {low!r} {high!r}",
        ".print ac vr(n) i(V1)",
        ".end\n",
    ]
    deck, raw = folder / "crystal.cir", folder / "crystal.raw"
    deck.write_text("\n".join(lines))
    subprocess.run(
        [ngspice, "-b", str(deck), "-r", str(raw)], capture_output=True, timeout=60, check=True
    )
    header, _, body = raw.read_bytes().partition(b"Binary:\n")
    text = header.decode().splitlines()
    names = [line.split()[1] for line in text[text.index("Variables:") + 1 :]]
    table = np.frombuffer(body, dtype=np.complex128).reshape(-1, len(names))
    hz, current = table[:, 0].real, -table[:, names.index("i(v1)")]
    # Through the series resonance of the loop the phase falls through zero.
    falls = np.flatnonzero((current.imag[:-1] > 0) & (current.imag[1:] <= 0))
    at = int(falls[np.argmax(np.abs(current[falls]))])
    share = current.imag[at] / (current.imag[at] - current.imag[at + 1])
    return float(hz[at] + share * (hz[at + 1] - hz[at]))


def settle_with_crystal_off(ppm: float) -> Settled:
    _, crystal = find_numbered("X401")
    other = replace(crystal, henry=crystal.henry / (1 + ppm * 1e-6) ** 2)
    return settle(
        Boards(build_board(), [list_faults(build_board())[0], exchange_element("X401", other)])
    )


def reach_ppm() -> float:
    pull_in = build_board().topology.chip.application.pull_in
    assert pull_in is not None
    return pull_in.nominal / PAL_HZ * 1e6


@pytest.mark.parametrize("share", [-0.8, -0.4, 0.4, 0.8])
def test_inside_its_range_the_loop_holds(share: float) -> None:
    settled = settle_with_crystal_off(share * reach_ppm())
    assert settled.out["subcarrier-oscillator"].detune[1] == pytest.approx(0.0, abs=1e-9)
    assert settled.features["colour lock"][1] == 1.0


def test_the_control_voltage_moves_in_proportion() -> None:
    moved = {
        share: float(
            np.subtract(*settle_with_crystal_off(share * reach_ppm()).read_volts("pin 5")[::-1])
        )
        for share in (-0.8, -0.4, 0.4, 0.8)
    }
    assert moved[0.8] == pytest.approx(2 * moved[0.4], rel=0.02)
    assert moved[-0.4] == pytest.approx(-moved[0.4], rel=0.02)
    assert abs(moved[0.8]) > 0.2


@pytest.mark.parametrize("share", [-3.0, -1.3, 1.3, 3.0])
def test_outside_its_range_it_runs_free_or_hunts(share: float) -> None:
    settled = settle_with_crystal_off(share * reach_ppm())
    off = settled.out["subcarrier-oscillator"].detune[1]
    assert abs(off) > 1e-5
    assert np.sign(off) == np.sign(share)
    assert settled.features["colour lock"][1] == 0.0
